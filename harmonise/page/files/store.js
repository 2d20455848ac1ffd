// Pieces of work in the browser's storage: one entry each, so that a damaged one costs
// itself only, and windows side by side never write over each other.
//
// An entry is a line with the version and a stamp of who wrote it last, and JSON below.

const VERSION = 1;
const PIECE = "harmonise.piece.";
const FILE = "harmonise.file.";
const DELETED = "harmonise.deleted";
const HEAD = /^harmonise (\d+) (\S+)\n/;

const fresh = () => crypto.getRandomValues(new Uint32Array(2)).join("-");
let stamps = 0;
const me = fresh(); // this window

export const newId = fresh;
const newStamp = () => `${me}.${(stamps += 1)}`;

const isText = (value) => typeof value === "string";
const isPlain = (value) => value !== null && typeof value === "object" && !Array.isArray(value);
const isCount = (value) => Number.isInteger(value) && value >= 0;

const isLock = (lock) =>
  isPlain(lock) &&
  [lock.onset, lock.end, lock.chord].every(isText) &&
  Number.isInteger(lock.moved ?? 0);

/** Whether something that was stored is a step of work; what is missing is usual. */
function isStep(step) {
  if (!isPlain(step)) return false;
  const { text = "", file = null, tune = 0, settings = {} } = step;
  const { locks = [], lockText = null, tapped = null, caret = null } = step;
  return (
    isText(text) &&
    (file === null || (isPlain(file) && isText(file.id) && isText(file.name))) &&
    isCount(tune) &&
    isPlain(settings) &&
    Array.isArray(locks) &&
    locks.every(isLock) &&
    (lockText === null || isText(lockText)) &&
    (caret === null || (Array.isArray(caret) && caret.length === 2 && caret.every(isCount))) &&
    (tapped === null || (isPlain(tapped) && isText(tapped.text) && isText(tapped.taken)))
  );
}

/** Read an entry; null if there is none, {fault} if it cannot be used. */
function parsed(raw) {
  if (raw === null) return null;
  const head = HEAD.exec(raw);
  if (head && Number(head[1]) > VERSION) return { fault: "newer" };
  try {
    const found = JSON.parse(raw.slice(head[0].length));
    if (!isStep(found.now) || !isCount(found.changed)) return { fault: "damaged" };
    const steps = (list) => (Array.isArray(list) ? list.filter(isStep) : []);
    return {
      stamp: head[2],
      name: isText(found.name) ? found.name : "",
      title: isText(found.title) ? found.title : "",
      changed: found.changed,
      now: found.now,
      past: steps(found.past),
      future: steps(found.future),
    };
  } catch {
    return { fault: "damaged" };
  }
}

const get = (key) => {
  try {
    return localStorage.getItem(key);
  } catch {
    return null; // the browser keeps nothing for this page
  }
};

/** Store; return whether there was room. */
function put(key, value) {
  try {
    localStorage.setItem(key, value);
    return true;
  } catch {
    return false;
  }
}

const drop = (key) => {
  try {
    localStorage.removeItem(key);
  } catch {
    // There was nothing to drop.
  }
};

/** The name under which a piece of work is listed. */
export const nameOf = ({ name, title, now }) =>
  name || title || now?.file?.name || "Without a title";

/** All pieces of work, the newest first; those that cannot be read are last. */
export function pieces() {
  let keys = [];
  try {
    keys = Object.keys(localStorage).filter((key) => key.startsWith(PIECE));
  } catch {
    return [];
  }
  const found = keys.map((key) => {
    const entry = parsed(get(key));
    const id = key.slice(PIECE.length);
    return entry?.fault
      ? { id, fault: entry.fault, changed: -1 }
      : { id, name: nameOf(entry), changed: entry.changed };
  });
  return found.sort((one, other) => other.changed - one.changed);
}

/** A piece of work with its file; null if there is none that can be read. */
export function readPiece(id) {
  const entry = parsed(get(PIECE + id));
  if (!entry || entry.fault) return null;
  return { ...entry, file: readFile(id) };
}

function readFile(id) {
  try {
    const file = JSON.parse(get(FILE + id));
    return [file?.id, file?.name, file?.base64].every(isText) ? file : null;
  } catch {
    return null;
  }
}

/** Who wrote a piece of work last; null if it is not there. */
export const stampOf = (id) => HEAD.exec(get(PIECE + id) ?? "")?.[2] ?? null;

// A file is stored once, beside the steps, which name it only.
const light = (step) => ({
  ...step,
  file: step.file && { id: step.file.id, name: step.file.name },
});

/**
 * Store a piece of work; return its stamp, or null where there is no room for it.
 *
 * For want of room the piece that was deleted last goes first, then old steps.
 */
export function writePiece(id, { name, title, now, past, future }) {
  if (now.file && readFile(id)?.id !== now.file.id) {
    const file = JSON.stringify(now.file);
    if (!put(FILE + id, file)) {
      forgetDeleted();
      if (!put(FILE + id, file)) return null;
    }
  }
  const stamp = newStamp();
  const entry = (some, more) =>
    `harmonise ${VERSION} ${stamp}\n${JSON.stringify({
      name,
      title,
      changed: Date.now(),
      now: light(now),
      past: some.map(light),
      future: more.map(light),
    })}`;
  if (put(PIECE + id, entry(past, future))) return stamp;
  forgetDeleted();
  for (let count = past.length; ; count = Math.floor(count / 2)) {
    const steps = count ? past.slice(-count) : [];
    if (put(PIECE + id, entry(steps, count ? future : []))) return stamp;
    if (!count) return null;
  }
}

/** Change the name of a piece of work; a window that has it open goes on with it. */
export function renamePiece(id, name) {
  const entry = readPiece(id);
  if (entry) put(PIECE + id, rewritten(entry, { name }));
}

function rewritten({ stamp, file, ...entry }, part) {
  return `harmonise ${VERSION} ${stamp}\n${JSON.stringify({ ...entry, ...part })}`;
}

/** Make a second piece of work like one; return its id, or null without room. */
export function duplicatePiece(id) {
  const entry = readPiece(id);
  if (!entry) return null;
  const copy = fresh();
  const part = { name: `${nameOf(entry)} (copy)`, changed: Date.now() };
  const done =
    (!entry.file || put(FILE + copy, JSON.stringify(entry.file))) &&
    put(PIECE + copy, rewritten(entry, part));
  if (done) return copy;
  drop(FILE + copy);
  return null;
}

/** Delete a piece of work; the one that was deleted last can be brought back. */
export function deletePiece(id) {
  const [raw, file] = [get(PIECE + id), get(FILE + id)];
  drop(DELETED);
  drop(PIECE + id);
  drop(FILE + id);
  // With the piece gone there is room for it again.
  put(DELETED, JSON.stringify({ id, raw, file }));
}

/** Bring back what was deleted last; return its id, or null. */
export function undeletePiece() {
  try {
    const { id, raw, file } = JSON.parse(get(DELETED));
    drop(DELETED);
    if ((file === null || put(FILE + id, file)) && put(PIECE + id, raw)) return id;
    put(DELETED, JSON.stringify({ id, raw, file }));
  } catch {
    // Nothing was deleted, or it can no longer be read.
  }
  return null;
}

const forgetDeleted = () => drop(DELETED);

/** Call a function when another window changes a piece of work. */
export function watchStore(watcher) {
  addEventListener("storage", ({ key }) => {
    if (key === null || key.startsWith(PIECE)) watcher();
  });
}

/** Take over what releases before this store kept: one tune, under one name. */
export function takeOver() {
  try {
    const old = JSON.parse(get("harmonise"));
    if (!isStep(old?.now)) return;
    const file = JSON.parse(get("harmonise.file"));
    const steps = (list) => (Array.isArray(list) ? list.filter(isStep) : []);
    const here = (step) => !step.file || step.file.id === file?.id;
    const now = { ...old.now, file: old.now.file && here(old.now) ? file : null };
    const past = steps(old.past).filter(here);
    const future = steps(old.future).filter(here);
    if (!writePiece(fresh(), { name: "", title: "", now, past, future })) return;
    for (const key of ["harmonise", "harmonise.file", "harmonise.file.id"]) drop(key);
  } catch {
    // What cannot be read stays where it is.
  }
}
