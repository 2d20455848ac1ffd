// Practising: the page waits for the right keys, names wrong ones, and fills the boxes.

import { announce } from "./announce.js";
import { question, redraw, renew } from "./arranging.js";
import { by, fill, hasLetters, isTyping, make, show } from "./dom.js";
import { drawKeys, isBlack, markKeys } from "./keyboard.js";
import { takeNotes } from "./midi_in.js";
import { keepRecord, practiceRecord } from "./record.js";
import { CLEAN_RUNS, Run, boxOf, withCleanRun } from "./run.js";
import { markSounding, showScore } from "./score.js";
import { ask } from "./server.js";
import { audio, click, loadPiano, strikeOnce } from "./sound.js";
import { watch } from "./state.js";
import { lineWidth } from "./views.js";

const LOWER = "KeyZ KeyS KeyX KeyD KeyC KeyV KeyG KeyB KeyH KeyN KeyJ KeyM".split(" ");
const UPPER =
  "KeyQ Digit2 KeyW Digit3 KeyE KeyR Digit5 KeyT Digit6 KeyY Digit7 KeyU KeyI Digit9 KeyO Digit0 KeyP".split(
    " ",
  );
const SHOWN_KEY = 26; // pixels of a white key, so that a finger finds it
const KEYS_BEFORE_REST = 3; // "every few keys"
const MINUTES_BEFORE_REST = 10;
const KEYS_TOLD =
  "Play on a MIDI keyboard, click the keys, or use the computer’s: Q to P and the figures above are the right hand, Z to M the left. The letters stand beside the notes above.";
const TUNE = ""; // the choice of what is practised that is the page's own tune

let practice = null; // what is practised
let run = null; // the run that is under way
let timers = []; // of the count-in
let boxes = {}; // of the practice plan
let isDrill = false; // whether the score shows a drill
let played = { since: 0, keys: new Set() }; // since the last rest

export function startPractise() {
  boxes = practiceRecord().boxes;
  by("practise").append(panel());
  by("practise-start").addEventListener("click", () =>
    document.body.dataset.practice ? stop() : begin(),
  );
  for (const id of ["practise-what", "practise-key", "practise-hand"])
    by(id).addEventListener("change", prepare);
  by("practise-panel").addEventListener("toggle", () =>
    by("practise-panel").open ? prepare() : leave(),
  );
  by("practise-midi").addEventListener("click", () => by("midi").click());
  show(by("practise-midi"), typeof navigator.requestMIDIAccess === "function");
  by("practise-rested").addEventListener("click", () => {
    show(by("practise-rest"), false);
    by("practise-start").focus();
  });
  document.addEventListener("keydown", onKey);
  watch(() => {
    stop();
    isDrill = false; // the tune is drawn anew
  });
}

function panel() {
  const choice = (id, title) => make("label", {}, `${title} `, make("select", { id }));
  return make(
    "details",
    { id: "practise-panel", name: "practice" },
    make("summary", { id: "practise-name", text: "Practise" }),
    make(
      "div",
      { class: "row practise-choices" },
      choice("practise-what", "What"),
      choice("practise-key", "Its key"),
      choice("practise-hand", "Hands"),
      choice("practise-tempo", "Tempo"),
      make("button", { id: "practise-start", type: "button", class: "main", text: "Start" }),
      make("button", { id: "practise-midi", type: "button", text: "Use a MIDI keyboard" }),
    ),
    make("p", { id: "practise-now", class: "practise-now" }),
    make("p", { id: "practise-told", class: "practise-told" }),
    make(
      "div",
      { id: "practise-room", class: "practise-room", role: "region", "aria-label": "Keys", tabindex: "0" },
      make("div", { id: "practise-keys", class: "piano", role: "group", "aria-label": "Piano keys to practise on" }),
    ),
    make(
      "div",
      { id: "practise-rest", class: "note", role: "alert", hidden: true },
      make("p", { id: "practise-rest-told" }),
      make("button", { id: "practise-rested", type: "button", text: "I have rested" }),
    ),
    make("div", {
      id: "practise-record",
      class: "practise-record",
      role: "region",
      "aria-label": "Clean runs",
      tabindex: "0",
    }),
    make(
      "details",
      {},
      make("summary", { text: "How to go about it" }),
      make("p", { id: "practise-plan", class: "hint" }),
      make("p", { class: "hint", text: KEYS_TOLD }),
    ),
  );
}

/** Take what the program offers to practise. */
export function takeDrills({ drills, lists }) {
  const told = ({ value, title }) => (title.startsWith(value) ? title : `${value}: ${title}`);
  const tune = { value: TUNE, title: "this tune" };
  fill(by("practise-what"), [
    tune,
    ...drills.map((drill) => ({ value: drill.value, title: told(drill) })),
  ]);
  const keys = lists.key.filter(({ value }) => /^$| (major|minor)$/.test(value));
  fill(by("practise-key"), [{ value: "", title: "the drill’s first" }, ...keys.slice(1)]);
  fill(by("practise-hand"), lists.hand);
}

const hand = () => by("practise-hand").value;
const tempo = () => Number(by("practise-tempo").value) || 0;

/** What is to be played; its notes go by the lines that the pane has room for. */
function asked(drill) {
  const width = lineWidth();
  if (drill === TUNE) return ask("/practice", { ...question(), width }, "practice");
  return ask("/practice-drill", { drill, key: by("practise-key").value, width }, "practice");
}

/** Break the lines anew for another width; a run goes on where it is. */
export async function redrawAll() {
  if (!isDrill) await redraw();
  const drill = by("practise-what").value;
  if (!by("practise-panel").open || !practice) return;
  const found = await asked(drill);
  if (!found?.answer) return;
  practice = found.answer;
  if (isDrill) await showMusic(drill);
  if (!run) return;
  run.takeSteps(practice, hand());
  showStep();
}

/** Ask what is to be played, and show it. */
async function prepare() {
  stop();
  const drill = by("practise-what").value;
  by("practise-key").disabled = drill === TUNE;
  const found = await asked(drill);
  if (!found) return false;
  practice = found.answer ?? null;
  by("practise-start").disabled = !practice;
  tell(found.error?.sentence ?? "");
  if (!practice) return false;
  await showMusic(drill);
  const tempos = practice.tempos.map((one) => ({ value: String(one), title: `♩ = ${one}` }));
  fill(by("practise-tempo"), [{ value: "", title: "my own time" }, ...tempos]);
  by("practise-plan").textContent = practice.plan;
  by("practise-now").textContent = `${practice.title || "The tune"}, ${practice.key}`;
  drawPiano();
  drawBoxes();
  return true;
}

/** A drill takes the place of the tune in the score, until the tune is practised. */
async function showMusic(drill) {
  if (drill !== TUNE) {
    const last = Math.max(...practice.svg.flatMap(({ bars }) => bars));
    const bars = Array.from({ length: last + 1 }, (_, at) => ({ number: at + 1 }));
    showScore({ title: practice.title, svg: practice.svg, bars, slots: [], tune: [] });
    for (const id of ["score-by", "order", "sum"]) by(id).textContent = "";
    by("score-title").textContent = `${practice.title}, ${practice.key}`;
  } else if (isDrill) await renew(false);
  isDrill = drill !== TUNE;
}

/** Practising is over: the score is the tune's again. */
function leave() {
  stop();
  if (isDrill) renew(false);
  isDrill = false;
}

function drawPiano() {
  const wanted = practice.steps.flatMap(({ down }) => down.map((key) => key.wanted));
  const white = (midi, step) => (isBlack(midi) ? midi + step : midi);
  const [low, high] = [white(Math.min(...wanted), -1), white(Math.max(...wanted), 1)];
  drawKeys(by("practise-keys"), low, high, press);
  const whites = by("practise-keys").querySelectorAll(".white").length;
  by("practise-keys").style.minWidth = `${whites * SHOWN_KEY}px`;
  by("practise-keys").querySelector(".key").setAttribute("tabindex", "0");
}

async function begin() {
  if (!(await prepareAgain())) return;
  by("practise-start").textContent = "Stop";
  document.body.dataset.practice = "loading";
  tell("");
  await loadPiano();
  if (document.body.dataset.practice !== "loading") return; // stopped meanwhile
  document.body.dataset.practice = "counting";
  const beat = tempo() ? (practice.beat * 60) / tempo() : 0;
  const clock = audio();
  for (let count = 0; beat && count < practice.beats; count += 1) {
    click(clock.currentTime + 0.1 + count * beat, count === 0);
    const showCount = () => (by("practise-now").textContent = String(count + 1));
    timers.push(setTimeout(showCount, 1000 * (0.1 + count * beat)));
  }
  const wait = beat ? 0.1 + practice.beats * beat : 0;
  timers.push(setTimeout(start, 1000 * wait));
}

/** Ask again before each run, for the tune may have changed; the tempo stays. */
async function prepareAgain() {
  const chosen = by("practise-tempo").value;
  const ready = await prepare();
  if (ready) by("practise-tempo").value = chosen;
  if (by("practise-tempo").selectedIndex < 0) by("practise-tempo").selectedIndex = 0;
  return ready;
}

const seconds = () => performance.now() / 1000;

function start() {
  timers = [];
  run = new Run(practice, { hand: hand(), tempo: tempo(), start: seconds() });
  document.body.dataset.practice = "playing";
  played.since ||= seconds();
  takeNotes(press);
  if (run.isOver) {
    stop();
    tell("This hand has nothing to play here.");
    return;
  }
  showStep();
}

function stop() {
  for (const timer of timers) clearTimeout(timer);
  timers = [];
  if (run) markSounding([], []);
  run = null;
  takeNotes(null);
  by("practise-start").textContent = "Start";
  delete document.body.dataset.practice;
  delete document.body.dataset.step;
  if (by("practise-keys").childElementCount) markKeys(by("practise-keys"), new Map());
}

/** Press a key of the piano, whichever way. */
function press(midi) {
  strikeOnce(midi);
  if (!run) return;
  const { bar, beat, down } = run.step;
  const found = run.press(midi, seconds());
  if (found === "wrong") {
    const place = `Bar ${bar}, beat ${beat}`;
    tell(`${nameOf(midi)} is wrong. ${place}: ${down.map(({ name }) => name).join(" ")}`);
  } else if (found === "bass") {
    tell(`${down.find((key) => key.bass).name} has to be the lowest of the left hand.`);
  } else if (found === "next") tell("");
  if (found === "over") return finish();
  if (found !== "again") showStep(found === "wrong" ? midi : null);
  return undefined;
}

const nameOf = (midi) => `${practice.names[midi % 12]}${Math.floor(midi / 12) - 1}`;

/** Show the keys that go down now: which stay, which move, which are down already. */
function showStep(wrong = null) {
  const { bar, beat, chord, down } = run.step;
  document.body.dataset.step = String(run.place);
  const of = (which) => down.filter((key) => key.hand === which);
  const said = (keys) => keys.map((key) => `${key.name}${letterOf(key)}`).join(" ");
  const parts = [
    `Bar ${bar}, beat ${beat}${chord ? `, ${chord}` : ""}:`,
    of("right").length && `right hand ${said(of("right"))}`,
    of("left").length && `left hand ${said(of("left"))}`,
  ].filter(Boolean);
  const stays = down.filter((key) => key.stays).map(({ name }) => name);
  const rest = run.place && stays.length ? ` ${stays.join(" ")} ${stays.length > 1 ? "stay" : "stays"}.` : "";
  by("practise-now").textContent = `${parts[0]} ${parts.slice(1).join("; ")}.${rest}`;
  if (!tempo() && !run.pressed.size && wrong === null) announce(by("practise-now").textContent);
  markSounding(down, down.filter((key) => key.stays).flatMap(({ ids }) => ids));
  markKeys(by("practise-keys"), marksOf(down, wrong));
  bringKeys();
}

/** Where not all keys have room, those that go down stand in the middle. */
function bringKeys() {
  const room = by("practise-room");
  const keys = [...by("practise-keys").querySelectorAll("[data-marks]")];
  const boxes = keys.map((key) => key.getBoundingClientRect());
  const middle =
    (Math.min(...boxes.map(({ left }) => left)) + Math.max(...boxes.map(({ right }) => right))) / 2;
  const { left, width } = room.getBoundingClientRect();
  if (keys.length) room.scrollLeft += middle - left - width / 2;
}

function marksOf(down, wrong) {
  const marks = new Map(
    down.map((key) => [key.wanted, new Set([key.hand, ...(key.stays ? ["kept"] : [])])]),
  );
  for (const midi of run.pressed.values())
    marks.set(midi, new Set([...(marks.get(midi) ?? []), "hit"]));
  if (wrong !== null) marks.set(wrong, new Set([...(marks.get(wrong) ?? []), "wrong"]));
  return marks;
}

/** The computer's letter for a key that goes down. */
function letterOf(key) {
  const code = key.hand === "left" ? LOWER[key.wanted % 12] : UPPER[upperPlace(key)];
  return code && hasLetters() ? ` (${code.replace(/^Key|^Digit/, "")})` : "";
}

/** The C at which the upper row begins: at or below the right hand's lowest key. */
function upperFrom() {
  const right = run.step.down.filter((key) => key.hand === "right");
  const lowest = Math.min(...right.map((key) => key.wanted));
  return Number.isFinite(lowest) ? lowest - (lowest % 12) : 60;
}

/** The place in the upper row of a key; one above the row is an octave lower in it. */
function upperPlace({ wanted }) {
  const place = wanted - upperFrom();
  return place < UPPER.length ? place : UPPER.length - 12 + ((place - UPPER.length) % 12);
}

/** The key that a letter of the upper row is: of an octave, first one, then the other. */
function upperKey(place) {
  const keys = run.step.down.filter((key) => key.hand === "right" && upperPlace(key) === place);
  const key = keys.find((one) => !run.pressed.has(one)) ?? keys[0];
  return key?.wanted ?? upperFrom() + place;
}

function onKey(event) {
  if (!run || event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "Escape") return stop();
  if (isTyping(event.target)) return;
  const low = LOWER.indexOf(event.code);
  const high = UPPER.indexOf(event.code);
  if (low < 0 && high < 0) return;
  event.preventDefault();
  if (high >= 0) return press(upperKey(high));
  const left = run.step.down.find((key) => key.hand === "left" && key.wanted % 12 === low);
  press(left?.wanted ?? 48 + low);
}

function finish() {
  const { wrong, waited, isClean } = run;
  const box = { name: practice.name, key: practice.key, hand: hand(), tempo: tempo() };
  stop();
  if (isClean && box.tempo) {
    boxes = withCleanRun(boxes, box, new Date().toISOString().slice(0, 10));
    keepRecord({ boxes });
    drawBoxes();
  }
  tell(isClean ? cleanWords(box) : faultWords(wrong, waited), isClean);
  remindOfRest();
}

function cleanWords({ name, key, hand: own, tempo: at }) {
  if (!at) return "Clean: no wrong key. Now choose a tempo.";
  const { clean } = boxes[boxOf(name, key, own, at)];
  if (clean < CLEAN_RUNS) return `Clean. ${clean} of ${CLEAN_RUNS} clean runs at ${at}.`;
  const next = practice.tempos.find((one) => one > at);
  if (!next) return `Clean. The box at ${at} is ticked: this key is mastered.`;
  by("practise-tempo").value = String(next);
  return `Clean. The box at ${at} is ticked; go on at ${next}.`;
}

const times = (count, what) => `${count} ${what}${count === 1 ? "" : "s"}`;

function faultWords(wrong, waited) {
  const faults = [
    wrong && times(wrong, "wrong key"),
    waited && `the page waited ${times(waited, "time")}`,
  ].filter(Boolean);
  return `Not clean yet: ${faults.join(", ")}.`;
}

function remindOfRest() {
  played.keys.add(`${practice.name} ${practice.key}`);
  const minutes = (seconds() - played.since) / 60;
  if (played.keys.size < KEYS_BEFORE_REST && minutes < MINUTES_BEFORE_REST) return;
  played = { since: 0, keys: new Set() };
  by("practise-rest-told").textContent = practice.rest;
  show(by("practise-rest"), true);
}

/** The boxes of what is practised: a row a key, a column a tempo. */
function drawBoxes() {
  const rows = Object.keys(boxes)
    .map((id) => JSON.parse(id))
    .filter(([name, , own]) => name === practice.name && own === hand())
    .map(([, key]) => key);
  const keys = [...new Set([practice.key, ...rows])];
  const head = ["Key, ♩ =", ...practice.tempos].map((text) => make("th", { scope: "col", text }));
  const table = make(
    "table",
    {},
    make("caption", { text: "Clean runs; three tick a box" }),
    make("thead", {}, make("tr", {}, ...head)),
    make("tbody", {}, ...keys.map(rowOf)),
  );
  by("practise-record").replaceChildren(table);
}

function rowOf(key) {
  const cells = practice.tempos.map((at) => {
    const box = boxes[boxOf(practice.name, key, hand(), at)];
    const full = box?.clean === CLEAN_RUNS;
    const text = !box ? "" : full ? `✓ ${box.date}` : `${box.clean} of ${CLEAN_RUNS}`;
    return make("td", { text, class: full && "ticked" });
  });
  return make("tr", {}, make("th", { scope: "row", text: key }), ...cells);
}

function tell(sentence, isGood = false) {
  by("practise-told").textContent = sentence;
  by("practise-told").classList.toggle("good", isGood);
  if (sentence) announce(sentence);
}
