// What a screen reader is told, politely, and only once it has settled.

import { by, settled } from "./dom.js";

const say = settled((sentence) => {
  by("told").textContent = sentence;
}, 400);

/** Say one sentence; a newer one takes the place of one that still waits. */
export function announce(sentence) {
  by("told").textContent = "";
  say(sentence);
}
