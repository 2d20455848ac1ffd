"""Arrangements written in one line: the examples in the rules' docstrings.

    C major 3/4: C 3 | E5 D5 C5 | G4 C5 | C3; G! 3 | D5 | G4 B4 | G2

A key, perhaps a time (else 4/4), a colon; then chord by chord, separated by semicolons:
symbol ("-" for none; "!" locks it) and length in crotchets (else 2), tune notes that
share the length equally, inner notes, left hand. Inner notes and left hand are the
close shape and the window's root where they are left out; "-" is nothing. In the tune
"_" goes on with the note before, "r" rests, and E5>F5 plays F5 where E5 was given.
"""

import re
from fractions import Fraction
from itertools import accumulate
from typing import NamedTuple

from harmonise.theory.arrangement import (
    PLAIN,
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.key import Key, parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.numerals import numeral
from harmonise.theory.pitch import Pitch, parse_pitch
from harmonise.theory.reach import bass_under
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote
from harmonise.theory.voicing import close_shape, spell

_EXAMPLE = re.compile(r"(?ms)^\s*(Good|Fault): (.*?)(?=^\s*(?:Good|Fault):|\Z)")


class Typed(NamedTuple):
    """One chord of an example as typed."""

    chord: Chord | None
    locked: bool
    onset: Fraction
    length: Fraction
    tune: tuple[str, ...]
    inner: str | None
    left: str | None


def examples(docstring: str) -> dict[str, str]:
    """Return the example lines of a rule by their label, line breaks removed."""
    return {
        label: " ".join(text.split()) for label, text in _EXAMPLE.findall(docstring)
    }


def parse_example(text: str, style: Style = PLAIN) -> Arrangement:
    """Return the arrangement that an example describes."""
    head, _, body = text.partition(": ")
    words = head.split()
    time = TimeSignature(4, 4)
    if "/" in words[-1]:
        upper, lower = words.pop().split("/")
        time = TimeSignature(int(upper), int(lower))
    key = parse_key(" ".join(words))
    typed = _typed(body)
    given, played = _tune(typed)
    tune = _as_tune(given, key, time)
    slots = tuple(
        Slot(
            tune.place(t.onset), t.onset, t.length, key, t.chord,
            numeral(t.chord, key) if t.chord else "", locked=t.locked,
        )
        for t in typed
    )  # fmt: skip
    notes = [*played, *(note for t in typed for note in _accompaniment(t))]
    notes.sort(key=lambda note: (note.onset, note.pitch.midi))
    return Arrangement(tune, style, slots, tuple(notes))


def _typed(body: str) -> list[Typed]:
    rows = [[field.strip() for field in row.split("|")] for row in body.split(";")]
    heads = [row[0].split() for row in rows]
    lengths = [Fraction(head[1]) if len(head) > 1 else Fraction(2) for head in heads]
    onsets = [Fraction(0), *accumulate(lengths)]
    return [
        Typed(
            None if head[0] == "-" else parse_symbol(head[0].rstrip("!")),
            head[0].endswith("!"), onset, length, tuple(row[1].split()),
            row[2] if len(row) > 2 else None, row[3] if len(row) > 3 else None,
        )
        for row, head, onset, length in zip(rows, heads, onsets, lengths, strict=False)
    ]  # fmt: skip


def _tune(typed: list[Typed]) -> tuple[list[TuneNote], list[SoundingNote]]:
    given: list[TuneNote] = []
    played: list[SoundingNote] = []
    for chord in typed:
        length = chord.length / len(chord.tune)
        for number, word in enumerate(chord.tune):
            if word == "_":
                given[-1] = given[-1]._replace(length=given[-1].length + length)
                played[-1] = played[-1]._replace(length=played[-1].length + length)
                continue
            onset = chord.onset + number * length
            old, _, new = word.partition(">")
            pitch = None if word == "r" else parse_pitch(old)
            given.append(TuneNote(onset, length, pitch))
            if word != "r":
                pitch = parse_pitch(new or old)
                played.append(
                    SoundingNote(onset, length, pitch, Hand.RIGHT, Voice.TUNE)
                )
    return given, played


def _as_tune(notes: list[TuneNote], key: Key, time: TimeSignature) -> Tune:
    end, full = notes[-1].end, time.bar_length
    count = -(-end // full)
    bars = [Bar(n + 1, n * full, full, time) for n in range(count)]
    bars[-1] = bars[-1]._replace(length=end - bars[-1].start)
    keys = (KeyChange(Fraction(0), key),)
    return Tune("", tuple(notes), tuple(bars), keys, phrases=(end,))


def _accompaniment(typed: Typed) -> list[SoundingNote]:
    inner, left = _filled_in(typed)
    return [
        *(_note(typed, pitch, Hand.RIGHT, Voice.INNER) for pitch in inner),
        *(_note(typed, pitch, Hand.LEFT, Voice.BASS) for pitch in left),
    ]


def _note(typed: Typed, pitch: Pitch, hand: Hand, voice: Voice) -> SoundingNote:
    return SoundingNote(typed.onset, typed.length, pitch, hand, voice)


def _filled_in(typed: Typed) -> tuple[list[Pitch], list[Pitch]]:
    """Return inner notes and left hand, as typed or as usual under the first note."""
    inner = _pitches(typed.inner)
    left = _pitches(typed.left)
    if typed.chord is None or typed.tune[0] in ("_", "r"):
        return inner, left
    top = parse_pitch(typed.tune[0].partition(">")[0])
    if typed.inner is None:
        interval = (top.pitch_class - typed.chord.root.pitch_class) % 12
        shape = close_shape(typed.chord.quality, interval)
        inner = [spell(typed.chord, top.midi - offset) for offset in shape]
    if typed.left is None:
        lowest = min(pitch.midi for pitch in (top, *inner))
        midi = bass_under(typed.chord.bass.pitch_class, lowest)
        left = [] if midi is None else [typed.chord.bass.at(midi)]
    return inner, left


def _pitches(text: str | None) -> list[Pitch]:
    return [parse_pitch(word) for word in (text or "").split() if word != "-"]
