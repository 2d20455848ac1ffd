// How the tune is arranged: one control for each setting, whatever its kind.

import { by, fill, make, settled } from "./dom.js";
import { change, watch, work } from "./state.js";

let keys = []; // that a tune may be in, {value, title}
let home = ""; // key that the tune is read in

const FORM = [
  "introduction",
  "verses",
  "gap",
  "lastVerse",
  "slowEnding",
  "amen",
  "majorAmen",
];
const MOST_VERSES = 20;
const WAIT_TYPING = 500; // milliseconds after the last letter

const modeOf = (key) => key.split(" ")[1] ?? "major";
const controls = () => document.querySelectorAll("[data-setting]");
const ways = () => [...by("lastVerse").querySelectorAll("input")];

export function startManner() {
  const numbers = Array.from({ length: MOST_VERSES }, (_, at) => String(at + 1));
  const verses = numbers.map((value) => ({ value, title: value }));
  fill(by("verses"), [{ value: "0", title: "those of the words" }, ...verses]);
  for (const control of controls()) {
    const isTyped = control.matches("input[type=text]");
    const take = () => set(control.id, valueOf(control));
    if (isTyped) control.addEventListener("input", settled(take, WAIT_TYPING));
    control.addEventListener("change", take);
  }
  watch(showSettings);
  showSettings(work());
}

function valueOf(control) {
  if (control.type === "checkbox") return control.checked;
  return control.id === "verses" ? Number(control.value) : control.value;
}

/** Offer to move the tune to the keys of a mode. */
function fillTargets(mode) {
  const targets = keys
    .filter(({ value }) => value.endsWith(` ${mode}`))
    .map(({ value, title }) => ({ value: value.split(" ")[0], title }));
  const stay = { value: "", title: "as it is" };
  fill(by("transpose"), [stay, ...targets], work().settings.transpose);
}

/** Fill every control that has the name of a list of what the program offers. */
export function showOffers({ lists }) {
  for (const [name, choices] of Object.entries(lists)) {
    const select = by(name);
    if (!select?.matches("select")) continue;
    select.parentElement.hidden = !choices.length;
    fill(select, choices, String(work().settings[name] ?? select.value));
  }
  by("lastVerse").replaceChildren(...lists.lastVerse.map(wayTick));
  keys = lists.key;
  fillTargets(modeOf(home));
  showSettings(work());
}

function wayTick({ value, title }) {
  const tick = make("input", { type: "checkbox", value });
  tick.addEventListener("change", () => {
    const chosen = ways().filter(({ checked }) => checked);
    set(
      "lastVerse",
      chosen.map((one) => one.value),
    );
  });
  return make("label", { class: "tick" }, tick, ` ${title}`);
}

/** The key that the tune is read in, which decides where it can be moved. */
export function setHome(key) {
  if (modeOf(home) !== modeOf(key)) fillTargets(modeOf(key));
  home = key;
}

function set(name, value) {
  if (work().settings[name] === value) return;
  change({ settings: { ...work().settings, ...contrary(name, value), [name]: value } });
}

/** What a choice puts out of force, so that no control shows what is not so. */
function contrary(name, value) {
  if (name === "transpose" && value) return { voices: "" };
  if (name === "voices" && value) return { transpose: "" };
  if (name === "player" && value) return { level: "" };
  return {};
}

function showSettings({ settings }) {
  for (const control of controls()) {
    const value = settings[control.id];
    if (control.type === "checkbox") control.checked = value;
    else if (control.value !== String(value)) control.value = String(value);
  }
  for (const tick of ways()) tick.checked = settings.lastVerse.includes(tick.value);
}

/** The settings as they are sent: what is not chosen is left out. */
export function settingsNow() {
  const { part: _, ...settings } = work().settings;
  const chosen = Object.entries(settings).filter(([, value]) => value !== "");
  const isForm = ([name]) => FORM.includes(name);
  return {
    ...Object.fromEntries(chosen.filter((one) => !isForm(one))),
    form: Object.fromEntries(chosen.filter(isForm)),
  };
}
