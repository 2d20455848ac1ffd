"""Time signatures: beats, weights and the places where chords may change.

Times are exact: `Fraction`s of a crotchet (quarter note), never floats. Weights and
slots follow the table of common practice quoted in `_TABLE`.
"""

from fractions import Fraction
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple


class TimeSignature(NamedTuple):
    """A time signature.

    Attributes:
        beats: Upper number; composite signatures keep their groups, as in 3+2.
        beat_type: Lower number, a power of two.
        groups: Upper number split into groups; () when it is not composite.
    """

    beats: int
    beat_type: int
    groups: tuple[int, ...] = ()

    @property
    def bar_length(self) -> Fraction:
        """Length of a full bar in crotchets."""
        return Fraction(4 * self.beats, self.beat_type)

    @property
    def unit(self) -> Fraction:
        """Length in crotchets of the note that the lower number names."""
        return Fraction(4, self.beat_type)

    @property
    def is_compound(self) -> bool:
        """Whether beats are dotted: 6/8, 9/8, 12/8 and their kin."""
        return self.beats in (6, 9, 12) and self.beat_type >= 4

    @property
    def beat(self) -> Fraction:
        """Length in crotchets of the beat that is counted (dotted when compound)."""
        return self.unit * 3 if self.is_compound else self.unit

    @property
    def beat_starts(self) -> tuple[Fraction, ...]:
        """Onsets in the bar, in crotchets, of the beats that are counted."""
        return _beat_starts(self)

    def weight(self, offset: Fraction) -> int:
        """Return the metric weight of a place in the bar.

        Args:
            offset: Crotchets from the bar line.

        Returns:
            3 on the first beat, 2 on a middle beat, 1 on other beats, 0 between.
        """
        return _weights(self).get(offset, 0)

    def __str__(self) -> str:
        """Return the signature as typed: 6/8."""
        upper = "+".join(map(str, self.groups)) if self.groups else str(self.beats)
        return f"{upper}/{self.beat_type}"


@lru_cache(maxsize=256)
def _beat_starts(time: TimeSignature) -> tuple[Fraction, ...]:
    count = int(time.bar_length / time.beat)
    return tuple(time.beat * number for number in range(count))


_MIDDLE = {(4, 4): 2, (2, 2): 1, (6, 8): 1, (6, 4): 1, (4, 8): 2, (4, 2): 2}
"""Number, from 0, of the middle strong beat in signatures that have one."""


@lru_cache(maxsize=256)
def _weights(time: TimeSignature) -> dict[Fraction, int]:
    weights = dict.fromkeys(_beat_starts(time), 1)
    for start in strong_starts(time):
        weights[start] = 2
    weights[Fraction(0)] = 3
    return weights


@lru_cache(maxsize=256)
def strong_starts(time: TimeSignature) -> tuple[Fraction, ...]:
    """Return the onsets in the bar, in crotchets, of its strong beats after the first.

    4/4: the third beat; 6/8: the fourth quaver; 12/8: the seventh; 9/8: each dotted
    beat; 5/4 and 7/8: the starts of the later groups. Common practice.
    """
    if time.groups or time.beats in (5, 7):
        groups = time.groups or ((3, 2) if time.beats == 5 else (2, 2, 3))
        return tuple(size * time.unit for size in accumulate(groups[:-1]))
    if time.beats == 12 and time.beat_type >= 4:
        return (time.bar_length / 2,)
    if time.beats == 9 and time.beat_type >= 4:
        return time.beat_starts[1:]
    middle = _MIDDLE.get((time.beats, time.beat_type))
    if middle is None and time.beats >= 4 and time.beats % 2 == 0:
        return (time.bar_length / 2,)
    return (time.beat_starts[middle],) if middle else ()


def half_bar_starts(time: TimeSignature) -> tuple[Fraction, ...]:
    """Return the onsets in the bar, in crotchets, of its halves (or groups).

    Triple bars of plain beats have no half: () but for their start. In 2/4 the second
    crotchet is the half; 9/8 has a place on each dotted beat. Common practice.
    """
    if time.beats == 2 and time.beat_type >= 4:
        return time.beat_starts
    if time.beats == 3 and time.beat_type >= 4:
        return (Fraction(0),)
    return (Fraction(0), *strong_starts(time))
