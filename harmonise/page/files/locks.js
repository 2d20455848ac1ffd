// Locked chords through changes of the tune, and the chords that a file brings along.

import { announce } from "./announce.js";
import { by, make, show } from "./dom.js";
import { ask } from "./server.js";
import { amend, change, wasRead, work } from "./state.js";

const MOST_SHOWN = 12; // chords in the question

export function startLocks() {
  const lost = make("p", { id: "lost-locks", class: "note", hidden: true });
  const button = (id, text) => make("button", { id, type: "button", text });
  const row = make(
    "div",
    { class: "row" },
    button("keep-locked", ""),
    button("keep-chords", ""),
    button("leave-chords", "Choose anew"),
  );
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
  offerChords(tune?.chords ?? [], tune?.locked ?? []);
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

/** Ask once what becomes of the chords that stand over a tune; some may have been locked. */
function offerChords(chords, locked) {
  const { tune, chordsAsked } = work();
  const asks = chords.length > 0 && chordsAsked !== tune;
  if (asks && by("file-chords").hidden) announce("This tune has chords of its own. Keep them?");
  show(by("file-chords"), asks);
  if (!asks) return;
  const names = chords.slice(0, MOST_SHOWN).map(({ chord }) => chord);
  const more = chords.length > MOST_SHOWN ? " …" : ".";
  const count = locked.length === 1 ? "the one" : `the ${locked.length}`;
  const ways = locked.length
    ? `You had locked ${locked.length} of them. Keep those, keep all as they are, or have all chosen anew?`
    : "Keep them as they are, or have all chosen anew?";
  by("file-chords-told").textContent =
    `This tune has chords of its own: ${names.join(" ")}${more} ${ways}`;
  show(by("keep-locked"), locked.length > 0);
  by("keep-locked").textContent = `Keep ${count} you locked`;
  by("keep-chords").textContent = locked.length ? "Keep all" : "Keep them";
  const answered = () => {
    show(by("file-chords"), false);
    by(work().file ? "as-text" : "text").focus(); // what had the focus is gone
  };
  const keep = (locks) => {
    answered();
    change({ locks, chordsAsked: tune });
  };
  by("keep-locked").onclick = () => keep(locked);
  by("keep-chords").onclick = () => keep(chords);
  by("leave-chords").onclick = () => {
    answered();
    amend({ chordsAsked: tune });
  };
}
