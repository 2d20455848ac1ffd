// The first visit: what would you like to do, and a short path to each of it. A step is
// over when what it asks for has happened; the page is as free as ever meanwhile.

import { announce } from "./announce.js";
import { by, make, show } from "./dom.js";
import { openNew, work } from "./state.js";
import { setView, showMusic } from "./views.js";

const body = document.body;
const isReady = () => body.dataset.state === "ready";
const playing = () => body.dataset.play === "playing";
const made = () => !["working", "fault", undefined].includes(body.dataset.file);

/** A step: what is said, where to look, and when it is over. */
const HEAR = {
  text: "Press Play to hear it. The notes and keys that sound light up.",
  view: "music",
  at: "play",
  over: playing,
};
const TAKE = {
  text: "Take the score away: press Score to print, or another file.",
  view: "away",
  at: "files",
  over: made,
};
const SWAP = {
  text: "Click a chord in the music: you see why it is there, and which others would do.",
  view: "music",
  at: "score",
  over: () => Boolean(body.dataset.chosen),
};

const PATHS = [
  {
    title: "Type or tap a tune",
    told: "and hear it with chords",
    begin: () => by("begin").click(),
    steps: [
      {
        text: "Type a line of the tune, such as C E G E | F A G - | or tap it on the keys below.",
        view: "tune",
        at: "text",
        over: () => isReady() && Number(body.dataset.bars) > 1,
      },
      HEAR,
      TAKE,
    ],
  },
  {
    title: "Open a file",
    told: "MusicXML, MIDI, ABC, sol-fa or typed text",
    begin: () => by("choose").click(),
    steps: [
      {
        text: "Choose a file with a tune, or drop one anywhere on the page.",
        view: "tune",
        at: "choose",
        over: opened(),
      },
      HEAR,
      TAKE,
    ],
  },
  {
    title: "Look at one of the seventeen tunes",
    told: "and swap a chord",
    begin: () => show(by("shelf"), true),
    stays: true,
    steps: [
      { text: "Choose a tune.", view: "tune", at: "shelf", over: opened() },
      SWAP,
      HEAR,
    ],
  },
  {
    title: "Practise a drill",
    told: "the chords of a key under the hands",
    begin: () => openPractice("practise-panel", "practise-what", "D1"),
    steps: [
      {
        text: "Choose a drill and a key, then press Start and play the keys that are named.",
        view: "music",
        at: "practise-panel",
        over: () => body.dataset.practice === "playing",
      },
      {
        text: "The page waits for the right keys and ticks your boxes. A booklet to print is under Take away.",
        view: "music",
        at: "practise-panel",
      },
    ],
  },
  {
    title: "Train your ear",
    told: "which chord, which cadence, which bass",
    begin: () => openPractice("ear-panel", "ear-of", "drills"),
    steps: [
      {
        text: "Press Hear it, then choose an answer.",
        view: "music",
        at: "ear-panel",
        over: () => body.dataset.ear === "answered",
      },
      {
        text: "The music shows what it was and why. Go on with Next question.",
        view: "music",
        at: "ear-panel",
      },
    ],
  },
  {
    title: "Make a worksheet",
    told: "of the tune that is shown, with its answers",
    steps: [
      {
        text: "Choose the kind, then press Make the worksheet.",
        view: "away",
        at: "worksheet",
        over: made,
      },
      { text: "Sheet and answers are in your downloads.", view: "away", at: "queue" },
    ],
  },
  {
    title: "Mark pupils’ work",
    told: "one script, or a class",
    steps: [
      {
        text: "Open the tune that they were given, if it is not this one. Then choose their files.",
        view: "away",
        at: "marking",
        over: () => Boolean(body.dataset.marked),
      },
      { text: "Every deduction has its reason. Change what you see otherwise; the sum follows.", view: "away", at: "marked" },
    ],
  },
];

let path = null;
let place = 0;

/** Open something to practise, with a first choice made. */
function openPractice(panel, list, value) {
  by(list).value = value;
  by(panel).open = true;
}

/** A test that is passed once another tune is open. */
function opened() {
  let before = null;
  return () => {
    const now = `${work().text}${work().file?.id ?? ""}`;
    before ??= now;
    return isReady() && now !== before;
  };
}

/** `isFirst`: whether nothing was kept from an earlier visit. */
export function startGuide(isFirst) {
  by("paths").replaceChildren(...PATHS.map(pathButton));
  show(by("welcome"), isFirst);
  by("welcome-open").addEventListener("click", () => {
    setView("tune");
    show(by("welcome"), true);
    by("welcome-name").focus();
    by("tune-view").scrollTop = 0;
  });
  by("welcome-close").addEventListener("click", () => {
    show(by("welcome"), false);
    by("text").focus();
  });
  by("guide-next").addEventListener("click", () => go(place + 1));
  by("guide-end").addEventListener("click", leave);
  new MutationObserver(look).observe(body, { attributes: true });
}

/** Show the tunes that come along. */
export function showShelf({ tunes }) {
  by("shelf-tunes").replaceChildren(
    ...tunes.map(({ title, text }) => {
      const button = make("button", { type: "button", text: title });
      button.addEventListener("click", () => {
        openNew({ text });
        show(by("shelf"), false);
        show(by("welcome"), false);
        focusOn(path ? by("guide-text") : by("text"));
        announce(`${title} is open`);
      });
      return make("li", {}, button);
    }),
  );
}

function pathButton(row) {
  const button = make("button", { type: "button", text: row.title });
  button.append(make("span", { text: row.told }));
  button.addEventListener("click", () => {
    mark(false); // of the path that was left
    path = row;
    if (!row.stays) show(by("welcome"), false);
    delete body.dataset.file;
    row.steps.forEach(({ over }) => over?.());
    row.begin?.();
    go(0);
    if (!row.stays) focusOn(by("guide-text"));
  });
  return make("li", {}, button);
}

function go(next) {
  mark(false);
  if (next >= path.steps.length) return leave();
  place = next;
  const { text, view } = path.steps[place];
  setView(view);
  if (view === "music") showMusic();
  by("guide-text").textContent = `${place + 1} of ${path.steps.length}. ${text}`;
  by("guide-next").textContent = place + 1 < path.steps.length ? "Next" : "Done";
  show(by("guide"), true);
  mark(true);
  announce(text);
  return undefined;
}

function mark(isOn) {
  const target = path && by(path.steps[place]?.at);
  target?.classList.toggle("guided", isOn);
  if (isOn) target?.scrollIntoView({ block: "nearest" });
}

/** Go on when what the step asks for has happened. */
function look() {
  if (path && path.steps[place].over?.()) go(place + 1);
}

function leave() {
  mark(false);
  const target = by(path.steps[place]?.at);
  const had = by("guide").contains(document.activeElement);
  path = null;
  place = 0;
  show(by("guide"), false);
  if (had) focusOn(target);
}

/** What has the focus is about to go: it is handed on, and never lost. */
function focusOn(target) {
  const takes = "button, input, select, textarea, summary, [tabindex]";
  const first = target.matches(takes) ? target : target.querySelector(takes);
  first?.focus();
}
