// The user's work: the tune, the settings, the locks. Every change can be undone,
// and all of it is kept in the browser's storage.

const STORE = "harmonise";
const FILE_STORE = "harmonise.file";
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
};

export const nothing = () => ({
  text: "",
  file: null, // {id, name, base64}
  tune: 0,
  settings: { ...USUAL_SETTINGS },
  locks: [], // {onset, end, chord, moved}
  tapped: null, // {text, taken}: how a tapped text was left
});

let now = nothing();
let past = [];
let future = [];
let kept = true; // whether the browser had room for the work
let joined = { kind: "", at: 0 };
const watchers = [];

export const work = () => now;
export const isKept = () => kept;
export const canUndo = () => past.length > 0;
export const canRedo = () => future.length > 0;

/** Call a function after every change with the new and the former work. */
export function watch(watcher) {
  watchers.push(watcher);
}

/** Change part of the work. Changes of one kind in quick succession are one step. */
export function change(part, kind = "") {
  const before = now;
  const at = Date.now();
  const joins = kind && kind === joined.kind && at - joined.at < JOIN_WITHIN;
  if (!joins) past = shortened([...past, before]);
  joined = { kind, at };
  future = [];
  settle({ ...before, ...part }, before);
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

function settle(next, before) {
  now = next;
  keep();
  for (const watcher of watchers) watcher(now, before);
}

// A file is stored once, beside the steps, which name it only.
const light = (step) => ({
  ...step,
  file: step.file && { id: step.file.id, name: step.file.name },
});

/** Store everything; steps are left out where the browser has no room for them. */
function keep() {
  try {
    if (!now.file) localStorage.removeItem(FILE_STORE);
    else if (localStorage.getItem(`${FILE_STORE}.id`) !== now.file.id) {
      localStorage.setItem(FILE_STORE, JSON.stringify(now.file));
    }
    localStorage.setItem(`${FILE_STORE}.id`, now.file?.id ?? "");
    localStorage.setItem(
      STORE,
      JSON.stringify({ now: light(now), past: past.map(light), future: future.map(light) }),
    );
    kept = true;
  } catch {
    keepLess();
  }
}

function keepLess() {
  try {
    localStorage.setItem(STORE, JSON.stringify({ now: light(now), past: [], future: [] }));
    kept = !now.file || localStorage.getItem(`${FILE_STORE}.id`) === now.file.id;
  } catch {
    kept = false;
  }
}

/** Bring back what was stored; return whether there was anything. */
export function recall() {
  try {
    const stored = JSON.parse(localStorage.getItem(STORE) ?? "null");
    if (!stored?.now) return false;
    const file = JSON.parse(localStorage.getItem(FILE_STORE) ?? "null");
    const whole = (one) => ({
      ...nothing(),
      ...one,
      settings: { ...USUAL_SETTINGS, ...one.settings },
      file: one.file && file,
    });
    const here = (one) => !one.file || one.file.id === file?.id;
    now = here(stored.now) ? whole(stored.now) : { ...whole(stored.now), file: null };
    past = stored.past.filter(here).map(whole);
    future = stored.future.filter(here).map(whole);
    return true;
  } catch {
    return false;
  }
}

/** Begin with a first piece of work, which is no step to undo. */
export function begin(first) {
  settle({ ...nothing(), ...first }, now);
}

/** Keep a choice that is no part of the work, such as the speed of playing. */
export function remember(name, value) {
  try {
    localStorage.setItem(`${STORE}.${name}`, JSON.stringify(value));
  } catch {
    // The choice lasts until the page is closed.
  }
}

export function remembered(name, usual) {
  try {
    return JSON.parse(localStorage.getItem(`${STORE}.${name}`)) ?? usual;
  } catch {
    return usual;
  }
}
