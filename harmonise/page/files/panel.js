// Where the panel of a chord lies: beside the line of its chord, which stays in sight.

import { by } from "./dom.js";
import { placeOfSlot } from "./score.js";

const WIDE = matchMedia("(min-width: 66rem)");
const LOW = matchMedia("(max-height: 30rem)");
const LEAST = 220; // pixels that a panel needs
const LEAST_DOCKED = 150;

/** Put the panel below its line of music, or above where there is more room. */
export function placePanel(slot) {
  const found = slot && placeOfSlot(slot);
  if (!found) return;
  const sheet = by("sheet");
  const panel = by("chord");
  if (!WIDE.matches) return dock(panel, found);
  const room = sheet.getBoundingClientRect();
  const below = room.bottom - found.line.bottom - 12;
  const above = found.line.top - room.top - 12;
  const isBelow = below >= LEAST || below >= above;
  Object.assign(panel.style, { right: "", bottom: "" });
  panel.style.maxHeight = `${Math.max(isBelow ? below : above, LEAST)}px`;
  const { offsetHeight: height, offsetWidth: width } = panel;
  const top = isBelow ? found.line.bottom + 6 : found.line.top - height - 6;
  const left = Math.min(found.left - room.left - 24, room.width - width - 20);
  panel.style.top = `${Math.max(top - room.top + sheet.scrollTop, 0)}px`;
  panel.style.left = `${Math.max(left, 8)}px`;
}

/** On a narrow window it lies at the foot of the music, or at its top: off its line. */
function dock(panel, { line, left }) {
  const room = by("sheet").getBoundingClientRect();
  const style = { top: "", left: "", right: "", bottom: `${innerHeight - room.bottom}px` };
  style.maxHeight = `${Math.max(room.height - line.height - 4, LEAST_DOCKED)}px`;
  Object.assign(panel.style, style);
  if (LOW.matches) {
    // There is room beside it alone.
    const { bottom } = by("music-view").getBoundingClientRect();
    Object.assign(panel.style, { top: `${room.top}px`, bottom: "auto" });
    panel.style.maxHeight = `${bottom - room.top}px`;
    panel.style[left > innerWidth / 2 ? "right" : "left"] = "50%";
    bring(line.top < room.top ? line.top - room.top : Math.max(line.bottom - room.bottom, 0));
    return;
  }
  const height = panel.offsetHeight;
  if (line.top >= room.top && line.bottom <= room.bottom - height) return;
  if (line.top >= room.top + height && line.bottom <= room.bottom)
    Object.assign(panel.style, { top: `${room.top}px`, bottom: "auto" });
  // Only a line that would not be seen either way gives way.
  else bring(line.bottom - (room.bottom - height));
}

const bring = (by_) => (by("sheet").scrollTop += by_);
