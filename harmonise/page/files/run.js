// One run through something that is practised: which keys are right, and in time. Pure.

const IN_TIME = 1; // beats that a step may come late; then the page has waited
export const CLEAN_RUNS = 3; // after which a box is ticked, as the practice plan has it

export class Run {
  /** `tempo` is crotchets a minute, 0 for one's own time; `start` is in seconds. */
  constructor({ steps, beat }, { hand, tempo, start }) {
    this.takeSteps({ steps }, hand);
    this.crotchet = tempo ? 60 / tempo : 0;
    this.grace = IN_TIME * beat * this.crotchet;
    this.start = start;
    this.place = 0;
    this.wrong = 0;
    this.waited = 0;
  }

  /** Take the steps of a hand; drawn anew they are the same, with other notes. */
  takeSteps({ steps }, hand) {
    const own = ({ down }) => down.filter((key) => !hand || key.hand === hand);
    this.steps = steps
      .map((step) => ({ ...step, down: own(step) }))
      .filter(({ down }) => down.length);
    this.pressed = new Map(); // which key was pressed for which one that goes down
  }

  get step() {
    return this.steps[this.place];
  }

  get isOver() {
    return this.place === this.steps.length;
  }

  get isClean() {
    return this.isOver && this.wrong === 0 && this.waited === 0;
  }

  /**
   * Press a key; return "right", "again" (it is down already), "wrong", "bass" (another
   * of the hand lies below the bass), "next" (the step is done) or "over".
   */
  press(midi, time) {
    if (this.isOver) return "again";
    const { down } = this.step;
    const found = down.find((key) => !this.pressed.has(key) && key.keys.includes(midi));
    if (!found) {
      if ([...this.pressed.values()].includes(midi)) return "again";
      this.wrong += 1;
      return "wrong";
    }
    if (!this.pressed.size) this.wait(time);
    this.pressed.set(found, midi);
    if (this.pressed.size < down.length) return "right";
    return this.hasBass() ? this.next() : this.turnedOver();
  }

  /** What the page waited for moves all that follows. */
  wait(time) {
    if (!this.crotchet) return;
    const due = this.start + (this.step.at - this.steps[0].at) * this.crotchet;
    if (time <= due + this.grace) return;
    this.waited += 1;
    this.start += time - due;
  }

  hasBass() {
    const { down } = this.step;
    const bass = down.find((key) => key.bass);
    if (!bass) return true;
    const others = down.filter(({ hand }) => hand === bass.hand);
    return others.every((key) => this.pressed.get(key) >= this.pressed.get(bass));
  }

  turnedOver() {
    this.wrong += 1;
    this.pressed.clear();
    return "bass";
  }

  next() {
    this.place += 1;
    this.pressed = new Map();
    return this.isOver ? "over" : "next";
  }
}

/** Boxes [name, key, hand, tempo] with one clean run more; a box counts to three. */
export function withCleanRun(boxes, { name, key, hand, tempo }, date) {
  const id = boxOf(name, key, hand, tempo);
  const clean = Math.min(CLEAN_RUNS, (boxes[id]?.clean ?? 0) + 1);
  return { ...boxes, [id]: { clean, date } };
}

export const boxOf = (...parts) => JSON.stringify(parts);

/** Boxes as they were stored; what is not a box is left out. */
export function soundBoxes(stored) {
  if (stored?.version !== 1 || typeof stored.boxes !== "object") return {};
  return Object.fromEntries(
    Object.entries(stored.boxes ?? {}).filter(
      ([, box]) => Number.isInteger(box?.clean) && typeof box.date === "string",
    ),
  );
}
