// How the tune is arranged: one control for each setting that is offered.

import { by, fill } from "./dom.js";
import { change, watch, work } from "./state.js";
import { keynoteOf, movedChord } from "./tune_facts.js";

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
  by("transpose").addEventListener("change", move);
  for (const select of selects()) {
    if (select.id !== "transpose")
      select.addEventListener("change", () => set(select.id, select.value));
  }
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

/** Show the controls that the program offers. */
export function showOffers(offers) {
  for (const select of document.querySelectorAll("#manner select[data-offer]")) {
    const choices = offers[select.dataset.offer] ?? [];
    select.parentElement.hidden = !choices.length;
    if (choices.length) fill(select, choices, String(work().settings[select.id]));
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

/** Move to another key, and the locked chords with the tune. */
function move() {
  const { settings, locks } = work();
  const here = settings.key || home || "C major";
  const fifths =
    keynoteOf(by("transpose").value || here) - keynoteOf(settings.transpose || here);
  change({
    settings: { ...settings, transpose: by("transpose").value },
    locks: locks.map((lock) => ({ ...lock, chord: movedChord(lock.chord, fifths) })),
  });
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
