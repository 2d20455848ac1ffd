// Sound: the bundled piano, or a plain tone where it is missing; and the count-in's click.

const RELEASE = 0.18; // seconds in which a note dies away
const LOUDNESS = { tune: 0.9, inner: 0.5, bass: 0.62 };
const PLAIN_LOUDNESS = 0.35;

let context = null;
let out = null;
let samples = [];
let loading = null;

/** The sound's own clock and way out; made at the first sound, as browsers ask. */
export function audio() {
  if (!context) {
    context = new AudioContext();
    out = new DynamicsCompressorNode(context, { threshold: -14, ratio: 4 });
    out.connect(context.destination);
  }
  if (context.state === "suspended") context.resume();
  return context;
}

/** Load the piano once; without it the plain tone sounds. */
export function loadPiano() {
  loading ??= load()
    .catch(() => [])
    .then((found) => (samples = found));
  return loading;
}

async function load() {
  const list = await (await fetch("/samples/index.json")).json();
  const found = await Promise.all(list.map(loadOne));
  return found.sort((one, other) => one.midi - other.midi);
}

async function loadOne({ file, midi }) {
  const bytes = await (await fetch(`/samples/${encodeURIComponent(file)}`)).arrayBuffer();
  return { midi, buffer: await audio().decodeAudioData(bytes) };
}

/** Strike a key at a time of the sound's clock; return how to let it go. */
export function strike(midi, when, voice = "tune") {
  const gain = new GainNode(context, { gain: 0 });
  gain.connect(out);
  const sources = samples.length ? [sampled(midi)] : plain(midi);
  const loudness = LOUDNESS[voice] * (samples.length ? 1 : PLAIN_LOUDNESS);
  gain.gain.setValueAtTime(loudness, when);
  if (!samples.length) gain.gain.setTargetAtTime(0.0001, when + 0.02, 0.9);
  for (const source of sources) {
    source.connect(gain);
    source.start(when);
  }
  return {
    release(at) {
      gain.gain.cancelScheduledValues(at);
      gain.gain.setTargetAtTime(0, at, RELEASE / 3);
      for (const source of sources) source.stop(at + RELEASE);
    },
  };
}

function sampled(midi) {
  const nearest = samples.reduce((best, one) =>
    Math.abs(one.midi - midi) < Math.abs(best.midi - midi) ? one : best,
  );
  const playbackRate = 2 ** ((midi - nearest.midi) / 12);
  return new AudioBufferSourceNode(context, { buffer: nearest.buffer, playbackRate });
}

function plain(midi) {
  const frequency = 440 * 2 ** ((midi - 69) / 12);
  return [new OscillatorNode(context, { type: "triangle", frequency })];
}

/** Sound one key now, for half a second. */
export function strikeOnce(midi) {
  strikeTogether([midi]);
}

export function strikeTogether(keys, seconds = 0.5) {
  const clock = audio();
  loadPiano();
  for (const midi of keys) strike(midi, clock.currentTime).release(clock.currentTime + seconds);
}

/** A click of the count-in. */
export function click(when, strong) {
  const gain = new GainNode(context, { gain: 0 });
  const tone = new OscillatorNode(context, { type: "square", frequency: strong ? 1500 : 1000 });
  gain.gain.setValueAtTime(strong ? 0.16 : 0.1, when);
  gain.gain.setTargetAtTime(0, when + 0.01, 0.015);
  tone.connect(gain).connect(out);
  tone.start(when);
  tone.stop(when + 0.12);
}
