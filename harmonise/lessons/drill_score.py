"""Drills as scores: chords become an arrangement whose tune is its top line.

So the pages, files and sounds that tunes have are there for drills as well. Every
pattern of the left hand has the root on the onset of every chord (the fifth never comes
first) and stays below the right hand, to which patterns that double notes of the chord
leave two notes. Times are crotchets.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

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
from harmonise.theory.chord import Chord
from harmonise.theory.fingering import with_fingers
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.numerals import NumberedChord
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar, KeyChange, Tempo, Tune, TuneNote
from harmonise.theory.voicing import (
    Voicing,
    position_of,
    spell,
    thin_right_hand,
)

DRILLED = tuple(pattern for pattern in PATTERNS if pattern.row.drilled)
"""The left-hand patterns that a drill may have."""


def metre_of(pattern: LeftHand) -> TimeSignature:
    """Return the metre in which a drill has a pattern: 4/4 wherever that suits."""
    common = TimeSignature(4, 4)
    return common if pattern.suits(common) else TimeSignature(*pattern.row.metres[0])


class Under(NamedTuple):
    """What the left hand plays under.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        chord: The chord.
        bass: Where its bass lies.
        lowest: MIDI number of the lowest note of the right hand.
        time: The metre.
    """

    onset: Fraction
    length: Fraction
    chord: Chord
    bass: Pitch
    lowest: int
    time: TimeSignature


def left_hand(pattern: LeftHand, under: Under) -> tuple[SoundingNote, ...]:
    """Return what the left hand plays under one chord, by onset.

    Patterns with fingers of their own carry them; the others leave them open.
    """
    room = room_of(under.chord, under.length, under.time, under.lowest)
    room = room._replace(bass=under.bass.midi)
    return tuple(
        SoundingNote(
            under.onset + stroke.at,
            stroke.length,
            spell(under.chord, stroke.midi),
            Hand.LEFT,
            Voice.BASS,
            stroke.finger,
        )
        for stroke in strokes(pattern, room)
    )


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
    time, thin = metre_of(pattern), pattern.row.right is not RightHand.FULL
    tune_notes, slots = [], []
    right: list[SoundingNote] = []
    left: list[SoundingNote] = []
    onset = Fraction(0)
    for step in steps:
        pitches = _right(step, thin=thin)
        times = (onset, step.length)
        tune_notes.append(TuneNote(*times, pitches[-1]))
        right += [
            SoundingNote(*times, pitch, Hand.RIGHT, Voice.INNER)
            for pitch in pitches[:-1]
        ]
        right.append(SoundingNote(*times, pitches[-1], Hand.RIGHT, Voice.TUNE))
        if step.voicing.left:
            bass = step.voicing.left[0]
            chord = step.numbered.chord
            under = Under(*times, chord, bass, pitches[0].midi, time)
            left += left_hand(pattern, under)
        slots.append((step, onset, pitches))
        onset += step.length
    tune = _tune(key, tuple(tune_notes), time, tempo)
    return Arrangement(
        tune,
        Style(fingering=True),
        tuple(_slot(tune, *own) for own in slots),
        _fingered(right, left),
    )


def _right(step: DrillStep, *, thin: bool) -> tuple[Pitch, ...]:
    if not thin:
        return step.voicing.right
    return thin_right_hand(step.numbered.chord, step.voicing.top)


def _fingered(
    right: list[SoundingNote], left: list[SoundingNote]
) -> tuple[SoundingNote, ...]:
    """Return all notes in order, with fingers; a pattern's own fingers stay."""
    if any(note.finger for note in left):
        notes = (*with_fingers(tuple(right)), *left)
    else:
        notes = with_fingers(tuple(sorted((*right, *left), key=_order)))
    return tuple(sorted(notes, key=_order))


def _order(note: SoundingNote) -> tuple[Fraction, int]:
    return note.onset, note.pitch.midi


def _tune(
    key: Key, notes: tuple[TuneNote, ...], time: TimeSignature, tempo: Fraction
) -> Tune:
    end = notes[-1].end
    count = int(end / time.bar_length)
    bars = tuple(
        Bar(number + 1, number * time.bar_length, time.bar_length, time)
        for number in range(count)
    )
    return Tune(
        "",
        notes,
        bars,
        (KeyChange(Fraction(0), key),),
        (Tempo(Fraction(0), tempo),),
        (end,),
    )


def _slot(
    tune: Tune, step: DrillStep, onset: Fraction, right: tuple[Pitch, ...]
) -> Slot:
    chord, numeral = step.numbered
    return Slot(
        tune.place(onset),
        onset,
        step.length,
        tune.key,
        chord,
        numeral,
        position_of(chord, right) if len(right) > 2 else None,
    )
