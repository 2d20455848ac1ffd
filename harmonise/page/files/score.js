// The engraved score: put in, marked, and asked which chord was pointed at.

import { by, make, parsedSvg } from "./dom.js";

const SPACE = "http://www.w3.org/2000/svg";
// In the engraving's own measure, in which a staff space is 180:
const RING = 60; // how far a frame stands off its notes
const STACK = 200; // notes nearer than that sideways are one chord
const DIAMOND = 85;

let drawn = new Map(); // elements of the score by their ids
let rings = []; // marks that are shown now
let chosen = []; // marks of the chosen chord
let slots = [];

/** Put the engraved lines into the page. */
export function showScore(result) {
  const host = by("score");
  slots = result.slots;
  rings = [];
  chosen = [];
  host.replaceChildren(...result.svg.map((line, place) => lineOf(line, place, result.bars)));
  drawn = new Map([...host.querySelectorAll("[id]")].map((element) => [element.id, element]));
  for (const { symbol } of slots) drawn.get(symbol)?.classList.add("symbol");
  host.setAttribute(
    "aria-label",
    `The score of ${result.title || "the tune"}, ${result.svg.length} lines of music`,
  );
}

function lineOf({ markup, bars }, place, all) {
  const svg = document.importNode(
    clean(parsedSvg(markup)),
    true,
  );
  const numbers = bars.map((index) => all[index].number);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", `Bars ${numbers[0]} to ${numbers.at(-1)}`);
  const sheet = make("div", { class: "line", "data-number": place });
  sheet.append(svg);
  return sheet;
}

// The page's own stylesheet has the rules; styles and scripts in the picture are shut
// out by the browser anyway, and would be reported.
function clean(picture) {
  for (const element of picture.querySelectorAll("style, script, foreignObject, title, desc"))
    element.remove();
  for (const element of picture.querySelectorAll("*")) {
    for (const { name } of [...element.attributes]) {
      if (name === "style" || name.startsWith("on")) element.removeAttribute(name);
    }
  }
  return picture.documentElement;
}

function headOf(note) {
  return note.querySelector(".notehead") ?? note;
}

/** The box around an element, in its line's own measure. */
function boxOf(element) {
  const inner = innerOf(element);
  const across = inner.getScreenCTM().inverse();
  const { left, top, right, bottom } = element.getBoundingClientRect();
  const from = new DOMPoint(left, top).matrixTransform(across);
  const to = new DOMPoint(right, bottom).matrixTransform(across);
  return { left: from.x, top: from.y, right: to.x, bottom: to.y };
}

/** The innermost picture that holds an element: marks are drawn in its measure. */
const innerOf = (element) =>
  element.closest(".page-margin")?.ownerSVGElement ?? element.ownerSVGElement;

function around(boxes, clear) {
  const left = Math.min(...boxes.map((box) => box.left)) - clear;
  const top = Math.min(...boxes.map((box) => box.top)) - clear;
  const width = Math.max(...boxes.map((box) => box.right)) + clear - left;
  const height = Math.max(...boxes.map((box) => box.bottom)) + clear - top;
  return { x: left, y: top, width, height };
}

function draw(beside, tag, kind, attributes) {
  const mark = document.createElementNS(SPACE, tag);
  for (const [name, value] of Object.entries({ ...attributes, class: `mark ${kind}` }))
    mark.setAttribute(name, value);
  innerOf(beside).append(mark);
  return mark;
}

/** Put a frame around notes, one for each stack of them. */
function frames(notes, hand) {
  const stacks = new Map();
  for (const note of notes) {
    const box = boxOf(headOf(note));
    const key = `${note.closest(".line").dataset.number} ${Math.round(box.left / STACK)}`;
    stacks.set(key, [...(stacks.get(key) ?? []), { note, box }]);
  }
  return [...stacks.values()].map((stack) =>
    draw(stack[0].note, "rect", hand, {
      ...around(
        stack.map(({ box }) => box),
        RING,
      ),
      rx: hand === "right" ? 160 : 0,
    }),
  );
}

/** Put a diamond to the left of a note that the hand keeps. */
function diamond(note) {
  const { left, top, bottom } = boxOf(headOf(note));
  const [x, y, r] = [left - 210, (top + bottom) / 2, DIAMOND];
  return draw(note, "path", "kept", {
    d: `M${x - r} ${y} L${x} ${y - r} L${x + r} ${y} L${x} ${y + r} Z`,
  });
}

const notesOf = (ids) => ids.map((id) => drawn.get(id)).filter(Boolean);

/** Mark what sounds: rounded frames for the right hand, square ones for the left. */
export function markSounding(heard, kept) {
  for (const ring of rings) ring.remove();
  for (const element of by("score").querySelectorAll(".sounding"))
    element.classList.remove("sounding", "right", "left");
  rings = [];
  for (const hand of ["right", "left"]) {
    const notes = notesOf(
      heard.filter((event) => event.hand === hand).flatMap(({ ids }) => ids),
    );
    for (const note of notes) note.classList.add("sounding", hand);
    rings.push(...frames(notes, hand));
  }
  rings.push(...notesOf(kept).map(diamond));
  if (heard.length) follow(drawn.get(heard[0].ids[0]));
}

// Keeps the sounding note in sight: sideways within the score, and up and down only
// when it has left the window.
function follow(note) {
  if (!note) return;
  const host = by("score");
  const box = note.getBoundingClientRect();
  const room = host.getBoundingClientRect();
  if (box.left < room.left + 24 || box.right > room.right - 24) {
    host.scrollLeft += box.left - room.left - room.width / 4;
  }
  if (box.bottom > innerHeight || box.top < 0) {
    if (room.bottom > 0 && room.top < innerHeight)
      note.closest(".line").scrollIntoView({ block: "nearest" });
  }
}

/** Show which chord is chosen, and which of its notes the hand keeps. */
export function markChosen(slot, kept) {
  for (const ring of chosen) ring.remove();
  chosen = [];
  if (!slot) return;
  const symbol = drawn.get(slot.symbol);
  if (symbol)
    chosen.push(
      draw(symbol, "rect", "chosen", {
        ...around([boxOf(symbol.querySelector("text") ?? symbol)], 90),
        rx: 60,
      }),
    );
  const notes = notesOf(slot.notes);
  const boxes = notes.map((note) => boxOf(headOf(note)));
  const last = Math.max(...boxes.map(({ left }) => left));
  // Notes held from before stand further left; the chord begins where the last one does.
  const column = boxes.map((box) =>
    box.left < last - STACK ? { ...box, left: last, right: last } : box,
  );
  if (notes.length)
    chosen.push(draw(notes[0], "rect", "chosen", { ...around(column, 130), rx: 60 }));
  chosen.push(...notesOf(kept).map(diamond));
}

/** Return the place of the chord at a point of the window; -1 if there is none. */
export function slotAt({ clientX, clientY, target }) {
  const symbol = target.closest?.(".symbol");
  if (symbol) return slots.findIndex((slot) => slot.symbol === symbol.id);
  const line = target.closest?.(".line");
  if (!line) return -1;
  let best = -1;
  for (const [place, slot] of slots.entries()) {
    const note = slot.notes.map((id) => drawn.get(id)).find((one) => one && line.contains(one));
    if (note && note.getBoundingClientRect().left - 12 <= clientX) best = place;
  }
  const { top, bottom } = line.getBoundingClientRect();
  return clientY >= top && clientY <= bottom ? best : -1;
}

/** Bring a chord into sight sideways. */
export function reveal(slot) {
  const note = drawn.get(slot.notes[0]);
  if (!note) return;
  const host = by("score");
  const box = note.getBoundingClientRect();
  const room = host.getBoundingClientRect();
  if (box.left < room.left || box.right > room.right)
    host.scrollLeft += box.left - room.left - room.width / 3;
}
