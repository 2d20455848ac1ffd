"""Drills as scores: chords become an arrangement whose tune is its top line.

So the pages, files and sounds that tunes have are there for drills as well. Every
pattern of the left hand has the root on the onset of every chord (the fifth never comes
first) and stays below the right hand, to which patterns that double notes of the chord
leave two notes. Times are crotchets.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.form.splicing import in_order
from harmonise.left_hand.patterns import strokes
from harmonise.left_hand.strokes import room_of
from harmonise.theory.arrangement import (
    PATTERNS,
    Arrangement,
    Hand,
    LeftHand,
    RightHand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.numerals import NumberedChord
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import with_fingers
from harmonise.theory.tune import KeyChange, Tempo, Tune, TuneNote, full_bars
from harmonise.theory.voicing import Voicing, position_of, spell, thin_right_hand

DRILLED = tuple(pattern for pattern in PATTERNS if pattern.row.drilled)
"""The left-hand patterns that a drill may have."""


def metre_of(pattern: LeftHand) -> TimeSignature:
    """Return the metre in which a drill has a pattern: 4/4 wherever that suits."""
    common = TimeSignature(4, 4)
    return common if pattern.suits(common) else TimeSignature(*pattern.row.metres[0])


class DrillStep(NamedTuple):
    """One chord of a drill.

    Attributes:
        numbered: The chord and its numeral.
        voicing: How it is played, the right hand complete.
        length: Crotchets.
    """

    numbered: NumberedChord
    voicing: Voicing
    length: Fraction


class Exercise(NamedTuple):
    """One exercise in one key.

    Attributes:
        drill: Name of its drill, such as "D1"; "" for a progression of one's own.
        key: The key.
        label: What sets it apart from the others of its key: "from root position".
        score: Every note with its fingers, numerals and positions.
        hidden: Whether chord and position are what the pupil has to find.
    """

    drill: str
    key: Key
    label: str
    score: Arrangement
    hidden: bool = False


def lengths(count: int, beats: int, bar: Fraction) -> tuple[Fraction, ...]:
    """Return how long each chord of a drill lasts.

    Each lasts some beats and the last a whole bar. Where that would not begin on a bar
    line the first chord is held longer.

    Args:
        count: Number of chords.
        beats: Crotchets that a chord lasts.
        bar: Length of a bar.

    >>> [int(length) for length in lengths(5, 2, Fraction(4))]
    [2, 2, 2, 2, 4]
    >>> [int(length) for length in lengths(4, 2, Fraction(4))]
    [4, 2, 2, 4]
    """
    if count == 1:
        return (bar,)
    plain = Fraction(beats)
    over = (count - 1) * plain % bar
    first = plain + (bar - over if over else 0)
    return (first, *[plain] * (count - 2), bar)


def score(
    key: Key, steps: Sequence[DrillStep], pattern: LeftHand, tempo: Fraction
) -> Arrangement:
    """Return the chords of a drill as an arrangement with fingers.

    Args:
        key: The key.
        steps: The chords.
        pattern: What the left hand does.
        tempo: Crotchets a minute.
    """
    time = metre_of(pattern)
    notes, slots = [], []
    right: list[SoundingNote] = []
    left: list[SoundingNote] = []
    onset = Fraction(0)
    for step in steps:
        chord, numeral = step.numbered
        pitches, times = _right(step, pattern), (onset, step.length)
        notes.append(TuneNote(*times, pitches[-1]))
        right += [
            SoundingNote(*times, pitch, Hand.RIGHT, Voice.INNER)
            for pitch in pitches[:-1]
        ]
        right.append(SoundingNote(*times, pitches[-1], Hand.RIGHT, Voice.TUNE))
        if step.voicing.left:
            room = room_of(chord, step.length, time, pitches[0].midi)
            room = room._replace(bass=step.voicing.left[0].midi)
            left += [
                SoundingNote(
                    onset + stroke.at, stroke.length, spell(chord, stroke.midi),
                    Hand.LEFT, Voice.BASS, stroke.finger,
                )
                for stroke in strokes(pattern, room)
            ]  # fmt: skip
        shape = position_of(chord, pitches) if len(pitches) > 2 else None
        slots.append(Slot(Place(0), *times, key, chord, numeral, shape))
        onset += step.length
    bars = full_bars(int(onset / time.bar_length), time)
    keys, tempos = (KeyChange(Fraction(0), key),), (Tempo(Fraction(0), tempo),)
    tune = Tune("", tuple(notes), bars, keys, tempos, (onset,))
    placed = tuple(slot._replace(place=tune.place(slot.onset)) for slot in slots)
    return Arrangement(tune, Style(fingering=True), placed, _fingered(right, left))


def _right(step: DrillStep, pattern: LeftHand) -> tuple[Pitch, ...]:
    """Return the right hand: two notes only under a left hand that doubles notes."""
    if pattern.row.right is RightHand.FULL:
        return step.voicing.right
    return thin_right_hand(step.numbered.chord, step.voicing.top)


def _fingered(
    right: list[SoundingNote], left: list[SoundingNote]
) -> tuple[SoundingNote, ...]:
    """Return all notes in order, with fingers; a pattern's own fingers stay."""
    if any(note.finger for note in left):
        return in_order((*with_fingers(tuple(right)), *left))
    return in_order(with_fingers(in_order((*right, *left))))
