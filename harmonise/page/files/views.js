// What of the page is seen: its views on a narrow window, the options of playing, paper.

import { by, settled, show } from "./dom.js";
import { remember, remembered } from "./state.js";

const WIDE = matchMedia("(min-width: 66rem)");
const PER_MILLIMETRE = 3.9; // pixels of the screen, for music of the usual size
const STEP = 10; // millimetres; so a window that changes a little breaks no line anew
const EDGE = 10; // pixels beside the music on a narrow window
const [NARROWEST, WIDEST] = [70, 250];

let millimetres = 200;
let onWidth = () => {};

/** `redraw` is called when the lines of music have to be broken for another width. */
export function startViews(redraw) {
  onWidth = redraw;
  for (const button of viewButtons())
    button.addEventListener("click", () => setView(button.dataset.view));
  setView(document.body.dataset.view);
  WIDE.addEventListener("change", () => setView(document.body.dataset.view));
  by("how").addEventListener("click", () => showListen(by("listen").hidden));
  by("how-close").addEventListener("click", () => {
    showListen(false);
    by("how").focus();
  });
  by("listen").addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    showListen(false);
    by("how").focus();
  });
  by("print").addEventListener("click", () => print());
  by("size").value = remembered("size", "1");
  by("size").addEventListener("change", () => {
    remember("size", by("size").value);
    measure();
  });
  new ResizeObserver(settled(measure, 150)).observe(by("sheet"));
  measure();
}

const viewButtons = () => document.querySelectorAll("#views button");

/** Show a view; on a desk the music is always there. */
export function setView(view) {
  const shown = WIDE.matches && view === "music" ? "tune" : view;
  document.body.dataset.view = shown;
  for (const button of viewButtons())
    button.setAttribute("aria-pressed", String(button.dataset.view === shown));
}

/** Bring the music into sight where it is a view of its own. */
export function showMusic() {
  if (!WIDE.matches) setView("music");
}

function showListen(visible) {
  show(by("listen"), visible);
  by("how").setAttribute("aria-expanded", String(visible));
  if (visible) by("speed").focus();
}

/** The width of a line of music, in millimetres of print, for the pane as it is. */
export const lineWidth = () => millimetres;

function measure() {
  // In a view that is not seen the window tells: so it is ready when it is.
  const room = by("score").clientWidth || innerWidth - 2 * EDGE;
  const fits = room / PER_MILLIMETRE / Number(by("size").value);
  const next = Math.min(Math.max(Math.round(fits / STEP) * STEP, NARROWEST), WIDEST);
  if (next === millimetres) return;
  millimetres = next;
  onWidth();
}
