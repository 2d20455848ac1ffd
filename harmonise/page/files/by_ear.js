// By ear: hear a few chords, answer by clicking or on the keys, and see what it was.

import { announce } from "./announce.js";
import { question as pageQuestion, renew } from "./arranging.js";
import { by, fill, hasLetters, isTyping, make, show } from "./dom.js";
import { drawKeys } from "./keyboard.js";
import { takeNotes } from "./midi_in.js";
import { keepRecord, practiceRecord } from "./record.js";
import { showScore } from "./score.js";
import { ask } from "./server.js";
import { audio, loadPiano, strike, strikeOnce } from "./sound.js";
import { watch } from "./state.js";
import { COMPUTER } from "./tapping.js";
import { lineWidth } from "./views.js";

const [LOWEST, HIGHEST] = [48, 72]; // C3 to C5
const ROW_FROM = 60; // the C at which the row of letters begins
const BEFORE_REST = 10; // questions
const CAUTION = "Keep headphones low, and rest the ears between questions.";
const REST = "Rest your ears for a minute before you go on.";
const CHOICES = ["ear-of", "ear-key", "ear-step", "ear-about"];

let asked = null; // what the program was asked for
let item = null; // the question
let answered = null; // what the answer was worth
let keys = []; // that were played in answer
let sounding = []; // notes that can be let go
let isShown = false; // whether the score shows the answer
let since = 0; // questions since the last rest
let titles = {}; // of the kinds of question

export function startByEar() {
  by("practise").append(panel());
  by("ear-panel").addEventListener("toggle", () => (by("ear-panel").open ? begin() : leave()));
  for (const id of CHOICES) by(id).addEventListener("change", begin);
  by("ear-hear").addEventListener("click", hear);
  by("ear-next").addEventListener("click", () => draw({ ...asked, number: asked.number + 1 }));
  by("ear-back").addEventListener("click", () => {
    keys.pop();
    showPlayed();
  });
  by("ear-done").addEventListener("click", () => answer({ keys }));
  by("ear-typed").addEventListener("submit", (event) => {
    event.preventDefault();
    answer({ answer: by("ear-letters").value });
  });
  drawKeys(by("ear-keys"), LOWEST, HIGHEST, press);
  by("ear-keys").querySelector(`[data-midi="${ROW_FROM}"]`).setAttribute("tabindex", "0");
  by("ear-keys").addEventListener("keydown", onKey);
  watch(() => (isShown = false)); // the tune is drawn anew
}

function panel() {
  const choice = (id, title) => make("label", {}, `${title} `, make("select", { id }));
  const button = (id, text, kind) => make("button", { id, type: "button", text, class: kind });
  return make(
    "details",
    { id: "ear-panel", name: "practice" },
    make("summary", { id: "ear-name", text: "By ear" }),
    make(
      "div",
      { class: "row practise-choices" },
      choice("ear-of", "Chords of"),
      choice("ear-key", "Key"),
      choice("ear-step", "Step"),
      choice("ear-about", "Questions about"),
    ),
    make("p", { id: "ear-question", class: "practise-now" }),
    make("p", { id: "ear-how", class: "hint" }),
    make(
      "div",
      { class: "row" },
      button("ear-hear", "Hear it", "main"),
      make("div", { id: "ear-choices", class: "row", role: "group", "aria-label": "Answers" }),
      button("ear-next", "Next question"),
    ),
    make(
      "form",
      { id: "ear-typed", class: "row", hidden: true },
      make(
        "label",
        {},
        "Letters ",
        make("input", { id: "ear-letters", type: "text", autocomplete: "off", spellcheck: "false" }),
      ),
      make("button", { type: "submit", text: "Answer" }),
    ),
    make("p", { id: "ear-told", class: "practise-told" }),
    make(
      "div",
      { id: "ear-play", hidden: true },
      make(
        "div",
        { class: "row" },
        make("span", { id: "ear-played" }),
        button("ear-back", "Take back"),
        button("ear-done", "That is my answer"),
      ),
      make(
        "div",
        { class: "practise-room", role: "region", "aria-label": "Keys to answer on", tabindex: "0" },
        make("div", { id: "ear-keys", class: "piano", role: "group", "aria-label": "Piano keys to answer on" }),
      ),
    ),
    make("div", {
      id: "ear-record",
      class: "practise-record",
      role: "region",
      "aria-label": "What you have answered",
      tabindex: "0",
    }),
    make("p", { class: "hint", text: CAUTION }),
  );
}

/** Take what the program offers to ask. */
export function takeEars({ lists }) {
  fill(by("ear-of"), [
    { value: "drills", title: "the drills" },
    { value: "tune", title: "this tune" },
  ]);
  const plain = lists.key.filter(({ value }) => / (major|minor)$/.test(value));
  fill(by("ear-key"), plain, by("ear-key").value || "C major");
  fill(by("ear-step"), lists["worksheet-step"]);
  fill(by("ear-about"), lists["worksheet-about"]);
  titles = Object.fromEntries(lists["worksheet-about"].map(({ value, title }) => [value, title]));
}

/** Begin with a set of questions; its number is drawn, so that no day is like another. */
function begin() {
  const of = by("ear-of").value;
  by("ear-key").disabled = of === "tune";
  return draw({
    of,
    key: of === "tune" ? "" : by("ear-key").value,
    step: Number(by("ear-step").value),
    about: by("ear-about").value,
    seed: 1 + Math.floor(Math.random() * 9000),
    number: 0,
  });
}

async function draw(next) {
  silence();
  if (item && next.number >= item.count) Object.assign(next, { seed: next.seed + 1, number: 0 });
  const found = await ask("/ear", { ...pageQuestion(), ...next }, "ear");
  if (!found) return;
  asked = next;
  item = found.answer ?? null;
  answered = null;
  keys = [];
  await hideAnswer();
  tell(found.error?.sentence ?? "");
  showQuestion();
}

function showQuestion() {
  const isOpen = Boolean(item) && !answered;
  for (const id of ["ear-hear", "ear-next"]) by(id).disabled = !item;
  by("ear-question").textContent = item
    ? `${item.key}. ${item.question} ${item.given ? `Given: ${item.given}` : ""}`.trim()
    : "";
  by("ear-how").textContent = item ? item.how : "";
  by("ear-choices").replaceChildren(...(item?.choices ?? []).map(choiceButton));
  show(by("ear-typed"), isOpen && !item.choices.length);
  by("ear-letters").value = "";
  const plays = isOpen && item.keys > 0;
  show(by("ear-play"), plays);
  takeNotes(by("ear-panel").open && plays ? press : null);
  document.body.dataset.ear = answered ? "answered" : isOpen ? "asked" : "none";
  showPlayed();
  drawRecord();
}

function choiceButton(text) {
  const button = make("button", { type: "button", text, disabled: Boolean(answered) });
  if (answered?.answer === text) button.classList.add("answer");
  button.addEventListener("click", () => answer({ answer: text }));
  return button;
}

/** Play the question; the keys that are pressed meanwhile are heard too. */
async function hear() {
  silence();
  await loadPiano();
  const from = audio().currentTime + 0.1;
  const seconds = 60 / item.tempo;
  sounding = item.notes.map(({ at, length, midi }) => {
    const note = strike(midi, from + at * seconds);
    note.release(from + (at + length) * seconds);
    return note;
  });
  document.body.dataset.heard = String(sounding.length);
}

function silence() {
  for (const note of sounding) note.release(audio().currentTime);
  sounding = [];
}

function press(midi) {
  strikeOnce(midi);
  if (!item || answered) return;
  keys.push(midi);
  showPlayed();
  // A chord is over when its player says so, for it may be doubled.
  if (keys.length === item.keys && !isChord()) answer({ keys });
}

const isChord = () => item.choices.length > 0 && item.keys > 1;

function showPlayed() {
  by("ear-played").textContent = keys.length
    ? `Played: ${keys.map((midi) => item.names[midi % 12]).join(" ")}`
    : `Or play it: press the keys, ${hasLetters() ? "use the letters A to L, or " : "or use "}a MIDI keyboard.`;
  by("ear-back").disabled = !keys.length;
  by("ear-done").disabled = !keys.length;
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || isTyping(event.target)) return;
  const place = COMPUTER.indexOf(event.code);
  if (place < 0) return;
  event.preventDefault();
  press(ROW_FROM + place);
}

async function answer(given) {
  const about = { ...pageQuestion(), ...asked, width: lineWidth() };
  const found = await ask("/ear-answer", { ...about, ...given }, "ear");
  if (!found) return;
  if (found.error) {
    keys = [];
    showPlayed();
    tell(found.error.sentence);
    return;
  }
  answered = found.answer;
  keepAnswer();
  showAnswer();
  showQuestion();
  by("ear-next").focus();
}

function keepAnswer() {
  const name = JSON.stringify([item.kind, asked.step]);
  const { ears } = practiceRecord();
  const before = ears[name] ?? { right: 0, asked: 0 };
  const date = new Date().toISOString().slice(0, 10);
  const now = { right: before.right + answered.earned, asked: before.asked + answered.marks, date };
  keepRecord({ ears: { ...ears, [name]: now } });
}

function showAnswer() {
  const { right, earned, marks, taken, svg } = answered;
  const part = marks > 1 ? ` ${earned} of ${marks} are right.` : "";
  const start = right ? `Right: ${answered.answer}.` : `${taken}: not so.${part} It is ${answered.answer}.`;
  since += 1;
  const rest = since % BEFORE_REST === 0 ? ` ${REST}` : "";
  tell(`${start} ${answered.reason}${rest}`, right);
  const last = Math.max(...svg.flatMap(({ bars }) => bars));
  const bars = Array.from({ length: last + 1 }, (_, at) => ({ number: at + 1 }));
  showScore({ title: item.title, svg, bars, slots: [], tune: [] });
  for (const id of ["score-by", "order", "sum"]) by(id).textContent = "";
  by("score-title").textContent = `${item.title}, ${item.key}: ${answered.answer}`;
  by("sheet").scrollTop = 0;
  isShown = true;
}

/** The score is the tune's again. */
async function hideAnswer() {
  const was = isShown;
  isShown = false;
  if (was) await renew(false);
}

function leave() {
  silence();
  takeNotes(null);
  hideAnswer();
  delete document.body.dataset.ear;
}

/** What was answered, a row a kind and step: nobody is compared with anybody. */
function drawRecord() {
  const rows = Object.entries(practiceRecord().ears).map(([name, one]) => [JSON.parse(name), one]);
  show(by("ear-record"), rows.length > 0);
  const head = ["Question", "Step", "Right", "Last"].map((text) => make("th", { scope: "col", text }));
  by("ear-record").replaceChildren(
    make(
      "table",
      {},
      make("caption", { text: "What you have heard so far" }),
      make("thead", {}, make("tr", {}, ...head)),
      make("tbody", {}, ...rows.map(([[kind, step], one]) => rowOf(kind, step, one))),
    ),
  );
}

function rowOf(kind, step, { right, asked: count, date }) {
  const cells = [step, `${right} of ${count}`, date].map((text) => make("td", { text: String(text) }));
  return make("tr", {}, make("th", { scope: "row", text: titles[kind] ?? kind }), ...cells);
}

function tell(sentence, isGood = false) {
  by("ear-told").textContent = sentence;
  by("ear-told").classList.toggle("good", isGood);
  if (sentence) announce(sentence);
}
