// The engraved score: put in, marked, and asked which chord was pointed at.

import { by, make, parsedSvg } from "./dom.js";

const SPACE = "http://www.w3.org/2000/svg";
// In the engraving's own measure, in which a staff space is 180:
const RING = 60; // how far a frame stands off its notes
const STACK = 200; // notes nearer than that sideways are one chord
const DIAMOND = 85;

let lines = []; // {key, sheet, drawn: the elements of the line by their ids}
let rings = []; // marks that are shown now
let chosen = []; // marks of the chosen chord
let slots = [];
let tune = []; // ids of each note of the tune

/** Keys of the lines that are shown, which need not be sent again. */
export const drawnKeys = () => lines.map(({ key }) => key);

/** Put engraved lines into the page; those that are there already stay. */
export function showLines(next) {
  const host = by("score");
  const kept = new Map(lines.map((line) => [line.key, line]));
  lines = next.map(({ key, markup }) => kept.get(key) ?? lineOf(key, markup));
  lines.forEach(({ sheet }, place) => {
    if (host.children[place] !== sheet) host.insertBefore(sheet, host.children[place] ?? null);
  });
  while (host.children.length > lines.length) host.lastChild.remove();
}

/** Show an arrangement: its lines, and what is told of them. */
export function showScore(result) {
  showLines(result.svg);
  slots = result.slots;
  tune = result.tune ?? []; // a drill has none
  for (const { symbol } of slots) find(symbol)?.classList.add("symbol");
  result.svg.forEach(({ bars }, place) => {
    const numbers = bars.map((index) => result.bars[index].number);
    const said = `Bars ${numbers[0]} to ${numbers.at(-1)}`;
    const [picture] = lines[place].sheet.children;
    if (picture.getAttribute("aria-label") !== said) picture.setAttribute("aria-label", said);
  });
  by("score").setAttribute(
    "aria-label",
    `The score of ${result.title || "the tune"}, ${result.svg.length} lines of music`,
  );
}

/** The element of an id, which names its line: l3n0 is a note of line 3. */
function find(id) {
  const line = /^l(\d+)/.exec(id ?? "");
  return line ? lines[Number(line[1])]?.drawn.get(id) : undefined;
}

function lineOf(key, markup) {
  const svg = document.importNode(clean(parsedSvg(markup)), true);
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", "A line of music");
  const sheet = make("div", { class: "line" });
  sheet.append(svg);
  const named = [...svg.querySelectorAll("[id]")].map((element) => [element.id, element]);
  return { key, sheet, drawn: new Map(named) };
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
    const key = `${/^l\d+/.exec(note.id)} ${Math.round(box.left / STACK)}`;
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

const notesOf = (ids) => ids.map(find).filter(Boolean);

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
  if (heard.length) follow(find(heard[0].ids[0]));
}

// Keeps the sounding note in sight: the pane scrolls when its line is left.
function follow(note) {
  if (!note) return;
  const line = note.closest(".line").getBoundingClientRect();
  const room = by("sheet").getBoundingClientRect();
  if (line.bottom > room.bottom || line.top < room.top)
    by("sheet").scrollTop += line.top - room.top - 12;
}

/** Show which chord is chosen, and which of its notes the hand keeps. */
export function markChosen(slot, kept) {
  for (const ring of chosen) ring.remove();
  chosen = [];
  if (!slot) return;
  const symbol = find(slot.symbol);
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
export function slotAt({ clientX, target }) {
  const symbol = target.closest?.(".symbol");
  if (symbol) return slots.findIndex((slot) => slot.symbol === symbol.id);
  const line = target.closest?.(".line");
  if (!line) return -1;
  let best = -1;
  for (const [place, slot] of slots.entries()) {
    const note = slot.notes.map(find).find((one) => one && line.contains(one));
    if (note && note.getBoundingClientRect().left - 12 <= clientX) best = place;
  }
  return best;
}

/** Return the number in the tune of the note that was pointed at; -1 if it is none. */
export function tuneNoteAt({ target }) {
  const note = target.closest?.(".note");
  return note ? tune.findIndex((ids) => ids.includes(note.id)) : -1;
}

/** The line and the place of a chord, in the window; null if it is not drawn. */
export function placeOfSlot(slot) {
  const mark = find(slot.symbol) ?? find(slot.notes[0]);
  if (!mark) return null;
  const line = mark.closest(".line").getBoundingClientRect();
  return { line, left: mark.getBoundingClientRect().left };
}

/** Bring a chord into sight if its line is not. */
export function reveal(slot) {
  const found = placeOfSlot(slot);
  if (!found) return;
  const room = by("sheet").getBoundingClientRect();
  const { top, bottom } = found.line;
  if (top < room.top) by("sheet").scrollTop += top - room.top - 12;
  else if (bottom > room.bottom) by("sheet").scrollTop += top - room.top - 12;
}
