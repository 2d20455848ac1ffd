// How the tune is arranged: one control for each setting that is offered.

import { by, fill } from "./dom.js";
import { change, watch, work } from "./state.js";

const MAJOR = ["C", "G", "D", "A", "E", "B", "F#", "Gb", "Db", "Ab", "Eb", "Bb", "F"];
const MINOR = ["A", "E", "B", "F#", "C#", "G#", "Eb", "Bb", "F", "C", "G", "D"];
const MODAL = {
  dorian: ["D", "A", "E", "G", "C", "B"],
  mixolydian: ["G", "D", "A", "E", "C", "F"],
};
const HOMES = {
  major: MAJOR,
  minor: MINOR,
  dorian: ["D", "A", "E", "B", "G", "C", "F"],
  mixolydian: ["G", "D", "A", "E", "C", "F", "Bb"],
  aeolian: MINOR,
};

let home = ""; // key that the tune is read in

const readable = (key) => key.replace("#", "♯").replace(/^([A-G])b/, "$1♭");
const selects = () => document.querySelectorAll("#manner select");

export function startManner() {
  fill(by("key"), keys(), "");
  fillTargets("major");
  for (const select of selects())
    select.addEventListener("change", () => set(select.id, select.value));
  for (const id of ["numerals", "fingering"])
    by(id).addEventListener("change", () => set(id, by(id).checked));
  watch(showSettings);
  showSettings(work());
}

function keys() {
  const all = [
    ...MAJOR.map((one) => `${one} major`),
    ...MINOR.map((one) => `${one} minor`),
    ...Object.entries(MODAL).flatMap(([mode, ones]) => ones.map((one) => `${one} ${mode}`)),
  ];
  return [
    { value: "", title: "as it is written" },
    ...all.map((value) => ({ value, title: readable(value) })),
  ];
}

function fillTargets(mode) {
  const targets = HOMES[mode] ?? MAJOR;
  fill(
    by("transpose"),
    [
      { value: "", title: "stay here" },
      ...targets.map((value) => ({ value, title: readable(`${value} ${mode}`) })),
    ],
    work().settings.transpose,
  );
}

/** Fill every control that has the name of a list of what the program offers. */
export function showOffers({ lists }) {
  for (const [name, choices] of Object.entries(lists)) {
    const select = by(name);
    if (!select?.matches("select")) continue;
    select.parentElement.hidden = !choices.length;
    fill(select, choices, work().settings[name] ?? select.value);
  }
}

/** The key that the tune is read in, which decides where it can be moved. */
export function setHome(key) {
  const mode = key.split(" ")[1] ?? "major";
  if (home.split(" ")[1] !== mode) fillTargets(mode);
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
