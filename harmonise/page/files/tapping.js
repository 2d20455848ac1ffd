// Notes tapped on the drawn keys, the computer's keys or a MIDI keyboard.

import { announce } from "./announce.js";
import { by, fill } from "./dom.js";
import { barLine, lineEnd, setTime, tap, whyNot } from "./entering.js";
import { format, number, parse, times } from "./fractions.js";
import { drawKeys } from "./keyboard.js";
import { strikeOnce } from "./sound.js";
import { change, undo, watch, work } from "./state.js";
import { factsOf, keyName } from "./tune_facts.js";

const LOWEST = 48; // C3
const HIGHEST = 84; // C6
const LEAST_WHITE = 26; // pixels
const METRES = ["2/4", "3/4", "4/4", "5/4", "2/2", "3/2", "3/8", "6/8", "9/8", "12/8"];
const COMPUTER =
  "KeyA KeyW KeyS KeyE KeyD KeyF KeyT KeyG KeyY KeyH KeyU KeyJ KeyK KeyO KeyL KeyP Semicolon".split(
    " ",
  );
const OCTAVES = 3;

let start = 60;
let octaves = 1;
let computerOctave = 60;
let focused = 60;

export function startTapping() {
  fill(
    by("metre"),
    METRES.map((value) => ({ value, title: value })),
  );
  by("metre").addEventListener("change", () => {
    const { text, tapped } = work();
    const next = setTime(text, by("metre").value);
    change({
      text: next,
      tapped: tapped?.text === text ? { text: next, base: next, open: [] } : null,
    });
  });
  new ResizeObserver(arrangeKeys).observe(by("piano"));
  by("lower").addEventListener("click", () => shift(-12));
  by("higher").addEventListener("click", () => shift(12));
  by("rest").addEventListener("click", () => enter(null));
  by("hold").addEventListener("click", () => enter("-"));
  by("bar-line").addEventListener("click", () => put(barLine(work().text), "bar line"));
  by("line-end").addEventListener("click", () => put(lineEnd(work().text), "new line"));
  by("dotted").addEventListener("change", () => (by("triplet").checked = false));
  by("triplet").addEventListener("change", () => (by("dotted").checked = false));
  by("piano").addEventListener("keydown", onKey);
  by("piano").addEventListener(
    "focusin",
    ({ target }) => target.dataset.midi && setFocused(Number(target.dataset.midi)),
  );
  watch(showMetre);
  showMetre();
}

function showMetre() {
  const { upper, lower } = factsOf(work().text);
  const metre = `${upper}/${lower}`;
  if (METRES.includes(metre)) by("metre").value = metre;
}

function arrangeKeys() {
  const room = by("piano").clientWidth;
  const fits = (count) => room >= (7 * count + 1) * LEAST_WHITE;
  const most = [3, 2].find(fits) ?? 1;
  if (most === octaves && by("piano").childElementCount) return;
  octaves = most;
  shift(0);
}

function shift(semitones) {
  start = Math.min(Math.max(start + semitones, LOWEST), HIGHEST - 12 * octaves);
  if (octaves === OCTAVES) start = LOWEST;
  drawKeys(by("piano"), start, start + 12 * octaves, enter);
  by("lower").disabled = start <= LOWEST;
  by("higher").disabled = start + 12 * octaves >= HIGHEST;
  setFocused(Math.min(Math.max(focused, start), start + 12 * octaves));
  if (semitones) announce(`Keys from ${keyName(start)}`);
}

const keyOf = (midi) => by("piano").querySelector(`[data-midi="${midi}"]`);

function setFocused(midi) {
  keyOf(focused)?.setAttribute("tabindex", "-1");
  focused = midi;
  keyOf(midi)?.setAttribute("tabindex", "0");
}

/** Enter a note (a MIDI number), a rest (null) or a hold ("-") of the chosen length. */
export function enter(what) {
  const refusal = work().file
    ? "Turn the file into typing first, then tap."
    : whyNot(work().text);
  if (refusal) return announceHere(refusal);
  if (typeof what === "number") strikeOnce(what);
  const { text, tapped } = work();
  put(tap(text, tapped, what, chosenLength()), told(what));
  return true;
}

function told(what) {
  if (what === null) return "rest";
  return what === "-" ? "held" : keyName(what);
}

function put(result, said) {
  if (!result) return announceHere("Tap a note first.");
  change(result);
  announce(said);
  return true;
}

function announceHere(sentence) {
  by("midi-told").textContent = sentence;
  announce(sentence);
  return false;
}

function chosenLength() {
  const length = parse(document.querySelector("input[name=length]:checked").value);
  if (by("dotted").checked) return times(length, [3, 2]);
  return by("triplet").checked ? times(length, [2, 3]) : length;
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return;
  if (moved(event) || played(event) || commanded(event)) event.preventDefault();
}

function moved({ key }) {
  const step = { ArrowLeft: -1, ArrowRight: 1 }[key];
  if (!step) return false;
  const next = keyOf(focused + step);
  next?.focus();
  return true;
}

function played({ code, repeat }) {
  const place = COMPUTER.indexOf(code);
  if (place < 0) return false;
  if (!repeat) enter(computerOctave + place);
  return true;
}

function commanded({ key }) {
  const lengths = ["4", "2", "1", "1/2", "1/4"];
  if (key >= "1" && key <= "5") choose(lengths[Number(key) - 1]);
  else if (key === ".") by("dotted").click();
  else if (key === "0") enter(null);
  else if (key === "-") enter("-");
  else if (key === "|") put(barLine(work().text), "bar line");
  else if (key === "Backspace") takeBack();
  else if (key.toLowerCase() === "z") moveOctave(-12);
  else if (key.toLowerCase() === "x") moveOctave(12);
  else return false;
  return true;
}

function choose(length) {
  const radio = [...document.querySelectorAll("input[name=length]")].find(
    ({ value }) => value === length,
  );
  radio.checked = true;
  announce(
    `${radio.parentElement.textContent.replace(/[^a-z ]/g, "").trim()}, ${format(times(parse(length), [1, 1]))} crotchets`,
  );
}

function takeBack() {
  announce(undo() ? "taken back" : "nothing to take back");
}

function moveOctave(semitones) {
  computerOctave = Math.min(Math.max(computerOctave + semitones, LOWEST), HIGHEST - 12);
  announce(`A is ${keyName(computerOctave)}`);
}

/** How many crotchets the chosen length has, for those who show it. */
export const chosenCrotchets = () => number(chosenLength());
