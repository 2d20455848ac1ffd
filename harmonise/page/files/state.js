// The piece of work that is open: the tune, the settings, the locks. Every change can be
// undone, and all of it is kept in the browser's storage.

import {
  deletePiece,
  duplicatePiece,
  newId,
  pieces,
  readPiece,
  renamePiece,
  stampOf,
  takeOver,
  undeletePiece,
  watchStore,
  writePiece,
} from "./store.js";

const CHOICE = "harmonise.";
const OPEN = "harmonise.open"; // which piece this window has open
const MOST_STEPS = 200;
const MOST_LETTERS = 1_000_000; // in all steps together
const JOIN_WITHIN = 1200; // milliseconds in which typing is one step

export const USUAL_SETTINGS = {
  key: "",
  transpose: "",
  level: "",
  harmonicRhythm: "auto",
  texture: "auto",
  numerals: true,
  fingering: false,
  labels: "none",
  leftHand: "",
  player: "",
  voices: "",
  part: "",
  sections: "",
  introduction: "none",
  verses: 0,
  gap: "none",
  lastVerse: [],
  slowEnding: false,
  amen: false,
  majorAmen: false,
  gb: false,
  strict: false,
};

/** What belongs to one tune; all other settings are taste, and stay for the next. */
export const TUNE_SETTINGS = [
  "key",
  "transpose",
  "voices",
  "part",
  "sections",
  "verses",
  "introduction",
  "gap",
  "lastVerse",
  "slowEnding",
  "amen",
  "majorAmen",
];

let begun = USUAL_SETTINGS; // settings with which a piece begins

/** What the user's own settings say: new pieces begin with it. */
export function takeUsual({ labels, level }) {
  begun = { ...USUAL_SETTINGS, level, labels: labels || USUAL_SETTINGS.labels };
  const isFresh = open.stamp === null && JSON.stringify(now.settings) === JSON.stringify(USUAL_SETTINGS);
  if (isFresh) amend({ settings: { ...begun } });
}

export const nothing = () => ({
  text: "",
  file: null, // {id, name, base64}
  tune: 0,
  settings: { ...begun },
  locks: [], // {onset, end, chord, moved}
  lockText: null, // the text whose times the locks have; null for a file's
  chordsAsked: -1, // the tune of which it was asked what becomes of its own chords
  tapped: null, // {text, taken}: how a tapped text was left
  caret: null, // [from, to]: where it was tapped, or where the next note goes
});

let now = nothing();
let past = [];
let future = [];
let open = { id: newId(), name: "", title: "", stamp: null };
let kept = true; // whether the browser had room for the work
let parted = false; // whether the work became a piece of its own here
let joined = { kind: "", at: 0 };
let readText = null; // the text that was read last without a mistake
const watchers = [];
const listeners = [];

export const work = () => now;
export const isKept = () => kept;
export const canUndo = () => past.length > 0;
export const canRedo = () => future.length > 0;
export const openId = () => open.id;
export const hasParted = () => parted;

/** Call a function after every change with the new and the former work. */
export function watch(watcher) {
  watchers.push(watcher);
}

/** Call a function when the list of pieces, or how the work is kept, has changed. */
export function watchPieces(listener) {
  listeners.push(listener);
  if (listeners.length === 1) watchStore(seeOthers);
}

/** Another window has changed a piece: of the open one it may have changed the name. */
function seeOthers() {
  if (open.stamp !== null && stampOf(open.id) === open.stamp)
    open.name = readPiece(open.id)?.name ?? open.name;
  tellPieces();
}

function tellPieces() {
  for (const listener of listeners) listener();
}

/**
 * Change part of the work. Changes of one kind in quick succession are one step. `from`
 * is where the caret stood, to which a step back leads.
 */
export function change(part, kind = "", from = null) {
  const before = now;
  const at = Date.now();
  const joins = kind && kind === joined.kind && at - joined.at < JOIN_WITHIN;
  if (!joins) past = shortened([...past, from ? { ...before, caret: from } : before]);
  joined = { kind, at };
  future = [];
  const caret = "text" in part ? { caret: null } : {};
  settle({ ...before, ...lockedIn(part, before), ...caret, ...part }, before);
}

/** New locks have the times of the music that is shown: of the text that was read. */
function lockedIn({ locks, file, text }, before) {
  if (!locks) return {};
  if ((file === undefined ? before.file : file) !== null) return { lockText: null };
  return { lockText: text ?? readText ?? before.text };
}

/** Change what follows from the work as it is, and so is no step of its own. */
export function amend(part) {
  now = { ...now, ...part };
  if (open.stamp !== null) keep();
}

/** The newest steps that there is room for. */
function shortened(steps) {
  let letters = 0;
  const from = steps.findLastIndex(({ text }) => (letters += text.length) > MOST_LETTERS);
  return steps.slice(from + 1).slice(-MOST_STEPS);
}

export function undo() {
  if (!past.length) return false;
  future.push(now);
  step(past.pop());
  return true;
}

export function redo() {
  if (!future.length) return false;
  past.push(now);
  step(future.pop());
  return true;
}

function step(next) {
  joined = { kind: "", at: 0 };
  settle(next, now);
}

function settle(next, before, keeps = true) {
  now = next;
  if (keeps) keep();
  for (const watcher of watchers) watcher(now, before);
}

/** Store the work; where another window has changed the same piece, as one of its own. */
function keep() {
  const found = stampOf(open.id);
  if (found !== null && found !== open.stamp) {
    parted = true;
    open = { ...open, id: newId() };
  }
  const stamp = writePiece(open.id, { ...open, now, past, future });
  kept = stamp !== null;
  if (kept) open.stamp = stamp;
  rememberOpen();
  tellPieces();
}

function rememberOpen() {
  try {
    sessionStorage.setItem(OPEN, open.id);
  } catch {
    // After a reload the newest piece is open.
  }
}

/** What was read of the text: its title, by which it is listed. */
export function wasRead(title) {
  readText = now.file ? null : now.text;
  if (title === open.title) return;
  open.title = title;
  // A tune that nobody has changed is not kept, such as the first visit's.
  if (open.stamp !== null) keep();
}

/** Bring back what was stored; return whether there was anything. */
export function recall() {
  takeOver();
  addEventListener("beforeunload", (event) => !kept && event.preventDefault());
  let id = null;
  try {
    id = sessionStorage.getItem(OPEN);
  } catch {
    // The newest one will do.
  }
  const ids = [id, ...pieces().map((piece) => piece.id)];
  const found = ids.find((one) => one && readPiece(one));
  if (!found) return false;
  take(found);
  return true;
}

/** Take up a piece of work as it is stored. */
function take(id) {
  const { file, stamp, name, title, ...steps } = readPiece(id);
  const whole = (one) => ({
    ...nothing(),
    ...one,
    settings: { ...USUAL_SETTINGS, ...known(one.settings) },
    file: one.file && file,
  });
  const here = (one) => !one.file || one.file.id === file?.id;
  now = here(steps.now) ? whole(steps.now) : { ...whole(steps.now), file: null };
  past = steps.past.filter(here).map(whole);
  future = steps.future.filter(here).map(whole);
  open = { id, name, title, stamp };
  joined = { kind: "", at: 0 };
  readText = null;
  kept = true;
  parted = false;
  rememberOpen();
}

function kindOf(value) {
  if (Array.isArray(value)) return "list";
  return value === null ? "nothing" : typeof value;
}

/** The settings of a kind that there is; a release may have had others. */
const known = (settings = {}) =>
  Object.fromEntries(
    Object.entries(settings).filter(
      ([name, value]) => kindOf(value) === kindOf(USUAL_SETTINGS[name]),
    ),
  );

/** Begin with a first piece of work, which is no step to undo, nor kept as it is. */
export function begin(first) {
  settle({ ...nothing(), ...first }, now, false);
}

/** Begin a new piece of work; the one before stays in the list as it is. */
export function openNew(part, { keeps = true } = {}) {
  const before = now;
  const names = TUNE_SETTINGS.filter((name) => name in USUAL_SETTINGS);
  const usual = Object.fromEntries(names.map((name) => [name, USUAL_SETTINGS[name]]));
  const settings = { ...before.settings, ...usual };
  open = { id: newId(), name: "", title: "", stamp: null };
  past = [];
  future = [];
  joined = { kind: "", at: 0 };
  readText = null;
  parted = false;
  const next = { ...nothing(), settings, ...part };
  const lockText = next.file ? null : next.text;
  settle({ ...next, lockText }, before, keeps);
  if (!keeps) tellPieces();
}

/** Open another piece of work; return whether it can be read. */
export function openPiece(id) {
  if (!readPiece(id)) return false;
  const before = now;
  take(id);
  settle(now, before, false);
  tellPieces();
  return true;
}

export function rename(id, name) {
  if (id !== open.id || open.stamp === null) renamePiece(id, name);
  else {
    open.name = name;
    keep();
  }
  tellPieces();
}

/** Make a second piece like one; return whether there was room. */
export function duplicate(id) {
  const copy = duplicatePiece(id);
  tellPieces();
  return copy !== null;
}

/** Delete a piece; if it is the open one, the newest of the others is opened. */
export function remove(id, blank) {
  deletePiece(id);
  if (id !== open.id) return tellPieces();
  const next = pieces().find((piece) => !piece.fault);
  if (next) openPiece(next.id);
  else openNew({ text: blank }, { keeps: false });
}

/** Bring back the piece that was deleted last, and open it. */
export function bringBack() {
  const id = undeletePiece();
  if (id === null) return false;
  openPiece(id);
  tellPieces();
  return true;
}

/** Keep a choice that is no part of the work, such as the speed of playing. */
export function remember(name, value) {
  try {
    localStorage.setItem(`${CHOICE}${name}`, JSON.stringify(value));
  } catch {
    // The choice lasts until the page is closed.
  }
}

export function remembered(name, usual) {
  try {
    return JSON.parse(localStorage.getItem(`${CHOICE}${name}`)) ?? usual;
  } catch {
    return usual;
  }
}
