// The chords, bar by bar: why each is there, the others that would do, and the locks.

import { announce } from "./announce.js";
import { drawAhead } from "./arranging.js";
import { by, make, settled, show } from "./dom.js";
import { number, parse } from "./fractions.js";
import { playFrom } from "./listen.js";
import { placePanel } from "./panel.js";
import { markChosen, reveal, slotAt, tuneNoteAt } from "./score.js";
import { strikeTogether } from "./sound.js";
import { change, work } from "./state.js";
import { goToNote } from "./tune_box.js";

let music = null;
let chosen = -1; // place of the chosen chord

export function startChords() {
  by("slots").addEventListener("keydown", onKey);
  by("score").addEventListener("click", (event) => {
    const note = tuneNoteAt(event);
    if (note >= 0) goToNote(note);
    const place = slotAt(event);
    // What was clicked stays where it is; the panel comes to it.
    if (place >= 0) choose(place, { reveals: false });
  });
  by("sheet").addEventListener("click", ({ target }) => {
    if (!target.closest(".line, .panel")) close();
  });
  by("chord-close").addEventListener("click", closeHere);
  by("music-view").addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || chosen < 0) return;
    event.stopPropagation();
    closeHere();
  });
  new ResizeObserver(settled(() => placePanel(current()), 50)).observe(by("sheet"));
  by("play-here").addEventListener("click", () => playFrom(current().start));
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
  by("own-chord").addEventListener("input", () => {
    const symbol = by("own-chord").value.trim();
    if (symbol && current()) drawAhead([locksWith(current(), symbol)]);
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
  showBars();
  showChosen();
  if (inSlots && lost(focused)) buttonOf(Math.max(chosen, 0))?.focus();
  if (inPanel && lost(focused)) by("chord-name").focus();
}

const lost = (element) => !element.isConnected || Boolean(element.closest("[hidden]"));

/** Show the bars; those whose chords are the same stay. */
function showBars() {
  const host = by("slots");
  const rows = music.bars.map(barOf).filter(Boolean);
  rows.forEach(({ told, index, slots: own, number: count }, place) => {
    const before = host.children[place];
    if (before?.dataset.told === told) return;
    const bar = drawnBar(index, count, own);
    bar.dataset.told = told;
    if (before) before.replaceWith(bar);
    else host.append(bar);
  });
  while (host.children.length > rows.length) host.lastChild.remove();
}

let places = new Map(); // of each slot, its number

function barOf({ index, number: count, from, until }) {
  if (!index) places = new Map(music.slots.map((slot, place) => [slot, place]));
  const own = slotsFrom(from, until);
  if (!own.length) return null; // the second part of a bar that a repeat splits
  const told = JSON.stringify([
    count,
    own.map((slot) => [places.get(slot), slot.chord, slot.numeral, slot.locked, slot.beat]),
  ]);
  return { told, index, slots: own, number: count };
}

/** The slots that begin in a stretch; they stand in order. */
function slotsFrom(from, until) {
  let low = 0;
  let high = music.slots.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (music.slots[middle].start < from) low = middle + 1;
    else high = middle;
  }
  const found = [];
  for (let at = low; music.slots[at]?.start < until; at += 1) found.push(music.slots[at]);
  return found;
}

function drawnBar(index, count, own) {
  const label = make("span", { class: "bar-number", text: count, "aria-hidden": "true" });
  return make("div", { class: "bar", "data-bar": index }, label, ...own.map(slotButton));
}

function slotButton(slot) {
  const place = places.get(slot);
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

/** Choose a chord by its place; its panel opens beside it. */
export function choose(next, { reveals = true } = {}) {
  chosen = next;
  const slot = current();
  if (slot && reveals) reveal(slot);
  showChosen();
  if (!slot) return;
  buttonOf(chosen)?.scrollIntoView({ block: "nearest", inline: "nearest" });
  announce(`${placeOf(slot)}: ${slot.chord ?? "no chord"}. ${slot.reason}`);
}

function close() {
  if (chosen < 0) return;
  chosen = -1;
  showChosen();
}

/** Close the panel, and go back to where it was opened from. */
function closeHere() {
  const button = buttonOf(chosen);
  close();
  button?.setAttribute("tabindex", "0");
  (button ?? by("score")).focus({ preventScroll: true });
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
  const isOurs = Boolean(slot.written);
  const fixed = fixedWords(slot);
  by("fixed").textContent = fixed;
  show(by("fixed"), Boolean(fixed));
  show(by("hear"), slot.notes.length > 0);
  show(by("lock"), isOurs && Boolean(slot.chord) && !slot.locked);
  show(by("unlock"), slot.locked && !fixed);
  show(by("others"), isOurs && slot.alternatives.length > 0);
  show(by("alone"), isOurs && Boolean(slot.chord) && !slot.locked && !slot.alternatives.length);
  show(by("own"), isOurs);
  const others = isOurs ? slot.alternatives : [];
  by("alternatives").replaceChildren(...others.map(otherOf));
  if (others.length) ahead(slot);
  placePanel(slot);
}

/** Why a chord cannot be changed here; "" where it can. */
function fixedWords(slot) {
  if (!slot.written) return "This chord is of the introduction, of the last verse or of the end. Choose it in the first verse.";
  const isTyped = slot.locked && outside(slot).length === work().locks.length;
  return isTyped ? "Locked by the Chords: line of the text, or by the file." : "";
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
  const facts = make("span", { class: "facts", text: `${numeral} · ${weight(cost)}` });
  return make("li", {}, use, facts, make("span", { class: "why", text: sentence(reason) }));
}

/** What the whole page loses by another chord, in words; costs are thousandths. */
function weight(cost) {
  if (cost < 100) return "just as good";
  if (cost < 500) return "nearly as good";
  return cost < 1500 ? "a little less good" : "less good";
}

/** The locks with another chord in a slot. */
function locksWith(slot, chord) {
  const [onset, end] = slot.written;
  return [...outside(slot), { onset, end, chord, moved: music.moved }];
}

const ahead = settled((slot) => {
  if (slot === current())
    drawAhead(slot.alternatives.slice(0, 3).map(({ chord }) => locksWith(slot, chord)));
}, 250);

function lock(chord, said) {
  change({ locks: locksWith(current(), chord) });
  announce(`${said}: ${chord}. The others are chosen anew around it.`);
}

function unlock() {
  change({ locks: outside(current()) });
  announce("Unlocked");
}

/** The locks that do not touch a chord's stretch. */
function outside(slot) {
  const [start, end] = (slot.written ?? ["0", "0"]).map((time) => number(parse(time)));
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
