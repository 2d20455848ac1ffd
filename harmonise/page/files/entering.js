// Tapped notes become typed tune text. Pure: text in, text out.
//
// A beat that is not full yet is filled up with a rest, which the next note takes;
// `tapped` keeps the open beat, and counts only while the text is as tapping left it.

import { add, fraction, less, lowest, number, smaller, sum, times } from "./fractions.js";
import { degreeName, factsOf, isTuneLine, letterName } from "./tune_facts.js";

export const BLANK = "Title: My tune\nKey: C\nTime: 4/4\nTempo: 96\n";
const BAR_LINES = new Set(["|", "||", "|:", ":|"]);

/** Why notes cannot be tapped into this text; "" if they can. */
export function whyNot(text) {
  if (/^\s*X:/m.test(text))
    return "Tapping writes letters, and this tune is in ABC. Begin with an empty page to tap one.";
  if (/^\s*(Doh|Lah)\s*:/im.test(text))
    return "Tapping writes letters, and this tune is in sol-fa. Begin with an empty page to tap one.";
  return "";
}

/** Put a note (a MIDI number), a rest (null) or a hold ("-") at the end. */
export function tap(text, tapped, what, crotchets) {
  const from = tapped?.text === text ? tapped : { base: text.trim() ? text : BLANK, open: [] };
  const facts = factsOf(from.base);
  const symbol = symbolOf(what, facts);
  if (symbol === "-" && !facts.begun && !from.open.length) return null;
  return lay(from, symbol, times(crotchets, [facts.lower, 4]), facts);
}

function symbolOf(what, facts) {
  if (what === null) return "0";
  if (what === "-") return "-";
  return facts.numbers ? degreeName(what, facts) : letterName(what, facts);
}

function lay({ base, open }, symbol, length, facts) {
  let parts = open;
  let left = length;
  let sign = symbol;
  let beats = facts.beats;
  while (number(left) > 0) {
    const taken = smaller(less([1, 1], sum(parts.map(([, part]) => part))), left);
    parts = join(parts, sign, taken);
    left = less(left, taken);
    sign = symbol === "0" ? "0" : "-";
    if (number(sum(parts.map(([, part]) => part))) < 1) continue;
    base = append(base, beat(parts));
    parts = [];
    beats += 1;
    if (beats % facts.upper === 0) base = append(base, "|");
  }
  return finish(base, parts);
}

function join(parts, sign, length) {
  const last = parts.at(-1);
  const same = last && (sign === "-" || (sign === "0" && last[0] === "0"));
  if (!same) return [...parts, [sign, length]];
  return [...parts.slice(0, -1), [last[0], add(last[1], length)]];
}

function finish(base, open) {
  if (!open.length) return { text: base, tapped: { text: base, base, open } };
  const left = less([1, 1], sum(open.map(([, part]) => part)));
  const text = append(base, beat(join(open, "0", left)));
  return { text, tapped: { text, base, open } };
}

/** One beat as it is typed: [["E", 1/2], ["F", 1/4], ["G", 1/4]] is "E.-.F.G". */
function beat(parts) {
  const division = lowest(parts.map(([, length]) => length));
  return parts
    .flatMap(([sign, length]) => {
      const count = number(times(length, fraction(division)));
      return [sign, ...Array(count - 1).fill("-")];
    })
    .join(".");
}

function append(text, word) {
  const lines = text.split("\n");
  const last = lines.at(-1);
  if (!last.trim()) return `${text}${word}`;
  return isTuneLine(last) ? `${text.replace(/ +$/, "")} ${word}` : `${text}\n${word}`;
}

/** Put a bar line at the end, after a short first bar say. */
export function barLine(text) {
  const last = text.trim().split(/\s+/).at(-1);
  if (!factsOf(text).begun || BAR_LINES.has(last)) return null;
  return whole(append(text.replace(/\s+$/, ""), "|"));
}

/** End the line of the song. */
export function lineEnd(text) {
  return !factsOf(text).begun || text.endsWith("\n") ? null : whole(`${text}\n`);
}

const whole = (text) => ({ text, tapped: { text, base: text, open: [] } });

/**
 * The text as it is read while tapping goes on: its last bar is filled up with rests.
 * Typed text stays as it is, so that a bar too short is told at its line.
 */
export function filledUp(text, tapped) {
  const facts = factsOf(text);
  if (tapped?.text !== text || !facts.begun) return text;
  const rests = facts.beats
    ? facts.upper - facts.beats
    : Number(facts.bars === 1 && facts.pickup > 0) * facts.upper;
  const owed = facts.pickup && facts.bars > 1 ? facts.pickup : 0;
  if (rests <= 0 || (facts.beats && rests === owed)) return text;
  return append(text, Array(rests).fill("0").join(" "));
}

/** Write the `Time:` line anew, or put one in. */
export function setTime(text, time) {
  const base = text.trim() ? text : BLANK;
  if (/^\s*Time\s*:.*$/im.test(base)) return base.replace(/^(\s*Time\s*:).*$/im, `$1 ${time}`);
  if (/^\s*Key\s*:.*$/im.test(base))
    return base.replace(/^(\s*Key\s*:.*)$/im, `$1\nTime: ${time}`);
  return `Time: ${time}\n${base}`;
}
