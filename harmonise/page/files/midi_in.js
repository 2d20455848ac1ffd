// A MIDI keyboard, in step-time: each key pressed enters a note of the chosen length.

import { announce } from "./announce.js";
import { by, show } from "./dom.js";
import { enter } from "./tapping.js";

const NOTE_ON = 0x90;

let access = null;
let take = enter; // what is done with a key that is pressed

export function startMidi() {
  const known = typeof navigator.requestMIDIAccess === "function";
  show(by("midi"), known);
  if (!known) by("midi-told").textContent = "This browser cannot listen to a MIDI keyboard.";
  by("midi").addEventListener("click", () => (access ? stop() : listen()));
}

async function listen() {
  try {
    access = await navigator.requestMIDIAccess();
    access.onstatechange = connect;
    connect();
  } catch {
    tell("The browser did not allow it. Allow MIDI for this page, then press again.");
  }
  by("midi").setAttribute("aria-pressed", String(Boolean(access)));
}

function connect() {
  const inputs = [...access.inputs.values()];
  for (const input of inputs) input.onmidimessage = hear;
  const names = inputs.map(({ name }) => name).join(", ");
  tell(
    names
      ? `Listening to ${names}. Choose a length, then play.`
      : "Plug the keyboard in and switch it on; nothing is heard yet.",
  );
}

/** Let somebody else have the keys; null gives them back to the tune. */
export function takeNotes(taker) {
  take = taker ?? enter;
}

function hear({ data: [kind, midi, force] }) {
  if ((kind & 0xf0) === NOTE_ON && force > 0) take(midi);
}

function stop() {
  for (const input of access.inputs.values()) input.onmidimessage = null;
  access.onstatechange = null;
  access = null;
  by("midi").setAttribute("aria-pressed", "false");
  tell("");
}

function tell(sentence) {
  by("midi-told").textContent = sentence;
  if (sentence) announce(sentence);
}
