"""Tunes with chords that a human wrote, as slots, notes and labels.

A file of tunes holds one JSON object a line: `split` names its part ("train",
"validation"); `bars` lists (start, length, (beats, unit), starts a section); `notes`
(onset, length, MIDI number or null for a rest); `beats` (start, length, bar, beat of
the bar, beats in the bar, pitch class of the keynote, mode, section, the human's chord
as (pitch class of the root, "M", "m" or "d") or null, and two fields not read here).
Times are (numerator, denominator) of a crotchet.
"""

import json
from collections import defaultdict
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from harmonise.choice.fitted.words import (
    BAR_START,
    CHORDS,
    COMPOUND,
    HALF_BAR,
    SIMPLE,
    TRIPLE,
    WEAK,
    Ints,
    Notes,
    Slots,
)

CROTCHET = 5040
MAJOR_MODES = ("major", "mixolydian", "lydian")

Record = dict[str, Any]


class Beat(NamedTuple):
    """One beat of the human's chords; times in crotchets."""

    start: Fraction
    length: Fraction
    bar: int
    position: int
    beats: int
    tonic: int
    mode: str
    section: int
    chord: tuple[int, str] | None


class Example(NamedTuple):
    """A tune with the human's chords.

    Attributes:
        slots: Where chords may change.
        notes: The tune.
        label: Index of the human's chord in each slot; -1 where none is written or
            `CHORDS` has no such chord.
        beat_slot: Slot of each beat; an opening pickup counts to the first slot.
    """

    slots: Slots
    notes: Notes
    label: Ints
    beat_slot: Ints


def beat_unit(bars: list[Any], start: Fraction) -> Fraction:
    """Return the length of a beat, in crotchets, of the bar in force."""
    num, den = next(m for s, _, m, _ in reversed(bars) if Fraction(*s) <= start)
    if num in (6, 9, 12) and den in (4, 8, 16):
        return Fraction(12, den)
    return Fraction(1) if (num, den) == (2, 2) else Fraction(4, den)


def slot_positions(count: int, unit: Fraction, *, every_beat: bool) -> frozenset[int]:
    """Return the beats of the bar, from 0, on which a chord may change."""
    if every_beat:
        return frozenset(range(count))
    if count == 4:
        return frozenset((0, 2))
    if count == 3 and unit == 1:
        return frozenset((0,))
    return frozenset((0, 3)) if count == 5 else frozenset(range(count))


def place_of(count: int, position: int) -> int:
    """Return the kind of place of a beat."""
    if position == 0:
        return BAR_START
    return HALF_BAR if count % 2 == 0 and position == count // 2 else WEAK


def group_beats(
    beats: list[Beat], units: list[Fraction], *, every_beat: bool
) -> list[list[int]]:
    """Return the beats of each slot; an opening pickup has none."""
    first = next((i for i, b in enumerate(beats) if b.position == 0), 0)
    groups: list[list[int]] = []
    for i in range(first, len(beats)):
        b = beats[i]
        opens = b.position in slot_positions(b.beats, units[i], every_beat=every_beat)
        if not groups or opens or b.tonic != beats[groups[-1][0]].tonic:
            groups.append([])
        groups[-1].append(i)
    return groups


def label_of(beats: list[Beat]) -> int:
    """Return the human's chord over most of a slot, as an index, or -1."""
    weight: dict[tuple[int, str], Fraction] = defaultdict(Fraction)
    for b in beats:
        if b.chord is not None:
            weight[(b.chord[0] - b.tonic) % 12, b.chord[1]] += b.length
    if not weight:
        return -1
    best = max(weight, key=lambda k: weight[k])
    triads = [(root, quality) for _, root, quality in CHORDS]
    return triads.index(best) if best in triads else -1


def ticks(values: list[Fraction]) -> Ints:
    """Turn crotchets into ticks."""
    return np.array([int(v * CROTCHET) for v in values], np.int64)


def make_slots(record: Record, beats: list[Beat], groups: list[list[int]]) -> Slots:
    """Make the slots of groups of beats."""
    heads = [beats[group[0]] for group in groups]
    lengths = [sum((beats[i].length for i in group), Fraction(0)) for group in groups]
    unit, count = beat_unit(record["bars"], heads[0].start), heads[0].beats
    if unit == 1 and count in (2, 4):
        metre = SIMPLE
    else:
        metre = COMPOUND if unit == Fraction(3, 2) else TRIPLE
    return Slots(
        start=ticks([b.start for b in heads]),
        length=ticks(lengths),
        place=np.array([place_of(b.beats, b.position) for b in heads]),
        bar=np.array([b.bar for b in heads]),
        section=np.array([b.section for b in heads]),
        tonic=np.array([b.tonic for b in heads]),
        minor=np.array([b.mode not in MAJOR_MODES for b in heads]),
        metre=metre,
        crotchet=CROTCHET,
    )


def make_notes(record: Record) -> Notes:
    """Make the notes of a tune."""
    onset, length = (
        ticks([Fraction(*note[k]) for note in record["notes"]]) for k in (0, 1)
    )
    midi = [-1 if note[2] is None else note[2] for note in record["notes"]]
    return Notes(onset, length, np.array(midi))


def make_beat(row: list[Any]) -> Beat:
    """Make one beat of its list."""
    start, length, bar, position, beats, tonic, mode, section, chord, *_ = row
    return Beat(
        start=Fraction(*start),
        length=Fraction(*length),
        bar=bar,
        position=position,
        beats=beats,
        tonic=tonic,
        mode=mode,
        section=section,
        chord=tuple(chord) if chord else None,
    )


def parse_example(record: Record, *, every_beat: bool) -> Example:
    """Make slots, notes and labels of one tune.

    Args:
        record: One object of a file of tunes.
        every_beat: Whether chords may change on every beat (hymns).
    """
    beats = [make_beat(row) for row in record["beats"]]
    units = [beat_unit(record["bars"], b.start) for b in beats]
    groups = group_beats(beats, units, every_beat=every_beat)
    beat_slot = np.zeros(len(beats), np.int64)
    for k, group in enumerate(groups):
        beat_slot[group] = k
    label = np.array([label_of([beats[i] for i in group]) for group in groups])
    slots = make_slots(record, beats, groups)
    return Example(slots, make_notes(record), label, beat_slot)


def read_examples(path: Path, split: str, *, every_beat: bool) -> list[Example]:
    """Read the tunes of one part of a file."""
    records = (json.loads(line) for line in path.read_text("utf-8").splitlines())
    return [
        parse_example(r, every_beat=every_beat) for r in records if r["split"] == split
    ]
