// After every change the tune is read and arranged anew, and the page shows it.

import { announce } from "./announce.js";
import { by, make, settled, show } from "./dom.js";
import { number, parse } from "./fractions.js";
import { showChords } from "./chords.js";
import { setMusic } from "./listen.js";
import { settleLocks } from "./locks.js";
import { setHome, settingsNow } from "./manner.js";
import { drawnKeys, showLines, showScore } from "./score.js";
import { ask } from "./server.js";
import { work } from "./state.js";
import { showTime } from "./tapping.js";
import { isHeld, isTypedAtEnd, showEmpty, showFault, showRead } from "./tune_box.js";
import { lineWidth } from "./views.js";

const WAIT_TYPING = 350; // milliseconds after the last letter
let tunes = []; // what was last read
let shown = null; // the arrangement as it was told last
let drawnBefore = false;
let redrawn = 0;
let newest = 0; // the number of the last change that was asked about

export const readTunes = () => tunes;

export function sourceNow() {
  const { text, file, tapped, settings } = work();
  const part = settings.part.trim();
  if (file) return { name: file.name, base64: file.base64, part };
  // A bar that is being typed is not wrong, only not full yet.
  return { text, tapped: tapped?.text === text || isTypedAtEnd(), part };
}

/** The tune and how it is arranged, as the program is asked. */
export const question = () => ({
  source: sourceNow(),
  tune: work().tune,
  settings: settingsNow(),
  locks: work().locks,
});

const later = settled(() => renew(true), WAIT_TYPING);

/** Arrange anew after a change; typing is waited for. */
export function afterChange(now, before) {
  const typed = now.text !== before.text && now.file === before.file;
  const read =
    now.text !== before.text ||
    now.file !== before.file ||
    now.tune !== before.tune ||
    now.settings.part !== before.settings.part;
  setState("working");
  if (typed && !now.tapped) later();
  else renew(read);
}

const setState = (state) => {
  document.body.dataset.state = state;
  by("score").setAttribute("aria-busy", String(state === "working"));
};

/** Break the lines anew for another width. */
export const redraw = () => tunes.length && work() && renew(false);

/** The key and the level of the page as it is shown. */
export const shownKey = () => shown?.key ?? "";

/** Read the tune if it may be another, then arrange it. */
export async function renew(read = true) {
  setState("working");
  newest += 1;
  const mine = newest;
  if (read && !(await readAnew())) return undefined;
  if (mine !== newest) return undefined;
  return tunes.length ? arrangeAnew(mine) : rest();
}

function rest() {
  showEmpty();
  clearPage();
  setState("ready");
}

async function readAnew() {
  const found = await ask("/read", { source: sourceNow() });
  if (!found) return false;
  if (found.error) {
    showFault(found.error);
    by("readback").textContent = isHeld() ? "This line is not finished yet." : "";
    return isHeld() ? unfinished() : fail();
  }
  tunes = found.answer.tunes;
  await settleLocks(tunes, sourceNow());
  showFault(null);
  showRead(found.answer);
  showTime(found.answer.time);
  setHome(tunes[work().tune]?.key ?? "C major");
  return true;
}

const MOST_BARS_AHEAD = 100;
let ahead = new Map(); // pages that were asked for before they are wanted, by question
let round = 0; // the number of the last call for such pages

/**
 * Have pages drawn before they are asked for, one after the other: those with the chords
 * that are on offer while somebody reads about them, or one that is being typed. In a
 * long tune it would take longer than it saves, for there few of the lines change.
 */
export async function drawAhead(wishes) {
  round += 1;
  const mine = round;
  if (!shown || shown.bars.length > MOST_BARS_AHEAD) return;
  for (const locks of wishes) {
    if (mine !== round || document.body.dataset.state !== "ready") return;
    const asked = { ...question(), locks, width: lineWidth(), known: drawnKeys() };
    const key = JSON.stringify(asked);
    if (!ahead.has(key)) ahead.set(key, ask("/draw", asked, "ahead"));
    if (!(await ahead.get(key))?.answer) ahead.delete(key);
  }
}

/** The lines of music that are asked for; those that were drawn ahead are here already. */
async function drawn(asked) {
  const early = ahead.get(JSON.stringify(asked));
  ahead = new Map(); // all others are of a page that is no more
  return (await early) ?? ask("/draw", asked);
}

async function arrangeAnew(mine) {
  // The music comes first: its reasons are not waited for.
  const asked = { ...question(), width: lineWidth() };
  const music = await drawn({ ...asked, known: drawnKeys() });
  if (!music || mine !== newest) return;
  if (music.error) {
    showTrouble(music.error);
    fail();
    return;
  }
  unstale();
  showLines(music.answer.svg);
  document.body.dataset.drawn = String(mine);
  const found = await ask("/arrange", { ...asked, known: drawnKeys() });
  // A page that was asked for before the last change would be taken for the newest.
  if (!found || mine !== newest) return;
  showTrouble(found.error);
  if (found.error) fail();
  else showPage(found.answer);
}

function unstale() {
  show(by("stale"), false);
  by("score").classList.remove("stale");
}

/** The page cannot be made; the last one stays, and says so. */
function fail() {
  show(by("stale"), drawnBefore);
  by("score").classList.add("stale");
  setState("error");
  return false;
}

/** The line is still being typed: the page waits as it is. */
function unfinished() {
  setState("typing");
  return false;
}

function showTrouble(error) {
  show(by("trouble"), Boolean(error));
  by("trouble").textContent = error ? error.sentence : "";
  if (error) announce(error.sentence);
}

function clearPage() {
  showTrouble(null);
  unstale();
  drawnBefore = false;
  by("remarks").replaceChildren();
  by("spoken").textContent = "";
  showPage({
    title: "",
    by: "",
    key: "",
    order: "",
    tune: [],
    readback: "",
    svg: [],
    bars: [],
    slots: [],
    events: [],
    tempos: [{ t: 0, perMinute: 96 }],
    playedBars: [],
    remarks: [],
    spoken: "",
    countIn: { beats: 4, beat: 1, late: 0 },
  });
  drawnBefore = false;
}

function showPage(answer) {
  const music = withNumbers(answer);
  shown = music;
  unstale();
  showScore(music);
  by("score-title").textContent = music.title;
  by("score-by").textContent = music.by;
  by("order").textContent = music.order;
  setMusic(music);
  showChords(music);
  by("remarks").replaceChildren(
    ...music.remarks.map(({ sentence }) => make("li", { text: sentence })),
  );
  by("sum").textContent = sumOf(music);
  show(by("score-help"), music.slots.length > 0);
  show(by("remarks"), music.remarks.length > 0);
  by("spoken").textContent = music.spoken;
  show(by("in-words"), Boolean(music.spoken));
  document.title = music.title
    ? `${music.title} – harmonise`
    : "harmonise: a tune for two hands";
  if (drawnBefore) announce(`The page is redrawn. ${music.readback}`);
  drawnBefore = true;
  redrawn += 1;
  document.body.dataset.redrawn = String(redrawn);
  setState("ready");
}

/** What the page is, in a line; the tune is read back again if it was moved. */
function sumOf({ slots, level, harmonicRhythm, readback }) {
  if (!slots.length) return "";
  const moved = readback === by("readback").textContent ? "" : `${readback}. `;
  return `${moved}Level ${level}, a chord a ${harmonicRhythm} at most.`;
}

/** Times as numbers, for what is drawn and played. */
function withNumbers(answer) {
  const bars = answer.bars.map((bar) => {
    const from = number(parse(bar.start));
    return { ...bar, from, until: from + number(parse(bar.length)) };
  });
  const slots = answer.slots.map((slot) => ({ ...slot, start: number(parse(slot.onset)) }));
  return { ...answer, bars, slots };
}
