// Listening: the controls, the count, and the marks of what sounds.

import { announce } from "./announce.js";
import { by, fill, isTyping } from "./dom.js";
import { drawKeys, isBlack, markKeys } from "./keyboard.js";
import { Player } from "./player.js";
import { markSounding } from "./score.js";
import { remember, remembered } from "./state.js";
import { secondsAt, stretchOf, tempoAt } from "./times.js";

const player = new Player(showPlace, ended);
const CHOICES = ["speed", "count-in", "loop", "pedal"];

let music = null; // the arrangement that is shown
let stretch = { start: 0, end: 0 };
let clicks = [];
let drawnKeys = ""; // which keys are drawn
let counted = ""; // the number of the count that is shown

export function startListening() {
  by("play").addEventListener("click", toggle);
  by("speed").addEventListener("input", () => {
    player.setSpeed(speed());
    showSpeed();
  });
  by("loop").addEventListener("change", () => (player.loop = by("loop").checked));
  for (const radio of hands()) radio.addEventListener("change", () => player.setHand(hand()));
  for (const id of ["from", "to"]) by(id).addEventListener("change", () => keepOrder(id));
  for (const id of CHOICES)
    by(id).addEventListener("change", () => remember(id, valueOf(by(id))));
  for (const id of CHOICES) recall(by(id), remembered(id, valueOf(by(id))));
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && player.playing && !isTyping(event.target)) toggle();
  });
}

const valueOf = (field) => (field.type === "checkbox" ? field.checked : field.value);
const recall = (field, value) =>
  field.type === "checkbox" ? (field.checked = value) : (field.value = value);
const hands = () => document.querySelectorAll("input[name=hand]");
const hand = () => document.querySelector("input[name=hand]:checked").value;
const speed = () => Number(by("speed").value) / 100;

/** What the player does now, for files that sound. */
export function playingNow() {
  const whole =
    by("from").selectedIndex <= 0 && by("to").selectedIndex === by("to").options.length - 1;
  const bars = whole
    ? ""
    : `${by("from").selectedOptions[0].text}-${by("to").selectedOptions[0].text}`;
  return {
    speed: speed(),
    countIn: by("count-in").checked,
    hand: hand(),
    bars,
    times: by("loop").checked ? 4 : 1,
    pedal: by("pedal").checked,
  };
}

/** Take new music; what plays stops if the music is another. */
export function setMusic(next) {
  if (player.playing) stop();
  music = next;
  // A bar that a repeat splits in two is one bar to choose.
  const numbered = (index, number) => ({ value: String(index), title: String(number) });
  const firsts = next.bars.filter((bar, place, all) => all[place - 1]?.number !== bar.number);
  const lasts = next.bars.filter((bar, place, all) => all[place + 1]?.number !== bar.number);
  const before = by("to").selectedIndex;
  const wasLast = before === by("to").options.length - 1;
  fill(
    by("from"),
    firsts.map(({ index, number }) => numbered(index, number)),
  );
  fill(
    by("to"),
    lasts.map(({ index, number }) => numbered(index, number)),
  );
  if (wasLast) by("to").selectedIndex = lasts.length - 1;
  const keys = next.events.map(({ midi }) => midi);
  if (keys.length) showKeys(Math.min(...keys), Math.max(...keys));
  showSpeed();
  for (const id of ["play", "from", "to"]) by(id).disabled = !keys.length;
}

function showKeys(low, high) {
  if (drawnKeys === `${low} ${high}`) return;
  drawnKeys = `${low} ${high}`;
  drawKeys(by("shown"), white(low, -1), white(high, 1));
}

const white = (midi, step) => (isBlack(midi) ? midi + step : midi);

function keepOrder(changed) {
  const [from, to] = [by("from"), by("to")];
  if (from.selectedIndex <= to.selectedIndex) return;
  if (changed === "from") to.selectedIndex = from.selectedIndex;
  else from.selectedIndex = to.selectedIndex;
}

function showSpeed() {
  const perMinute = music ? tempoAt(music.tempos, 0) * speed() : 0;
  by("speed-told").textContent =
    `${by("speed").value} %${music ? `, ${Math.round(perMinute)} crotchets a minute` : ""}`;
}

export function toggle() {
  if (player.playing || document.body.dataset.play !== "stopped") stop();
  else if (music) play();
}

function stop() {
  player.stop();
  ended();
}

function ended() {
  setPlay("stopped");
  by("play").textContent = "Play";
  by("count").textContent = "";
  counted = "";
  markSounding([], []);
  markKeys(by("shown"), new Map());
  delete document.body.dataset.sounding;
}

const setPlay = (state) => (document.body.dataset.play = state);

/** Play from a time of the music as it is written, to the end of what is chosen. */
export function playFrom(written) {
  if (!music) return;
  if (player.playing) stop();
  const bar = music.bars.findLast(({ from }) => from <= written);
  const played = music.playedBars.find(({ index }) => index === bar.index);
  play(played.t + written - bar.from);
}

function play(from = null) {
  const end = music.events.reduce((last, { t, d }) => Math.max(last, t + d), 0);
  stretch = stretchOf(music.playedBars, end, Number(by("from").value), Number(by("to").value));
  if (from !== null) stretch = { start: from, end: from < stretch.end ? stretch.end : end };
  const start = secondsAt(music.tempos, stretch.start);
  clicks = by("count-in").checked ? countIn(stretch.start) : [];
  const plan = {
    seconds: secondsAt(music.tempos, stretch.end) - start,
    clicks,
    speed: speed(),
    hand: hand(),
    loop: by("loop").checked,
  };
  setPlay("loading");
  by("play").textContent = "Stop";
  player.start(notesOf(start), plan);
}

function notesOf(start) {
  return music.events
    .filter(({ t }) => t >= stretch.start && t < stretch.end)
    .map((event) => {
      const place = secondsAt(music.tempos, event.t) - start;
      const held = by("pedal").checked ? event.pedal : event.d;
      const until = Math.min(event.t + held, stretch.end);
      const length = secondsAt(music.tempos, until) - start - place;
      return { ...event, place, length };
    })
    .sort((one, other) => one.place - other.place);
}

/** A bar of clicks; before a pickup its bar is counted up to the first note. */
function countIn(from) {
  const { beats, beat, late } = music.countIn;
  const seconds = (beat * 60) / tempoAt(music.tempos, from);
  const more = from > 0 ? 0 : Math.ceil(late / beat - 1e-9);
  const before = from > 0 ? 0 : (late * 60) / tempoAt(music.tempos, from);
  return Array.from({ length: beats + more }, (_, place) => ({
    place: (place - beats) * seconds - before,
    strong: place % beats === 0,
    number: (place % beats) + 1,
  }));
}

function showPlace(place, pass) {
  document.body.dataset.pass = String(pass + 1);
  if (place < 0) return showCount(place);
  if (document.body.dataset.play !== "playing") setPlay("playing");
  showCount(0);
  const at = crotchetsAt(place);
  const heard = music.events.filter(
    ({ t, d, hand: own }) =>
      t <= at && at < t + d && t < stretch.end && (!hand() || own === hand()),
  );
  const names = heard.flatMap(({ ids }) => ids);
  const key = names.join(" ");
  if (document.body.dataset.sounding === key) return undefined;
  document.body.dataset.sounding = key;
  showSounding(heard, at);
  return undefined;
}

function showCount(place) {
  const now = place < 0 ? clicks.findLast((one) => one.place <= place + 0.001) : null;
  const text = now ? String(now.number) : "";
  if (text === counted) return;
  counted = text;
  by("count").textContent = text;
  if (text) setPlay("counting");
}

function showSounding(heard, at) {
  const kept = keptAt(at);
  markSounding(
    heard,
    kept.flatMap(({ ids }) => ids),
  );
  const marks = new Map();
  for (const { midi, hand: own } of heard)
    marks.set(midi, new Set([...(marks.get(midi) ?? []), own]));
  for (const { midi } of kept) marks.get(midi)?.add("kept");
  markKeys(by("shown"), marks);
}

/** The sounding notes that the hand keeps from the chord before. */
function keptAt(at) {
  const written = writtenAt(at);
  const slot = music.slots.findLast(({ start }) => start <= written + 1e-6);
  if (!slot) return [];
  return music.events.filter(
    ({ midi, hand: own, t, d }) =>
      own === "right" &&
      t <= at &&
      at < t + d &&
      slot.kept.includes(midi) &&
      near(slot, midi, t),
  );
}

/** Whether a note is the one that begins or lasts at the start of its chord. */
function near(slot, midi, time) {
  return writtenAt(time) <= slot.start + 1e-6;
}

/** Written time of a played one, through all repeats. */
function writtenAt(time) {
  const bar = music.playedBars.findLast(({ t }) => t <= time + 1e-6) ?? music.playedBars[0];
  return music.bars[bar.index].from + time - bar.t;
}

/** The played time, in crotchets, of a place in seconds. */
function crotchetsAt(place) {
  const wanted = place + secondsAt(music.tempos, stretch.start);
  let low = stretch.start;
  let high = stretch.end;
  for (let step = 0; step < 40; step += 1) {
    const middle = (low + high) / 2;
    if (secondsAt(music.tempos, middle) <= wanted) low = middle;
    else high = middle;
  }
  return low + 1e-4;
}

/** Say whether the music plays, for the space bar in the score. */
export function toggleAloud() {
  toggle();
  announce(document.body.dataset.play === "stopped" ? "Stopped" : "Playing");
}
