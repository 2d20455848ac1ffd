// The typing area, what was understood of it, and its mistakes at their line.

import { announce } from "./announce.js";
import { by, fill, make, show } from "./dom.js";
import { change, redo, undo, watch, work } from "./state.js";

let fault = null; // the mistake that is shown

export function startTuneBox() {
  const area = by("text");
  area.addEventListener("input", () => {
    if (area.value !== work().text) change({ text: area.value, tapped: null }, "typing");
  });
  area.addEventListener("beforeinput", ownUndo);
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
  if (area.value !== text) {
    area.value = text;
    area.setSelectionRange(text.length, text.length);
  }
  show(by("typed"), !file);
  show(by("tap"), !file);
  show(by("manual"), !file);
  show(by("filed"), Boolean(file));
  by("file-name").textContent = file?.name ?? "";
  mirror();
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
export function showRead(tunes) {
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

/** Show an empty page's first words instead of a mistake. */
export function showEmpty() {
  showFault(null);
  show(by("which"), false);
  by("readback").textContent =
    "Nothing here yet. Type a line such as C E G E | F A G - | or tap the keys below.";
}

/** Show a mistake of the tune at its line, or none. */
export function showFault(error) {
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
