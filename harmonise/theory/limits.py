"""Where the left hand may play, and how near or far the hands may be.

Units: MIDI note numbers (C4 is 60) and semitones. The left-hand window and the gap are
the trade's usual choices for playing roots; the low-interval limits are the cautious
column of published arrangers' tables, which differ by up to an octave between sources:
they warn and never forbid.
"""

from typing import NamedTuple

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
    places = bass_places(pitch_class, lowest_right)
    if not places:
        return None
    return min(
        places,
        key=lambda place: (
            abs(place - previous),
            (place - previous) * tune_motion > 0,
            place,
        ),
    )


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
