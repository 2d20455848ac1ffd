// How the tune is arranged: one control for each setting that is offered.

import { by, fill } from "./dom.js";
import { change, watch, work } from "./state.js";

let keys = []; // that a tune may be in, {value, title}
let home = ""; // key that the tune is read in

const modeOf = (key) => key.split(" ")[1] ?? "major";
const selects = () => document.querySelectorAll("#manner select");

export function startManner() {
  for (const select of selects())
    select.addEventListener("change", () => set(select.id, select.value));
  for (const id of ["numerals", "fingering"])
    by(id).addEventListener("change", () => set(id, by(id).checked));
  watch(showSettings);
  showSettings(work());
}

/** Offer to move the tune to the keys of a mode. */
function fillTargets(mode) {
  const targets = keys
    .filter(({ value }) => value.endsWith(` ${mode}`))
    .map(({ value, title }) => ({ value: value.split(" ")[0], title }));
  const stay = { value: "", title: "stay here" };
  fill(by("transpose"), [stay, ...targets], work().settings.transpose);
}

/** Fill every control that has the name of a list of what the program offers. */
export function showOffers({ lists }) {
  for (const [name, choices] of Object.entries(lists)) {
    const select = by(name);
    if (!select?.matches("select")) continue;
    select.parentElement.hidden = !choices.length;
    fill(select, choices, work().settings[name] ?? select.value);
  }
  keys = lists.key;
  fillTargets(modeOf(home));
}

/** The key that the tune is read in, which decides where it can be moved. */
export function setHome(key) {
  if (modeOf(home) !== modeOf(key)) fillTargets(modeOf(key));
  home = key;
}

function set(name, value) {
  change({ settings: { ...work().settings, [name]: value } });
}

function showSettings({ settings }) {
  for (const select of selects()) {
    if (select.value !== settings[select.id]) select.value = settings[select.id];
  }
  for (const id of ["numerals", "fingering"]) by(id).checked = settings[id];
}

/** The settings as they are sent: what is not chosen is left out. */
export function settingsNow() {
  return Object.fromEntries(
    Object.entries(work().settings).filter(([, value]) => value !== ""),
  );
}
