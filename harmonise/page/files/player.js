// Plays a list of notes on the sound's clock, a little ahead of what is heard.
//
// Places are seconds from the start of the stretch at the written tempo; the count-in
// lies before nought. The speed may change at any moment.

import { audio, click, loadPiano, strike } from "./sound.js";

const AHEAD = 0.12; // seconds that are scheduled ahead
const AHEAD_HIDDEN = 1.6; // browsers let hidden pages act once a second
const TICK = 30; // milliseconds

export class Player {
  /** `onFrame(place, pass)` is called as time goes on, `onEnd()` at the end. */
  constructor(onFrame, onEnd) {
    this.onFrame = onFrame;
    this.onEnd = onEnd;
    this.playing = false;
  }

  /**
   * Play notes [{place, length, midi, voice, hand}] in order of place.
   *
   * `plan` has `seconds` (the stretch's length), `clicks` [{place, strong}] (before
   * nought), `loop`, `speed` and `hand` ("" for both).
   */
  async start(notes, plan) {
    this.stop();
    const mine = (this.turn = {});
    const clock = audio();
    await loadPiano();
    if (this.turn !== mine) return;
    Object.assign(this, { notes, plan, speed: plan.speed, hand: plan.hand, loop: plan.loop });
    this.next = 0;
    this.nextClick = 0;
    this.pass = 0;
    this.voices = [];
    this.anchor = { place: plan.clicks[0]?.place ?? 0, at: clock.currentTime + 0.1 };
    this.playing = true;
    this.timer = setInterval(() => this.tick(), TICK);
    this.tick();
    this.frame();
  }

  stop() {
    this.turn = null;
    if (!this.playing) return;
    this.playing = false;
    clearInterval(this.timer);
    cancelAnimationFrame(this.drawing);
    const now = audio().currentTime;
    for (const { voice } of this.voices) voice.release(now);
  }

  /** Where the music is now; negative while it is counted in. */
  place() {
    const now = audio().currentTime;
    return Math.max(this.anchor.place, this.anchor.place + (now - this.anchor.at) * this.speed);
  }

  setSpeed(speed) {
    if (this.playing)
      this.anchor = { place: this.place(), at: Math.max(audio().currentTime, this.anchor.at) };
    this.speed = speed;
  }

  setHand(hand) {
    this.hand = hand;
    if (!this.playing) return;
    const now = audio().currentTime;
    for (const one of this.voices) if (hand && one.hand !== hand) one.voice.release(now);
    this.voices = this.voices.filter((one) => !hand || one.hand === hand);
  }

  timeOf(place) {
    return this.anchor.at + (place - this.anchor.place) / this.speed;
  }

  tick() {
    const ahead = document.hidden ? AHEAD_HIDDEN : AHEAD;
    const until = this.place() + ahead * this.speed;
    this.clickUntil(until);
    this.strikeUntil(until);
    this.releaseUntil(until);
    if (!this.loop && this.place() > this.plan.seconds * (this.pass + 1) + 0.3) this.finish();
  }

  clickUntil(until) {
    const { clicks } = this.plan;
    while (clicks[this.nextClick]?.place < until) {
      const { place, strong } = clicks[this.nextClick];
      click(this.timeOf(place), strong);
      this.nextClick += 1;
    }
  }

  strikeUntil(until) {
    for (;;) {
      if (this.next === this.notes.length) {
        if (!this.loop || !this.notes.length) return;
        this.next = 0;
        this.pass += 1;
      }
      const { place, length, midi, voice, hand } = this.notes[this.next];
      const start = place + this.pass * this.plan.seconds;
      if (start >= until) return;
      this.next += 1;
      if (this.hand && hand !== this.hand) continue;
      const now = audio().currentTime;
      const struck = strike(midi, Math.max(now, this.timeOf(start)), voice);
      this.voices.push({ voice: struck, end: start + length, hand });
    }
  }

  releaseUntil(until) {
    const now = audio().currentTime;
    for (const { voice, end } of this.voices.filter((one) => one.end < until)) {
      voice.release(Math.max(now, this.timeOf(end)));
    }
    this.voices = this.voices.filter(({ end }) => end >= until);
  }

  frame() {
    if (!this.playing) return;
    const place = this.place();
    const pass = this.loop ? Math.max(0, Math.floor(place / this.plan.seconds)) : 0;
    this.onFrame(place - pass * this.plan.seconds, pass);
    this.drawing = requestAnimationFrame(() => this.frame());
  }

  finish() {
    this.stop();
    this.onEnd();
  }
}
