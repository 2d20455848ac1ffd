// The typing area, what was understood of it, and its mistakes at their line.

import { announce } from "./announce.js";
import { by, fill, make, show } from "./dom.js";
import { change, redo, undo, watch, work } from "./state.js";

let fault = null; // the mistake that is shown
let held = null; // a mistake in the line that is being typed: it may not be finished
let read = []; // the tunes that were read last
let readText = ""; // the text that they were read from
let pointed = null; // {text, at}: the note that was clicked, or where the caret was left

export function startTuneBox() {
  const area = by("text");
  const caret = () => [area.selectionStart, area.selectionEnd];
  let before = null; // where the caret stood when a key was pressed
  area.addEventListener("input", () => {
    if (area.value === work().text) return;
    change({ text: area.value, tapped: null, caret: caret() }, "typing", before);
  });
  area.addEventListener("beforeinput", () => (before = caret()));
  area.addEventListener("beforeinput", ownUndo);
  area.addEventListener("blur", showHeld);
  document.addEventListener("selectionchange", () => {
    if (held && caretLine() !== held.line) showHeld();
    if (document.activeElement === area) pointAt([area.selectionStart, area.selectionEnd]);
  });
  by("fault-go").addEventListener("click", goToFault);
  by("tap-at-end").addEventListener("click", () => {
    const { length } = work().text;
    pointAt([length, length]);
    by("piano").querySelector("[tabindex='0']")?.focus({ preventScroll: true });
    announce("What you tap goes in at the end.");
  });
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

function showWork({ text, file, caret }) {
  const area = by("text");
  if (area.value !== text) {
    replaceText(area, text);
    if (caret) pointAt(caret);
  }
  show(by("typed"), !file);
  show(by("tap"), !file);
  show(by("manual"), !file);
  show(by("filed"), Boolean(file));
  by("file-name").textContent = file?.name ?? "";
  showPlace();
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
  pointAt(at);
  const line = area.value.slice(0, at[0]).split("\n").length;
  const height = area.clientHeight / area.value.split("\n").length;
  const side = area.closest(".side");
  const top = area.getBoundingClientRect().top + height * line;
  const room = side.getBoundingClientRect();
  if (top < room.top + 40 || top > room.bottom - 60) side.scrollTop += top - room.top - 120;
}

/** Where the next note that is tapped goes: [from, to] in the text; null for its end. */
export function placeOfTaps() {
  const { text, file } = work();
  if (file || pointed?.text !== text) return null;
  return text.slice(pointed.at[1]).trim() ? pointed.at : null;
}

/** Put the caret somewhere: what is tapped goes there, until the text is another. */
export function pointAt(at) {
  const area = by("text");
  if (area.value !== work().text) return;
  pointed = { text: area.value, at };
  if (area.selectionStart !== at[0] || area.selectionEnd !== at[1]) area.setSelectionRange(...at);
  showPlace();
}

/** Say where the next note that is tapped goes. */
function showPlace() {
  const at = placeOfTaps();
  const [from, to] = at ?? [0, 0];
  const isNote = from < to && read[work().tune]?.places.some(([a, b]) => a === from && b === to);
  const note = work().text.slice(from, to);
  const before = work().text.slice(0, to).split("\n").at(-1).trimStart();
  const behind = before.length > 24 ? `… ${before.slice(-22)}` : before;
  by("tap-place").textContent = isNote
    ? `What you tap takes the place of ${note} in the text.`
    : behind && `What you tap goes in behind “${behind.trim()}”.`;
  show(by("tap-place-row"), Boolean(at));
  mirror();
}

/** Draw the text behind the area, which gives the area its height and marks a line. */
function mirror() {
  const { text } = work();
  const lines = text.split("\n");
  const place = (fault?.line ?? 0) - 1;
  if (place < 0 || place >= lines.length) {
    by("mirror").replaceChildren(...placeMarked(text), "\n\u00a0");
    return;
  }
  const wrong = make("span", { class: "wrong", text: `${lines[place]}\n` });
  const before = lines
    .slice(0, place)
    .map((line) => `${line}\n`)
    .join("");
  by("mirror").replaceChildren(before, wrong, `${lines.slice(place + 1).join("\n")}\n\u00a0`);
}

/** The text with a mark where the next note goes: the caret of another part of the page. */
function placeMarked(text) {
  const at = placeOfTaps();
  if (!at) return [text];
  const mark = make("span", { class: "place", text: text.slice(...at) });
  return [text.slice(0, at[0]), mark, text.slice(at[1])];
}

/** Tell what was read: tunes of which one is chosen, and parts of which one has it. */
export function showRead({ tunes, failed, parts }) {
  showFailed(failed);
  showParts(parts);
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

function showParts(parts) {
  const { part } = work().settings;
  const isCalled = ({ value, title }) => [value, title].includes(part);
  const others = part && !parts.some(isCalled) ? [{ value: part, title: part }] : [];
  const usual = { value: "", title: "that is found by itself" };
  const isAlone = ({ title }) => parts.filter((one) => one.title === title).length === 1;
  const named = parts.map((one) =>
    isAlone(one) ? one : { ...one, title: `${one.title} (${one.value})` },
  );
  fill(by("part"), [usual, ...named, ...others], parts.find(isCalled)?.value ?? part);
  show(by("which-part"), parts.length > 1 || part !== "");
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
  show(by("which-part"), false);
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
