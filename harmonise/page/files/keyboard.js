// A drawn piano keyboard: to tap, or to show what sounds.

import { make } from "./dom.js";

const BLACK_WIDTH = 0.62; // of a white key
const LEAST_BLACK = 24; // pixels, so that a finger finds it
const NATURAL = [0, 2, 4, 5, 7, 9, 11];

/** The name of a key of the piano, "F sharp 4", for those who hear the page. */
export function keyName(midi) {
  const names = [
    "C",
    "C sharp",
    "D",
    "E flat",
    "E",
    "F",
    "F sharp",
    "G",
    "A flat",
    "A",
    "B flat",
    "B",
  ];
  return `${names[midi % 12]} ${Math.floor(midi / 12) - 1}`;
}

export const isBlack = (midi) => !NATURAL.includes(midi % 12);

/**
 * Draw the keys from one MIDI number to another (both white).
 *
 * `onTap` makes them buttons, of which one at a time is in the order of tabbing.
 */
export function drawKeys(host, low, high, onTap = null) {
  const numbers = Array.from({ length: high - low + 1 }, (_, step) => low + step);
  const whites = numbers.filter((midi) => !isBlack(midi)).length;
  const width = 100 / whites;
  let before = 0;
  const keys = numbers.map((midi) => {
    const black = isBlack(midi);
    const key = onTap ? button(midi, onTap) : make("span", {});
    key.className = black ? "key black" : "key white";
    key.dataset.midi = midi;
    const own = onTap
      ? `max(${LEAST_BLACK}px, ${width * BLACK_WIDTH}%)`
      : `${width * BLACK_WIDTH}%`;
    key.style.setProperty("--left", `${before * width}%`);
    key.style.setProperty("--width", black ? own : `${width}%`);
    if (!black) before += 1;
    if (midi % 12 === 0)
      key.append(
        make("span", { class: "key-name", text: `C${midi / 12 - 1}`, "aria-hidden": "true" }),
      );
    return key;
  });
  host.replaceChildren(...keys);
}

function button(midi, onTap) {
  const key = make("button", { type: "button", tabindex: "-1", "aria-label": keyName(midi) });
  key.addEventListener("click", () => onTap(midi));
  return key;
}

/** Mark keys: a map from MIDI number to the set of its marks. */
export function markKeys(host, marks) {
  for (const key of host.querySelectorAll(".key")) {
    const own = [...(marks.get(Number(key.dataset.midi)) ?? [])].sort().join(" ");
    if ((key.dataset.marks ?? "") !== own) key.dataset.marks = own;
  }
}
