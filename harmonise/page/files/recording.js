// A tune that is sung, whistled or played into the microphone, and written down.

import { announce } from "./announce.js";
import { by, make, show } from "./dom.js";
import { inBase64 } from "./opening.js";
import { save } from "./queue.js";
import { ask } from "./server.js";
import { audio, click, loadPiano } from "./sound.js";
import { change, openNew, work } from "./state.js";

const HEARD_RATE = 16000; // frames a second that the program listens to
const AHEAD = 0.4; // seconds from the button to the first click
const LONGEST = 300; // seconds
const LOOK = 200; // milliseconds between two looks at what has to click next
const NO_MICROPHONE =
  "This browser gives no microphone to this page. Record yourself with another program, and open that file here.";
const WRITTEN =
  "Written down. Hear the recording and the tune, and mend the text; lines that begin with % ? say where.";

let take = null; // what is being recorded
let last = null; // the take before: {buffer, content}
let loaded = null; // the worklet, once it is there
let playing = null; // the recording that is being heard

export function startRecording() {
  by("record").addEventListener("click", toggle);
  by("record-hear").addEventListener("click", hear);
  by("record-keep").addEventListener("click", keep);
  by("record-free").addEventListener("change", showTempo);
  showTempo();
}

function showTempo() {
  const free = by("record-free").checked;
  for (const id of ["record-tempo", "record-on"]) by(id).disabled = free;
}

const setState = (state) => (document.body.dataset.record = state);

function tell(sentences) {
  by("record-told").replaceChildren(...sentences.map((text) => make("li", { text })));
  if (sentences.length) announce(sentences[0]);
}

function toggle() {
  if (take) return stop();
  return begin().catch(() => {
    end();
    tell([NO_MICROPHONE]);
  });
}

async function begin() {
  tell([]);
  stopHearing();
  take = { blocks: [], rate: 0, first: null, counted: plan(), timer: 0 };
  setState("asking");
  const mine = take;
  mine.stream = await navigator.mediaDevices.getUserMedia({
    // What cleans speech takes the beginnings off notes.
    audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
  });
  const clock = audio();
  loaded ??= clock.audioWorklet.addModule("/files/capture.js");
  await loaded;
  if (take !== mine) return closeStream(mine);
  mine.rate = clock.sampleRate;
  mine.node = new AudioWorkletNode(clock, "capture", { numberOfOutputs: 0 });
  mine.node.port.onmessage = ({ data }) => take === mine && takeIn(data);
  mine.source = new MediaStreamAudioSourceNode(clock, { mediaStream: mine.stream });
  mine.source.connect(mine.node);
  by("record").textContent = "Stop";
  setState("recording");
  if (mine.counted) startClicks(clock, mine);
  else announce("Recording. Sing now.");
}

/** How the take is counted; null if it is free. */
function plan() {
  if (by("record-free").checked) return null;
  const tempo = Math.min(Math.max(Number(by("record-tempo").value) || 90, 20), 300);
  const [upper, lower] = by("record-time").value.split("/").map(Number);
  // Where beats are dotted three of them are one click.
  const dotted = [6, 9, 12].includes(upper) && lower >= 4;
  return { tempo, beats: dotted ? upper / 3 : upper, seconds: 60 / tempo, next: 0 };
}

function startClicks(clock, mine) {
  const { counted } = mine;
  counted.start = clock.currentTime + AHEAD;
  announce("One bar counts in; sing from the next one.");
  const more = () => clickOn(clock, counted);
  more();
  mine.timer = setInterval(more, LOOK);
}

function clickOn(clock, counted) {
  const goesOn = by("record-on").checked;
  for (;;) {
    const at = counted.start + counted.next * counted.seconds;
    if (at > clock.currentTime + (2 * LOOK) / 1000) return;
    const inCount = counted.next < counted.beats;
    if (inCount || goesOn) click(at, counted.next % counted.beats === 0);
    counted.next += 1;
  }
}

function takeIn({ at, frames }) {
  take.first ??= at;
  take.blocks.push(frames);
  let peak = 0;
  for (const frame of frames) peak = Math.max(peak, Math.abs(frame));
  by("record-level").value = peak;
  const seconds = (take.blocks.length * frames.length) / take.rate;
  document.body.dataset.recorded = String(Math.floor(seconds));
  by("record-length").textContent = lengthTold(seconds);
  if (seconds > LONGEST) stop();
}

function lengthTold(seconds) {
  const { counted, first } = take;
  const whole = `${Math.floor(seconds)} seconds`;
  if (!counted) return whole;
  const since = first + seconds - counted.start;
  const beat = Math.floor(since / counted.seconds);
  if (beat < 0) return "ready";
  const bar = Math.floor(beat / counted.beats);
  return bar < 1 ? `count-in: ${beat + 1}` : `bar ${bar}, beat ${(beat % counted.beats) + 1}`;
}

function closeStream({ stream, source, node, timer }) {
  clearInterval(timer);
  source?.disconnect();
  if (node) node.port.onmessage = null;
  for (const track of stream?.getTracks() ?? []) track.stop();
}

function end() {
  if (take) closeStream(take);
  take = null;
  by("record").textContent = "Record";
  by("record-level").value = 0;
  by("record-length").textContent = "";
  setState("idle");
}

async function stop() {
  const mine = take;
  end();
  if (!mine.blocks.length) return;
  setState("writing");
  try {
    last = await packed(mine);
    show(by("record-after"), true);
    await writeDown(mine);
  } finally {
    if (!take) setState("idle");
  }
}

/** The take as the program hears it: one channel at its rate, as a WAV file. */
async function packed({ blocks, rate }) {
  const count = blocks.reduce((sum, { length }) => sum + length, 0);
  const raw = new AudioBuffer({ length: count, sampleRate: rate });
  let at = 0;
  for (const block of blocks) {
    raw.copyToChannel(block, 0, at);
    at += block.length;
  }
  return asHeard(raw);
}

/** A sound as the program hears it, whatever its rate and channels. */
async function asHeard(raw) {
  const frames = Math.max(Math.floor(raw.duration * HEARD_RATE), 1);
  const slower = new OfflineAudioContext(1, frames, HEARD_RATE);
  const source = new AudioBufferSourceNode(slower, { buffer: raw });
  source.connect(slower.destination);
  source.start();
  const buffer = await slower.startRendering();
  return { buffer, content: wav(buffer.getChannelData(0)) };
}

/** Frames as a WAV file of 16 bits. */
function wav(frames) {
  const bytes = new DataView(new ArrayBuffer(44 + 2 * frames.length));
  const word = (at, text) => [...text].forEach((sign, n) => bytes.setUint8(at + n, sign.charCodeAt(0)));
  word(0, "RIFF");
  bytes.setUint32(4, 36 + 2 * frames.length, true);
  word(8, "WAVEfmt ");
  bytes.setUint32(16, 16, true);
  bytes.setUint16(20, 1, true);
  bytes.setUint16(22, 1, true);
  bytes.setUint32(24, HEARD_RATE, true);
  bytes.setUint32(28, 2 * HEARD_RATE, true);
  bytes.setUint16(32, 2, true);
  bytes.setUint16(34, 16, true);
  word(36, "data");
  bytes.setUint32(40, 2 * frames.length, true);
  frames.forEach((frame, n) =>
    bytes.setInt16(44 + 2 * n, Math.max(-1, Math.min(1, frame)) * 32767, true),
  );
  return new Uint8Array(bytes.buffer);
}

/** Write down a sound file as if it had been recorded; false if no browser reads its kind. */
export async function hearFile(file) {
  const raw = await audio().decodeAudioData(await file.arrayBuffer()).catch(() => null);
  if (!raw) return false;
  tell([]);
  stopHearing();
  if (raw.duration > LONGEST) {
    tell([`${file.name} is longer than five minutes. Cut one tune out of it.`]);
    return true;
  }
  setState("writing");
  try {
    last = await asHeard(raw);
    show(by("record-after"), true);
    await writeOpened(file.name.replace(/\.[^.]*$/, ""));
  } finally {
    if (!take) setState("idle");
  }
  return true;
}

async function writeOpened(title) {
  const asked = { base64: inBase64(last.content), tempo: null, time: null, text: `Title: ${title}\n` };
  const found = await ask("/hear", asked, "opening");
  if (found?.error) return tell([found.error.sentence]);
  if (!found?.answer) return;
  openNew({ text: found.answer.text });
  tell([WRITTEN, ...found.answer.told]);
}

async function writeDown({ counted, first }) {
  const bars = by("record-bars").value.trim();
  const { text, file } = work();
  if (bars && file) return tell(["Turn the file into typing first, then sing bars of it again."]);
  const down = counted ? counted.start + counted.beats * counted.seconds - first : 0;
  const found = await ask("/hear", {
    base64: inBase64(last.content),
    tempo: counted ? counted.tempo : null,
    time: by("record-time").value,
    down: Math.max(down, 0),
    text: file ? "" : text,
    bars,
  });
  if (found?.error) return tell([found.error.sentence]);
  if (!found?.answer) return;
  change({ text: found.answer.text, file: null, tapped: null, tune: bars ? work().tune : 0 });
  tell([WRITTEN, ...found.answer.told]);
}

function hear() {
  if (playing) return stopHearing();
  if (!last) return;
  const clock = audio();
  loadPiano();
  playing = new AudioBufferSourceNode(clock, { buffer: last.buffer });
  playing.connect(clock.destination);
  playing.onended = stopHearing;
  playing.start();
  by("record-hear").textContent = "Stop the recording";
}

function stopHearing() {
  if (playing) playing.onended = null;
  playing?.stop();
  playing = null;
  by("record-hear").textContent = "Hear the recording";
}

function keep() {
  if (last) save({ blob: new Blob([last.content], { type: "audio/wav" }), name: "recording.wav" });
}
