// The chords, bar by bar: why each is there, the others that would do, and the locks.

import { announce } from "./announce.js";
import { by, make, show } from "./dom.js";
import { number, parse } from "./fractions.js";
import { markChosen, reveal, slotAt } from "./score.js";
import { strikeTogether } from "./sound.js";
import { change, work } from "./state.js";

let music = null;
let chosen = -1; // place of the chosen chord

export function startChords() {
  by("slots").addEventListener("keydown", onKey);
  by("score").addEventListener("click", (event) => {
    const place = slotAt(event);
    if (place < 0) return;
    choose(place);
    by("chord").scrollIntoView({ block: "nearest" });
  });
  by("lock").addEventListener("click", () => lock(current().chord, "Locked"));
  by("unlock").addEventListener("click", () => unlock());
  by("unlock-all").addEventListener("click", () => {
    change({ locks: [] });
    announce("All chords unlocked");
  });
  by("hear").addEventListener("click", () => strikeTogether(keysOf(current()), 1.6));
  by("own").addEventListener("submit", (event) => {
    event.preventDefault();
    const symbol = by("own-chord").value.trim();
    if (!symbol || !current()) return;
    lock(symbol, "Put in and locked");
    by("own-chord").value = "";
  });
}

const current = () => music?.slots[chosen];
const placeOf = ({ bar, beat }) => `${bar ? `Bar ${bar}` : "The pickup"}${beat ? `, beat ${mixed(parse(beat))}` : ""}`;

/** A beat as players say it: "2 1/2". */
function mixed([above, below]) {
  const whole = Math.floor(above / below);
  const rest = above - whole * below;
  return rest ? `${whole} ${rest}/${below}` : `${whole}`;
}

/** Show the chords of new music; the chosen one stays chosen at its time. */
export function showChords(next) {
  const held = current()?.onset;
  const focused = document.activeElement;
  const inSlots = by("slots").contains(focused) || focused === by("unlock-all");
  const inPanel = by("chord").contains(focused);
  music = next;
  chosen = held === undefined ? -1 : next.slots.findIndex(({ onset }) => onset === held);
  show(by("no-chords"), !next.slots.length);
  show(by("unlock-all"), work().locks.length > 0);
  by("slots").replaceChildren(...next.bars.map(barOf).filter(Boolean));
  showChosen();
  if (inSlots && lost(focused)) buttonOf(Math.max(chosen, 0))?.focus();
  if (inPanel && lost(focused)) by("chord-name").focus();
}

const lost = (element) => !element.isConnected || Boolean(element.closest("[hidden]"));

function barOf({ index, number: count, from, until }) {
  const own = music.slots.filter(({ start }) => start >= from && start < until);
  if (!own.length) return null; // the second part of a bar that a repeat splits
  const label = make("span", { class: "bar-number", text: count, "aria-hidden": "true" });
  return make("div", { class: "bar", "data-bar": index }, label, ...own.map(slotButton));
}

function slotButton(slot) {
  const place = music.slots.indexOf(slot);
  const name = slot.chord ?? "–";
  const said = `${name} ${slot.locked ? "locked, " : ""}${placeOf(slot).toLowerCase()}`;
  const button = make(
    "button",
    {
      type: "button",
      class: "slot",
      tabindex: "-1",
      "data-place": place,
      "aria-label": slot.chord ? said : `${said}, no chord`,
    },
    make("span", { class: "symbol-text", text: name }),
    make("span", { class: "numeral-text", text: slot.numeral }),
  );
  if (slot.locked) button.append(make("span", { class: "padlock", "aria-hidden": "true" }));
  button.classList.toggle("locked", slot.locked);
  button.addEventListener("click", () => choose(place));
  return button;
}

const buttonOf = (place) => by("slots").querySelector(`[data-place="${place}"]`);

/** Choose a chord by its place; its panel opens. */
export function choose(place) {
  chosen = place;
  showChosen();
  const slot = current();
  if (slot) {
    reveal(slot);
    announce(`${placeOf(slot)}: ${slot.chord ?? "no chord"}. ${slot.reason}`);
  }
}

/** Go some chords on or back, as the arrow keys do. */
export function step(by_) {
  if (!music?.slots.length) return;
  const next = chosen < 0 ? 0 : Math.min(Math.max(chosen + by_, 0), music.slots.length - 1);
  choose(next);
}

/** Go to the panel of the chosen chord. */
export function enterPanel() {
  if (!current()) step(1);
  by("chord-name").focus();
}

function onKey(event) {
  const steps = {
    ArrowLeft: () => -1,
    ArrowRight: () => 1,
    ArrowUp: () => -perBar(),
    ArrowDown: perBar,
    Home: () => -Infinity,
    End: () => Infinity,
  };
  if (!(event.key in steps)) return;
  event.preventDefault();
  if (chosen < 0) chosen = Number(event.target.dataset.place ?? 0);
  step(steps[event.key]());
  buttonOf(chosen)?.focus();
}

const perBar = () => music?.slots.filter(({ bar }) => bar === current()?.bar).length || 1;

function showChosen() {
  const slot = current();
  for (const button of by("slots").querySelectorAll(".slot")) {
    const own = Number(button.dataset.place) === chosen;
    button.setAttribute("aria-pressed", String(own));
    button.setAttribute(
      "tabindex",
      own || (chosen < 0 && button.dataset.place === "0") ? "0" : "-1",
    );
  }
  document.body.dataset.chosen = slot ? slot.onset : "";
  show(by("chord"), Boolean(slot));
  markChosen(slot, slot ? keptNotes(slot) : []);
  if (slot) showPanel(slot);
}

function showPanel(slot) {
  const chord = slot.chord
    ? `${slot.chord}${slot.numeral ? ` (${slot.numeral})` : ""}`
    : "no chord";
  by("chord-name").textContent = `${placeOf(slot)}: ${chord}${slot.locked ? ", locked" : ""}`;
  by("reason").textContent = sentence(slot.reason);
  by("kept").textContent = slot.position
    ? `Right hand: ${slot.position}.${keptWords(slot)}`
    : "";
  show(by("hear"), slot.notes.length > 0);
  show(by("lock"), Boolean(slot.chord) && !slot.locked);
  show(by("unlock"), slot.locked);
  show(by("others"), slot.alternatives.length > 0);
  show(by("alone"), Boolean(slot.chord) && !slot.locked && !slot.alternatives.length);
  by("alternatives").replaceChildren(...slot.alternatives.map(otherOf));
}

function keptWords({ kept }) {
  if (!kept.length) return "";
  return kept.length === 1
    ? " One key is kept from the chord before."
    : ` ${kept.length} keys are kept from the chord before.`;
}

const sentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}`;

function otherOf({ chord, numeral, cost, reason }) {
  const use = make("button", { type: "button", text: `Use ${chord}` });
  use.addEventListener("click", () => lock(chord, "Put in and locked"));
  const facts = make("span", {
    class: "facts",
    text: `${numeral} · cost ${(cost / 1000).toFixed(2)}`,
  });
  return make("li", {}, use, facts, make("span", { class: "why", text: sentence(reason) }));
}

function lock(chord, said) {
  const slot = current();
  const own = { onset: slot.onset, end: slot.end, chord, moved: music.moved };
  change({ locks: [...outside(slot), own] });
  announce(`${said}: ${chord}. The others are chosen anew around it.`);
}

function unlock() {
  change({ locks: outside(current()) });
  announce("Unlocked");
}

/** The locks that do not touch a chord's stretch. */
function outside(slot) {
  const [start, end] = [slot.onset, slot.end].map((time) => number(parse(time)));
  return work().locks.filter(
    (one) => number(parse(one.end)) <= start || number(parse(one.onset)) >= end,
  );
}

function soundingAt(slot) {
  const ids = new Set(slot.notes);
  return music.events.filter((event) => event.ids.some((id) => ids.has(id)));
}

const keysOf = (slot) => [...new Set(soundingAt(slot).map(({ midi }) => midi))];

const keptNotes = (slot) =>
  soundingAt(slot)
    .filter(({ midi, hand }) => hand === "right" && slot.kept.includes(midi))
    .flatMap(({ ids }) => ids.filter((id) => slot.notes.includes(id)));
