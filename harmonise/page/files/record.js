// The practice record of this browser: boxes of runs, and what was answered by ear.

import { soundBoxes } from "./run.js";
import { remember, remembered } from "./state.js";

const NAME = "practice";
const VERSION = 1;

/** What was practised so far; what is damaged in it is left out. */
export function practiceRecord() {
  const stored = remembered(NAME, null);
  return { boxes: soundBoxes(stored), ears: soundEars(stored) };
}

/** Keep a part of it; the other part stays, also if another window wrote it. */
export function keepRecord(part) {
  remember(NAME, { version: VERSION, ...practiceRecord(), ...part });
}

function soundEars(stored) {
  if (stored?.version !== VERSION || typeof stored.ears !== "object") return {};
  const isCount = (one) => Number.isInteger(one) && one >= 0;
  return Object.fromEntries(
    Object.entries(stored.ears ?? {}).filter(
      ([, one]) => isCount(one?.right) && isCount(one?.asked) && typeof one.date === "string",
    ),
  );
}
