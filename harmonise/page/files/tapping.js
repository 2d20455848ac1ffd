// Notes tapped on the drawn keys, the computer's keys or a MIDI keyboard.

import { announce } from "./announce.js";
import { by } from "./dom.js";
import { format, parse, times } from "./fractions.js";
import { drawKeys, keyName } from "./keyboard.js";
import { ask } from "./server.js";
import { strikeOnce } from "./sound.js";
import { change, undo, work } from "./state.js";
import { placeOfTaps } from "./tune_box.js";

const LOWEST = 48; // C3
const HIGHEST = 84; // C6
const LEAST_WHITE = 26; // pixels
export const COMPUTER =
  "KeyA KeyW KeyS KeyE KeyD KeyF KeyT KeyG KeyY KeyH KeyU KeyJ KeyK KeyO KeyL KeyP Semicolon".split(
    " ",
  );
const OCTAVES = 3;

const [REST, HOLD, BAR_LINE, LINE_END] = ["0", "-", "|", "\n"];
const SAID = { [REST]: "rest", [HOLD]: "held", [BAR_LINE]: "bar line", [LINE_END]: "new line" };

let turn = Promise.resolve(); // settled when the last tap is laid
let waiting = 0; // taps that are not laid yet
let start = 60;
let octaves = 1;
let computerOctave = 60;
let focused = 60;

export function startTapping() {
  by("metre").addEventListener("change", () => enter(by("metre").value));
  new ResizeObserver(arrangeKeys).observe(by("piano"));
  by("lower").addEventListener("click", () => shift(-12));
  by("higher").addEventListener("click", () => shift(12));
  by("rest").addEventListener("click", () => enter(REST));
  by("hold").addEventListener("click", () => enter(HOLD));
  by("bar-line").addEventListener("click", () => enter(BAR_LINE));
  by("line-end").addEventListener("click", () => enter(LINE_END));
  by("dotted").addEventListener("change", () => (by("triplet").checked = false));
  by("triplet").addEventListener("change", () => (by("dotted").checked = false));
  by("piano").addEventListener("keydown", onKey);
  by("piano").addEventListener(
    "focusin",
    ({ target }) => target.dataset.midi && setFocused(Number(target.dataset.midi)),
  );
}

/** Show the time signature in which tapping goes on, if it is among the usual ones. */
export function showTime(time) {
  const usual = [...by("metre").options].some(({ value }) => value === time);
  if (usual) by("metre").value = time;
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

/** Enter a note (a MIDI number), a rest ("0") or a hold ("-") of the chosen length. */
export function enter(put) {
  if (work().file) return announceHere("Turn the file into typing first, then tap.");
  if (typeof put === "number") strikeOnce(put);
  const length = format(chosenLength());
  const said = typeof put === "number" ? keyName(put) : SAID[put];
  return inTurn(() => lay(put, length, said));
}

// The program writes what is tapped. Taps wait for each other, so that none of them is
// laid into a text that has become another in the meantime.
function inTurn(act) {
  waiting += 1;
  document.body.dataset.taps = String(waiting);
  turn = turn.catch(() => {}).then(act).finally(() => {
    waiting -= 1;
    if (waiting) document.body.dataset.taps = String(waiting);
    else delete document.body.dataset.taps;
  });
  return true;
}

async function lay(put, length, said) {
  const { text, tapped } = work();
  const isTapped = tapped?.text === text;
  const taken = isTapped ? tapped.taken : "0";
  const at = placeOfTaps();
  const found = await ask("/tap", { text, put, length, taken, at });
  if (found?.error) announceHere(found.error.sentence);
  if (!found?.answer || found.answer.text === text) return;
  // A typed text stays one under another time: a bar that is too short is told.
  const stays = isTapped || (said && !found.answer.at);
  const { at: caret } = found.answer;
  change({ text: found.answer.text, tapped: stays ? found.answer : null, caret }, "", at);
  if (said) announce(said);
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
  else if (key === "0") enter(REST);
  else if (key === "-") enter(HOLD);
  else if (key === "|") enter(BAR_LINE);
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
  inTurn(() => announce(undo() ? "taken back" : "nothing to take back"));
}

function moveOctave(semitones) {
  computerOctave = Math.min(Math.max(computerOctave + semitones, LOWEST), HIGHEST - 12);
  announce(`A is ${keyName(computerOctave)}`);
}
