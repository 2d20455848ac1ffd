// Opening a file: chosen or dropped, of any kind that is read.

import { announce } from "./announce.js";
import { by, show } from "./dom.js";
import { ask } from "./server.js";
import { showFault } from "./tune_box.js";
import { USUAL_SETTINGS, change, openNew, work } from "./state.js";

const WORK = "% A piece of work of harmonise"; // how its file begins
const MOST_SOUND = 60_000_000; // bytes: five minutes in two channels of 16 bits
const SOUND = /^(RIFF....WAVE|FORM....AIF|ID3|OggS|fLaC|\xff[\xe2-\xfd])/s; // how sounds begin

let most = 2_000_000; // bytes
let hearSound = null;
let empty = ""; // the text of an empty page

export const blankText = () => empty;

/** Take what the program says of files and of empty pages. */
export function takeOffers({ bytes, blank }) {
  most = bytes;
  empty = blank;
}

/** `readTunes` gives what was last read, for turning a file into typing; `hearFile` writes
    a sound down, or says that it cannot. */
export function startOpening(readTunes, hearFile) {
  hearSound = hearFile;
  by("begin").addEventListener("click", () => {
    openNew({ text: empty, tapped: { text: empty, taken: "0" } }, { keeps: false });
    by("text").focus();
    announce("An empty page. What you made before is kept under My work.");
  });
  by("choose").addEventListener("click", () => by("file").click());
  by("file").addEventListener("change", () => {
    const [file] = by("file").files;
    if (file) openFile(file);
    by("file").value = "";
  });
  by("put-away").addEventListener("click", () => {
    change({ file: null, tune: 0, locks: [] });
    by("text").focus();
  });
  by("as-text").addEventListener("click", () => {
    const { text } = readTunes()[work().tune] ?? {};
    if (text) change({ text, file: null, tune: 0, tapped: null });
    by("text").focus();
  });
  startDropping();
}

function startDropping() {
  let depth = 0;
  const over = (steps) => {
    depth = Math.max(0, depth + steps);
    show(by("drop"), depth > 0);
  };
  const holdsFile = ({ dataTransfer }) => [...(dataTransfer?.types ?? [])].includes("Files");
  document.addEventListener("dragenter", (event) => holdsFile(event) && over(1));
  document.addEventListener("dragleave", (event) => holdsFile(event) && over(-1));
  document.addEventListener("dragover", (event) => holdsFile(event) && event.preventDefault());
  document.addEventListener("drop", (event) => {
    over(-depth);
    const [file] = event.dataTransfer?.files ?? [];
    if (!file) return;
    event.preventDefault();
    openFile(file);
  });
}

async function openFile(file) {
  const start = new Uint8Array(await file.slice(0, 12).arrayBuffer());
  const isSound = SOUND.test(String.fromCharCode(...start));
  if (isTooLarge(file, isSound ? MOST_SOUND : most)) return;
  if (isSound && (await hearSound(file))) return announce(`Opened ${file.name}`);
  if (isTooLarge(file, most)) return;
  const bytes = new Uint8Array(await file.arrayBuffer());
  const text = typedText(bytes);
  if (text?.startsWith(WORK)) return openWork(text, file.name);
  // A typed tune with a mistake is opened, to be mended; of another file nobody can.
  if (text !== null) openNew({ text });
  else if (!(await openSource({ name: file.name, base64: inBase64(bytes) }))) return;
  announce(`Opened ${file.name}`);
}

function isTooLarge({ name, size }, limit) {
  if (size <= limit) return false;
  const sentence = `${name} is larger than ${Math.round(limit / 1e5) / 10} MB. Take one tune out of it.`;
  showFault({ sentence, line: null });
  return true;
}

/** Open a piece of work that was kept as a file, with its settings and its locks. */
async function openWork(text, name) {
  const found = await ask("/open", { text }, "opening");
  if (found?.error) showFault({ ...found.error, line: null });
  if (!found?.answer) return;
  const { base64, settings, tune, locks, ...work } = found.answer;
  const file = base64 ? { id: `${work.name} ${Date.now()}`, name: work.name, base64 } : null;
  const whole = { ...USUAL_SETTINGS, ...settings };
  openNew({ text: work.text, file, tune, locks, settings: whole, chordsAsked: tune });
  announce(`Opened ${name}`);
}

/** Open a file that is no typing, if it can be read. */
async function openSource({ name, base64 }) {
  const found = await ask("/read", { source: { name, base64 } }, "opening");
  if (found?.answer) openNew({ file: { id: `${name} ${base64.length} ${Date.now()}`, name, base64 } });
  else if (found) showFault({ ...found.error, sentence: `${name}: ${found.error.sentence}`, line: null });
  return Boolean(found?.answer);
}

/** What a file says if people type such files; null for all others. */
function typedText(bytes) {
  try {
    const text = new TextDecoder("utf-8", { fatal: true }).decode(bytes);
    return /^\s*<|^MThd|\0/.test(text) ? null : text;
  } catch {
    return null;
  }
}

export function inBase64(bytes) {
  const parts = [];
  for (let at = 0; at < bytes.length; at += 0x8000) {
    parts.push(String.fromCharCode(...bytes.subarray(at, at + 0x8000)));
  }
  return btoa(parts.join(""));
}
