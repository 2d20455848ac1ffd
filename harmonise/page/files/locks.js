// Locked chords through changes of the tune, and the chords that a file brings along.

import { announce } from "./announce.js";
import { by, make, show } from "./dom.js";
import { ask } from "./server.js";
import { amend, change, wasRead, work } from "./state.js";

const MOST_SHOWN = 12; // chords in the question

export function startLocks() {
  const lost = make("p", { id: "lost-locks", class: "note", hidden: true });
  const keep = make("button", { id: "keep-chords", type: "button", text: "Keep them" });
  const leave = make("button", { id: "leave-chords", type: "button", text: "Choose anew" });
  const row = make("div", { class: "row" }, keep, leave);
  const question = make("p", { id: "file-chords-told" });
  by("readback").after(
    lost,
    make("div", { id: "file-chords", class: "card", hidden: true }, question, row),
  );
}

/** After the tune was read: bring the locks to it, and ask about its own chords. */
export async function settleLocks(tunes, source) {
  const tune = tunes[work().tune];
  await carryOver(source);
  wasRead(tune?.title ?? "");
  offerChords(tune?.chords ?? []);
}

/** The engine lays the tune as it was and as it is against each other. */
async function carryOver(source) {
  const { text, file, tune, locks, lockText } = work();
  if (file || lockText === text) return;
  let carried = { locks, lost: [] };
  if (locks.length && lockText !== null) {
    const before = { text: lockText };
    const found = await ask("/carry", { before, source, tune, locks });
    if (!found?.answer || work().text !== text) return;
    carried = found.answer;
  }
  amend({ locks: carried.locks, lockText: text });
  showLost(carried.lost);
}

function showLost(lost) {
  show(by("lost-locks"), lost.length > 0);
  if (!lost.length) return;
  by("lost-locks").textContent =
    `The place of a locked chord is gone, and the lock with it: ${lost.join("; ")}. Undo brings it back.`;
  announce(by("lost-locks").textContent);
}

/** Ask once what becomes of the chords that stand over a tune. */
function offerChords(chords) {
  const { tune, chordsAsked } = work();
  const asks = chords.length > 0 && chordsAsked !== tune;
  if (asks && by("file-chords").hidden) announce("This tune has chords of its own. Keep them?");
  show(by("file-chords"), asks);
  if (!asks) return;
  const names = chords.slice(0, MOST_SHOWN).map(({ chord }) => chord);
  const more = chords.length > MOST_SHOWN ? " …" : "";
  by("file-chords-told").textContent =
    `This tune has chords of its own: ${names.join(" ")}${more} Keep them as they are, or have all chosen anew?`;
  const answered = () => {
    show(by("file-chords"), false);
    by(work().file ? "as-text" : "text").focus(); // what had the focus is gone
  };
  by("keep-chords").onclick = () => {
    answered();
    change({ locks: chords, chordsAsked: tune });
  };
  by("leave-chords").onclick = () => {
    answered();
    amend({ chordsAsked: tune });
  };
}
