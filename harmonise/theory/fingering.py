"""Fingers for the right hand's shapes and for the left hand's roots.

The fingers of the close triads are found alike in several published charts: right hand
1-3-5 in root position and second inversion, 1-2-5 in first inversion; left hand 5-3-1,
5-3-1, 5-2-1; the same in all keys. The other rows (seventh chords, two notes, the tune
over held notes, single left-hand roots) put the thumb at the bottom and neighbouring
fingers on neighbouring keys: common practice, from memory and not from one chart.
Heights are MIDI numbers, or semitones from anywhere, lowest first.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby

from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.limits import WINDOW_LOWEST

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
    if upper <= 2:
        return (1, 4, 5)
    if lower <= 2 and upper <= 4:
        return (1, 2, 4)
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
    done: list[SoundingNote] = []
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
        done.extend(sorted(fingered, key=lambda note: note.pitch.midi))
    return tuple(done)


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
            found = self._chord(held, struck)
        else:
            found = [self._over(held, note) for note in struck]
        self._held = [*held, *found]
        for note in found:
            if note.voice is Voice.TUNE:
                self._tune = note
        return found

    def _chord(
        self, held: Sequence[SoundingNote], struck: Sequence[SoundingNote]
    ) -> list[SoundingNote]:
        """Finger a chord; notes that are held already keep the fingers they have."""
        every = sorted((*held, *struck), key=lambda note: note.pitch.midi)
        fingers = right_hand_fingers([note.pitch.midi for note in every])
        found = _numbered(every, fingers)
        kept = [
            old if any(old is note for note in held) else new
            for old, new in zip(every, found, strict=True)
        ]
        order = [note.finger for note in kept if note.finger]
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
        before = self._tune
        again = before and before.finger == finger and before.pitch != note.pitch
        return note if finger > 5 or again else note._replace(finger=finger)
