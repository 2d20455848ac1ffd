"""Where the hands may play, how near and far they may be, and with which fingers.

Units: MIDI note numbers (C4 is 60) and semitones. The left-hand window and the gap are
the trade's usual choices for playing roots; the low-interval limits are the cautious
column of published arrangers' tables, which differ by up to an octave between sources:
they warn and never forbid. The fingers of the close triads are found alike in several
published charts: right hand 1-3-5 in root position and second inversion, 1-2-5 in first
inversion; left hand 5-3-1, 5-3-1, 5-2-1; the same in all keys. The other rows (seventh
chords, two notes, the tune over held notes, single left-hand roots) put the thumb at
the bottom and neighbouring fingers on neighbouring keys: common practice, from memory.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from harmonise.theory.arrangement import Hand, SoundingNote, Voice

WINDOW_LOWEST = 41
"""F2: lowest note of the left hand's usual window."""
WINDOW_HIGHEST = 52
"""E3: highest note of that window; the window holds each pitch class once."""
LEFT_HAND_LOWEST = 36
"""C2: no left-hand note goes below it, but for the lower one of an octave."""
OCTAVE_LOWEST = 29
"""F1: lowest note of the left hand where it doubles its bass an octave lower."""
NEAREST_HIGHEST = 55
"""G3: highest left-hand note where the nearest root is chosen instead."""
LEFT_HAND_GAP = 3
"""Least semitones from the left hand up to the lowest right-hand note."""
HOLLOW_GAP = 19
"""Widest gap between the hands, an octave and a fifth, before it sounds hollow."""
_LOW_INTERVALS = (0, 52, 51, 48, 47, 45, 46, 37, 41, 41, 41, 41)
"""Lowest MIDI note that carries an interval of 0 to 11 semitones above it.

Second E3, Eb3; third C3, B2; fourth A2; tritone Bb2; fifth C#2; sixths and sevenths F2.
"""


class LowInterval(NamedTuple):
    """Two neighbouring notes that lie too low to sound clear.

    Attributes:
        lower: MIDI number of the lower note.
        upper: MIDI number of the upper note.
        limit: Lowest MIDI number at which the lower note would be clear.
    """

    lower: int
    upper: int
    limit: int


def window_note(pitch_class: int) -> int:
    """Return the one place of a pitch class in the left hand's window, F2 to E3.

    >>> [window_note(root) for root in (0, 5, 7)]
    [48, 41, 43]
    """
    return WINDOW_LOWEST + (pitch_class - WINDOW_LOWEST) % 12


def bass_under(pitch_class: int, lowest_right: int) -> int | None:
    """Return where the left hand plays a note under the right hand.

    The window's place if it leaves a gap of three semitones, or else an octave lower.

    Args:
        pitch_class: 0 to 11.
        lowest_right: MIDI number of the lowest note of the right hand.

    Returns:
        MIDI number; None where even the lower octave is too near or lies below C2.

    >>> bass_under(0, 60), bass_under(4, 54), bass_under(5, 40)
    (48, 40, None)
    """
    usual = window_note(pitch_class)
    for place in (usual, usual - 12):
        if LEFT_HAND_LOWEST <= place <= lowest_right - LEFT_HAND_GAP:
            return place
    return None


def bass_places(pitch_class: int, lowest_right: int) -> tuple[int, ...]:
    """Return every place of a pitch class from C2 to G3 that clears the right hand.

    Args:
        pitch_class: 0 to 11.
        lowest_right: MIDI number of the lowest note of the right hand.

    Returns:
        MIDI numbers, lowest first; may be empty.

    >>> bass_places(0, 60)
    (36, 48)
    """
    lowest = LEFT_HAND_LOWEST + (pitch_class - LEFT_HAND_LOWEST) % 12
    highest = min(NEAREST_HIGHEST, lowest_right - LEFT_HAND_GAP)
    return tuple(range(lowest, highest + 1, 12))


def nearest_bass(
    pitch_class: int, lowest_right: int, previous: int, tune_motion: int = 0
) -> int | None:
    """Return the place from C2 to G3 that lies nearest the previous left-hand note.

    Args:
        pitch_class: 0 to 11.
        lowest_right: MIDI number of the lowest note of the right hand.
        previous: MIDI number of the previous left-hand note.
        tune_motion: Semitones that the tune moves; of two places equally near the one
            reached in contrary motion wins, the lower one if the tune stays.

    Returns:
        MIDI number; None where no place clears the right hand.

    >>> nearest_bass(7, 60, 48), nearest_bass(6, 60, 48, -2)
    (43, 54)
    """

    def rank(place: int) -> tuple[int, bool, int]:
        return abs(place - previous), (place - previous) * tune_motion > 0, place

    return min(bass_places(pitch_class, lowest_right), key=rank, default=None)


def is_hollow(bass: int, lowest_right: int) -> bool:
    """Return whether the hands lie more than an octave and a fifth apart."""
    return lowest_right - bass > HOLLOW_GAP


def low_interval(lower: int, upper: int) -> LowInterval | None:
    """Return the fault of two neighbouring notes too low for their interval.

    Compound intervals count as their simple ones from the octave up, which every
    table leaves free.

    >>> low_interval(43, 47)
    LowInterval(lower=43, upper=47, limit=47)
    >>> low_interval(43, 55) is None
    True
    """
    size = upper - lower
    if not 0 < size < 12 or lower >= _LOW_INTERVALS[size]:
        return None
    return LowInterval(lower, upper, _LOW_INTERVALS[size])


Rows = tuple[tuple[int, int], ...]

_TWO_NOTES: Rows = ((0, 2), (3, 3), (5, 4), (7, 5))
"""Finger over the thumb, by least semitones between them."""
_OVER_HELD: Rows = ((0, 3), (3, 4), (5, 5))
"""Finger of the tune, by least semitones above the uppermost held note."""
_LEFT_ROOTS: Rows = ((0, 5), (1, 4), (3, 3), (5, 2), (7, 1))
"""Left-hand finger, by least semitones above the lowest root of the piece."""


def _finger(rows: Rows, semitones: int) -> int:
    """Return the finger of the last row that is not larger than an interval."""
    return max(row for row in rows if row[0] <= semitones)[1]


def right_hand_fingers(heights: Sequence[int]) -> tuple[int, ...]:
    """Return the fingers of right-hand notes that are struck together.

    Returns:
        A finger for each note; () for a note alone, whose finger the melody decides,
        and for more than three notes.

    >>> right_hand_fingers((64, 67, 72)), right_hand_fingers((67, 72, 76))
    ((1, 2, 5), (1, 3, 5))
    """
    if len(heights) == 2:
        return (1, _finger(_TWO_NOTES, heights[1] - heights[0]))
    if len(heights) != 3:
        return ()
    lower, upper = heights[1] - heights[0], heights[2] - heights[1]
    # Neighbouring keys take neighbouring fingers.
    if upper <= 2:
        return (1, 4, 5)
    if lower <= 2 and upper <= 4:
        return (1, 2, 4)
    # The fourth on top of a first inversion opens the hand between 2 and 5.
    if lower <= 4 and upper >= 5:
        return (1, 2, 5)
    return (1, 3, 5)


def left_hand_fingers(heights: Sequence[int]) -> tuple[int, ...]:
    """Return the fingers of left-hand notes that are struck together.

    Returns:
        A finger for each note; () for a note alone, see `with_fingers`, and for more
        than three notes.

    >>> left_hand_fingers((48, 52, 55)), left_hand_fingers((43, 48, 52))
    ((5, 3, 1), (5, 2, 1))
    """
    if len(heights) == 2:
        return (5, 6 - _finger(_TWO_NOTES, heights[1] - heights[0]))
    if len(heights) != 3:
        return ()
    # The fourth below in a second inversion opens the hand between 5 and 2.
    return (5, 2, 1) if heights[1] - heights[0] >= 5 else (5, 3, 1)


def with_fingers(notes: tuple[SoundingNote, ...]) -> tuple[SoundingNote, ...]:
    """Return the notes with fingers wherever the chord beneath settles them.

    Left-hand notes that come with fingers, those of a pattern, keep them.
    Struck chords get the fingers of their shape. A tune note over held notes gets 3, 4
    or 5, and none where that finger has just played another key. The left hand keeps
    its place: 5 on the lowest root of the piece in its window, or on any note below.
    A tune note over nothing stays without finger: the melody decides it.

    Args:
        notes: By onset, then from the lowest up.
    """
    left = [n.pitch.midi for n in notes if n.hand is Hand.LEFT and not n.finger]
    lowest = min((midi for midi in left if midi >= WINDOW_LOWEST), default=0)
    right = _RightHand()
    settled: list[SoundingNote] = []
    for onset, together in groupby(notes, key=lambda note: note.onset):
        struck = tuple(together)
        lower = [note for note in struck if note.hand is Hand.LEFT]
        upper = [note for note in struck if note.hand is Hand.RIGHT]
        if not any(note.finger for note in lower):
            heights = [note.pitch.midi for note in lower]
            fingers = left_hand_fingers(heights)
            if len(heights) == 1:
                fingers = (_finger(_LEFT_ROOTS, max(0, heights[0] - lowest)),)
            lower = _numbered(lower, fingers)
        fingered = [*lower, *right.finger(onset, upper)]
        settled.extend(sorted(fingered, key=lambda note: note.pitch.midi))
    return tuple(settled)


def _numbered(
    notes: Sequence[SoundingNote], fingers: Sequence[int]
) -> list[SoundingNote]:
    """Return the notes with their fingers; unchanged where there are none."""
    if not fingers:
        return list(notes)
    pairs = zip(notes, fingers, strict=True)
    return [note._replace(finger=finger) for note, finger in pairs]


class _RightHand:
    """The right hand from moment to moment: which fingers hold which keys."""

    def __init__(self) -> None:
        self._held: list[SoundingNote] = []
        self._tune: SoundingNote | None = None

    def finger(
        self, onset: Fraction, struck: Sequence[SoundingNote]
    ) -> list[SoundingNote]:
        """Return the struck notes with fingers, and remember what is now held."""
        held = [note for note in self._held if note.end > onset]
        if any(note.voice is Voice.INNER for note in struck):
            fingered = self._chord(held, struck)
        else:
            fingered = [self._over(held, note) for note in struck]
        self._held = [*held, *fingered]
        for note in fingered:
            if note.voice is Voice.TUNE:
                self._tune = note
        return fingered

    def _chord(
        self, held: Sequence[SoundingNote], struck: Sequence[SoundingNote]
    ) -> list[SoundingNote]:
        """Finger a chord; notes that are held already keep the fingers they have."""
        every = sorted((*held, *struck), key=lambda note: note.pitch.midi)
        fingers = right_hand_fingers([note.pitch.midi for note in every])
        numbered = _numbered(every, fingers)
        kept = [
            old if any(old is note for note in held) else new
            for old, new in zip(every, numbered, strict=True)
        ]
        order = [note.finger for note in kept if note.finger]
        # Fingers never cross inside a chord: rather none than such ones.
        if order != sorted(set(order)):
            return list(struck)
        return [note for note in kept if not any(note is old for old in held)]

    def _over(self, held: Sequence[SoundingNote], note: SoundingNote) -> SoundingNote:
        """Finger a tune note over held notes, if a finger is free for it."""
        inner = [other for other in held if other.voice is Voice.INNER]
        if not inner or not all(other.finger for other in inner):
            return note
        top = max(inner, key=lambda other: other.pitch.midi)
        reach = note.pitch.midi - top.pitch.midi
        finger = max(_finger(_OVER_HELD, max(0, reach)), top.finger + 1)
        # One finger cannot lead a tune on from key to key.
        before = self._tune
        again = before and before.finger == finger and before.pitch != note.pitch
        return note if finger > 5 or again else note._replace(finger=finger)
