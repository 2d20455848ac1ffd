"""Where the four voices may lie, and how far apart.

Common practice; editable. Notes are MIDI numbers, distances semitones.
"""

from typing import NamedTuple


class Range(NamedTuple):
    """Lowest and highest note of a voice."""

    lowest: int
    highest: int


SOPRANO = Range(60, 81)
"""C4 to A5. The soprano is the tune as it is; this only tells when it lies outside."""
ALTO = Range(55, 74)
"""G3 to D5."""
TENOR = Range(48, 69)
"""C3 to A4."""
BASS = Range(40, 62)
"""E2 to D4."""

UPPER_GAP = 12
"""Most between soprano and alto, and between alto and tenor."""
LEFT_REACH = 16
"""Most between tenor and bass, a tenth: one hand plays both. Choirs allow a twelfth."""
EASY_LEFT_REACH = 12
"""What the left hand reaches with ease."""

LOWEST_TUNE = 48
"""C3: under a lower tune there is no room for three voices."""


def outside(soprano: int) -> int:
    """Return how far a tune note lies outside the soprano's range; below is negative.

    >>> outside(83), outside(70), outside(57)
    (2, 0, -3)
    """
    return max(0, soprano - SOPRANO.highest) + min(0, soprano - SOPRANO.lowest)


def widened(own: Range, excess: int) -> Range:
    """Return a voice's range under a tune note so far outside the soprano's own.

    >>> widened(ALTO, -3)
    Range(lowest=52, highest=74)
    """
    return Range(own.lowest + min(0, excess), own.highest + max(0, excess))
