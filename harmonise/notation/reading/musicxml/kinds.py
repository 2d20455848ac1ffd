"""Chord kinds of MusicXML as sets of intervals, and which of our qualities they hold.

A written chord is a root and a set of intervals: those of its kind, changed by its
degrees. If one of our qualities has exactly these, the chord is it. If not, the nearest
is the largest of our qualities that sounds nothing which is not written: a ninth chord
becomes the seventh chord in it. Some chords hold none of ours.
Source: W3C, MusicXML 4.0, `kind-value`, `degree-value`, `degree-type`.
"""

from collections.abc import Iterable
from typing import NamedTuple

from harmonise.theory.chord import QUALITIES, Quality

Interval = tuple[int, int]
"""Letters and semitones above the root, both within the octave."""

_NINTH, _ELEVENTH, _THIRTEENTH = (1, 2), (3, 5), (5, 9)
_EXTENSIONS = {
    "ninth": (_NINTH,),
    "11th": (_NINTH, _ELEVENTH),
    "13th": (_NINTH, _ELEVENTH, _THIRTEENTH),
}
_SEVENTHS = {
    "dominant": Quality.DOMINANT_SEVENTH,
    "major": Quality.MAJOR_SEVENTH,
    "minor": Quality.MINOR_SEVENTH,
}
KINDS: dict[str, tuple[Interval, ...]] = {
    **{quality.value: QUALITIES[quality].intervals for quality in Quality},
    "augmented-seventh": ((0, 0), (2, 4), (4, 8), (6, 10)),
    "major-minor": ((0, 0), (2, 3), (4, 7), (6, 11)),
    **{
        f"{family}-{extension}": QUALITIES[seventh].intervals + added
        for family, seventh in _SEVENTHS.items()
        for extension, added in _EXTENSIONS.items()
    },
}
"""Intervals of each kind that names its notes, as "Neapolitan" or "pedal" do not."""

_OF_DEGREE = (0, 2, 4, 5, 7, 9, 10)
"""Semitones of degrees 1 to 7 that are added: as in a dominant chord."""


class Degree(NamedTuple):
    """A change of a chord.

    Attributes:
        value: Degree above the root, 1 to 13.
        alter: Semitones.
        kind: "add", "alter" or "subtract".
    """

    value: int
    alter: int
    kind: str

    def __str__(self) -> str:
        """Return the change as read aloud: "add #11"."""
        sign = {1: "#", -1: "b", 2: "##", -2: "bb"}.get(self.alter, "")
        return f"{self.kind} {sign}{self.value}"


def change(intervals: Iterable[Interval], degrees: Iterable[Degree]) -> set[Interval]:
    """Return the intervals of a kind with its degrees added, altered, taken away.

    >>> sorted(change(KINDS["major"], [Degree(11, 1, "add")]))
    [(0, 0), (2, 4), (3, 6), (4, 7)]
    """
    chord = set(intervals)
    for degree in degrees:
        letter = (degree.value - 1) % 7
        there = [interval for interval in chord if interval[0] == letter]
        plain = _OF_DEGREE[letter]
        if degree.kind != "add":
            chord.difference_update(there)
            plain = there[0][1] if there else plain
        if degree.kind != "subtract":
            chord.add((letter, (plain + degree.alter) % 12))
    return chord


def nearest(intervals: set[Interval]) -> Quality | None:
    """Return the largest of our qualities within some intervals; None if none is.

    >>> nearest(set(KINDS["dominant-13th"])), nearest({(0, 0), (4, 6)})
    (<Quality.DOMINANT_SEVENTH: 'dominant'>, None)
    """
    within = [q for q in Quality if set(QUALITIES[q].intervals) <= intervals]
    return max(within, key=lambda q: len(QUALITIES[q].intervals), default=None)
