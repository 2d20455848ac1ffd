// The typing area, what was understood of it, and its mistakes at their line.

import { announce } from "./announce.js";
import { by, fill, make, show } from "./dom.js";
import { change, redo, undo, watch, work } from "./state.js";

let fault = null; // the mistake that is shown
let held = null; // a mistake in the line that is being typed: it may not be finished
let read = []; // the tunes that were read last
let readText = ""; // the text that they were read from
let pointed = null; // {text, at}: the note that was clicked in the score

export function startTuneBox() {
  const area = by("text");
  area.addEventListener("input", () => {
    if (area.value !== work().text) change({ text: area.value, tapped: null }, "typing");
  });
  area.addEventListener("beforeinput", ownUndo);
  area.addEventListener("blur", showHeld);
  document.addEventListener("selectionchange", () => {
    if (held && caretLine() !== held.line) showHeld();
  });
  by("fault-go").addEventListener("click", goToFault);
  by("which-tune").addEventListener("change", () =>
    change({ tune: Number(by("which-tune").value), locks: [] }),
  );
  watch(showWork);
  showWork(work());
}

// The browser's own undo knows nothing of tapped notes, settings and locks.
function ownUndo(event) {
  if (event.inputType === "historyUndo") undo();
  else if (event.inputType === "historyRedo") redo();
  else return;
  event.preventDefault();
}

function showWork({ text, file }) {
  const area = by("text");
  if (area.value !== text) replaceText(area, text);
  show(by("typed"), !file);
  show(by("tap"), !file);
  show(by("manual"), !file);
  show(by("filed"), Boolean(file));
  by("file-name").textContent = file?.name ?? "";
  mirror();
}

/** Put in another text; the caret goes where the two are no longer alike. */
function replaceText(area, text) {
  const before = area.value;
  let same = 0;
  const most = Math.min(before.length, text.length);
  while (same < most && before.at(-1 - same) === text.at(-1 - same)) same += 1;
  area.value = text;
  const caret = text.length - same;
  area.setSelectionRange(caret, caret);
}

/** Whether the caret stands behind all that is typed: the last bar goes on. */
export function isTypedAtEnd() {
  const area = by("text");
  const isHere = document.activeElement === area && area.value === work().text;
  return isHere && area.value.slice(area.selectionEnd).trim() === "";
}

/** The number of the line that is being typed; 0 if none is. */
function caretLine() {
  const area = by("text");
  if (document.activeElement !== area) return 0;
  return area.value.slice(0, area.selectionEnd).split("\n").length;
}

/** The line that a mistake was found in has been left: now it is one. */
function showHeld() {
  if (!held) return;
  const error = held;
  held = null;
  // With the caret elsewhere the last bar counts as it stands.
  if (error.line) tell(error);
}

/** Put the caret at a note of the tune, by its number. */
export function goToNote(number) {
  const at = readText === work().text ? read[work().tune]?.places[number] : null;
  if (!at || work().file) return;
  const area = by("text");
  area.focus({ preventScroll: true });
  area.setSelectionRange(...at);
  pointed = { text: work().text, at };
  const line = area.value.slice(0, at[0]).split("\n").length;
  const height = area.clientHeight / area.value.split("\n").length;
  const side = area.closest(".side");
  const top = area.getBoundingClientRect().top + height * line;
  const room = side.getBoundingClientRect();
  if (top < room.top + 40 || top > room.bottom - 60) side.scrollTop += top - room.top - 120;
}

/** Where the note stands that gives way to the next one that is tapped; or null. */
export function notePointedAt() {
  const { selectionStart, selectionEnd } = by("text");
  const isSame = pointed?.text === work().text;
  const [start, end] = isSame ? pointed.at : [-1, -1];
  return selectionStart === start && selectionEnd === end ? pointed.at : null;
}

/** A note has given way to another, which is pointed at now. */
export function pointAt(at) {
  by("text").setSelectionRange(...at);
  pointed = { text: work().text, at };
}

/** Draw the text behind the area, which gives the area its height and marks a line. */
function mirror() {
  const { text } = work();
  const lines = text.split("\n");
  const place = (fault?.line ?? 0) - 1;
  if (place < 0 || place >= lines.length) {
    by("mirror").replaceChildren(`${text}\n\u00a0`);
    return;
  }
  const wrong = make("span", { class: "wrong", text: `${lines[place]}\n` });
  const before = lines
    .slice(0, place)
    .map((line) => `${line}\n`)
    .join("");
  by("mirror").replaceChildren(before, wrong, `${lines.slice(place + 1).join("\n")}\n\u00a0`);
}

/** Tell what was read: tunes of which one is chosen. */
export function showRead(tunes, failed = []) {
  showFailed(failed);
  read = tunes;
  readText = work().text;
  const several = tunes.length > 1;
  show(by("which"), several);
  if (several) {
    const choices = tunes.map(({ title }, index) => ({
      value: String(index),
      title: title || `Tune ${index + 1}`,
    }));
    fill(by("which-tune"), choices, String(work().tune));
  }
  const tune = tunes[work().tune] ?? tunes[0];
  by("readback").textContent = tune ? tune.readback : "";
  show(by("as-text"), Boolean(tune?.text));
}

/** Tell which tunes of a book cannot be read; they stop none of the others. */
function showFailed(failed) {
  show(by("failed"), failed.length > 0);
  const count = failed.length === 1 ? "One tune" : `${failed.length} tunes`;
  by("failed").textContent = failed.length
    ? `${count} of this book cannot be read. ${failed.slice(0, 5).join(" ")}`
    : "";
}

/** Show an empty page's first words instead of a mistake. */
export function showEmpty() {
  showFault(null);
  showFailed([]);
  show(by("which"), false);
  by("readback").textContent =
    "Nothing here yet. Type a line such as C E G E | F A G - | or tap the keys below.";
}

/** Show a mistake of the tune at its line, or none. */
export function showFault(error) {
  held = error?.line && error.line === caretLine() ? error : null;
  tell(held ? null : error);
}

/** Whether a mistake waits until its line is finished. */
export const isHeld = () => Boolean(held);

function tell(error) {
  const same = fault?.sentence === error?.sentence;
  fault = error;
  show(by("fault"), Boolean(error));
  by("text").toggleAttribute("aria-invalid", Boolean(error));
  if (error) by("text").setAttribute("aria-invalid", "true");
  by("fault-text").textContent = error ? withoutLine(error) : "";
  show(by("fault-go"), Boolean(error?.line) && !work().file);
  by("fault-go").textContent = error?.line ? `Go to line ${error.line}` : "Go there";
  mirror();
  if (error && !same) announce(error.sentence);
}

/** The sentence without the line, where a button leads there. */
function withoutLine({ sentence, line }) {
  return line ? sentence.replace(/ \(line \d+(?:: ".*")?\)$/, "") : sentence;
}

function goToFault() {
  const lines = work().text.split("\n");
  const before = lines.slice(0, fault.line - 1).join("\n").length + (fault.line > 1 ? 1 : 0);
  by("text").focus();
  by("text").setSelectionRange(before, before + (lines[fault.line - 1] ?? "").length);
}
