// What tapping must know of a typed tune: key, metre, where its last bar stands; and
// how a key of the piano is typed in it.

const HEADER = /^\s*(Title|Origin|Key|Time|Tempo|Octave|Signature|Words|Chords)\s*:\s*(.*)$/i;
const LETTERS = ["C", "D", "E", "F", "G", "A", "B"];
const NATURAL = [0, 2, 4, 5, 7, 9, 11];
const FIFTHS = { F: -1, C: 0, G: 1, D: 2, A: 3, E: 4, B: 5 };
const BY_FIFTHS = ["F", "C", "G", "D", "A", "E", "B"];
const SIGNS = { "-2": "bb", "-1": "b", 0: "", 1: "#", 2: "##" };
const MODES = { major: 0, minor: -3, aeolian: -3, dorian: -2, mixolydian: -1 };

const plain = (line) => line.replace(/%.*$/, "");

/** Whether a line holds notes. */
export const isTuneLine = (line) => Boolean(plain(line).trim()) && !HEADER.test(line);

/** Read the facts at the end of a tune's text; what is not told is as usual. */
export function factsOf(text) {
  const facts = {
    upper: 4,
    lower: 4,
    octave: 4,
    signature: false,
    begun: false,
    numbers: false,
    beats: 0,
    bars: 0,
    pickup: 0,
    ...keyOf("C"),
  };
  for (const line of text.split(/\r?\n/)) {
    const header = HEADER.exec(plain(line));
    if (header) readHeader(facts, header[1].toLowerCase(), header[2].trim());
    else readLine(facts, plain(line));
  }
  return facts;
}

function readHeader(facts, name, value) {
  const time = /^(\d+)\s*\/\s*(\d+)$/.exec(value);
  if (name === "time" && time) [facts.upper, facts.lower] = [Number(time[1]), Number(time[2])];
  if (name === "octave" && /^[1-8]$/.test(value)) facts.octave = Number(value);
  if (name === "signature") facts.signature = /^on$/i.test(value);
  if (name === "key") Object.assign(facts, keyOf(value));
}

function readLine(facts, line) {
  for (const word of line.split(/\s+/).filter(Boolean)) {
    if (/^(\|+:?|:\|+|\[[12])$/.test(word)) {
      if (!word.startsWith("[")) endBar(facts);
      continue;
    }
    facts.beats += 1;
    if (/[A-G1-7]/.test(word)) {
      if (!facts.begun) facts.numbers = /^[-.0]*[#b♯♭]*[1-7]/.test(word);
      facts.begun = true;
    }
  }
}

function endBar(facts) {
  if (!facts.beats) return;
  if (!facts.bars && facts.beats < facts.upper) facts.pickup = facts.beats;
  facts.bars += 1;
  facts.beats = 0;
}

/** Read "F# minor": the keynote's place among the fifths, and the signature's. */
function keyOf(value) {
  const found = /^([A-G])([#b♯♭]?)\s*(\w*)/.exec(value);
  if (!found) return { keynote: 0, sharps: 0, minor: 0 };
  const sign = { "#": 7, "♯": 7, b: -7, "♭": -7 }[found[2]] ?? 0;
  const keynote = FIFTHS[found[1]] + sign;
  const shift = MODES[(found[3] || "major").toLowerCase()] ?? 0;
  return { keynote, sharps: keynote + shift };
}

/** Spell a key of the piano: its place among the fifths, as the key would write it. */
function spell(midi, sharps) {
  for (let place = sharps - 3; place <= sharps + 8; place += 1) {
    if ((((place * 7 - midi) % 12) + 12) % 12 === 0) return place;
  }
  return 0;
}

const letterOf = (place) => BY_FIFTHS[(((place + 1) % 7) + 7) % 7];
const signOf = (place) => Math.floor((place + 1) / 7);

/** How a MIDI number is typed in letters: "F#", "C5". */
export function letterName(midi, { sharps, octave, signature }) {
  const place = spell(midi, sharps);
  const letter = letterOf(place);
  const sign = signOf(place);
  const own = Math.floor((midi - sign) / 12) - 1;
  const altered = signOf(placeInKey(letter, sharps)) !== 0;
  const shown = signature && altered && sign === 0 ? "n" : SIGNS[sign];
  return `${letter}${shown}${own === octave ? "" : own}`;
}

/** The note of a letter in a key signature, among the fifths. */
function placeInKey(letter, sharps) {
  for (let place = sharps - 1; place <= sharps + 5; place += 1) {
    if (letterOf(place) === letter) return place;
  }
  return 0;
}

/** How a MIDI number is typed in numbers: "#4", "1'", "5,". */
export function degreeName(midi, { keynote, sharps, octave }) {
  const place = spell(midi, sharps);
  const home = letterOf(keynote);
  const steps = (LETTERS.indexOf(letterOf(place)) - LETTERS.indexOf(home) + 7) % 7;
  const sign = signOf(place) - signOf(placeInKey(letterOf(place), sharps));
  const own = Math.floor((midi - signOf(place)) / 12) - 1;
  const start = octave + (LETTERS.indexOf(letterOf(place)) < LETTERS.indexOf(home) ? 1 : 0);
  const octaves = own - start;
  return `${SIGNS[sign]}${steps + 1}${(octaves > 0 ? "'" : ",").repeat(Math.abs(octaves))}`;
}

/** The name of a key of the piano, "F sharp 4", for those who hear the page. */
export function keyName(midi) {
  const names = [
    "C",
    "C sharp",
    "D",
    "E flat",
    "E",
    "F",
    "F sharp",
    "G",
    "A flat",
    "A",
    "B flat",
    "B",
  ];
  return `${names[midi % 12]} ${Math.floor(midi / 12) - 1}`;
}

export const isBlack = (midi) => !NATURAL.includes(midi % 12);
