"""Bars of a MIDI file, by its own time signatures, before any note is looked at.

Bars are counted from tick 0. A signature in the middle of a bar cuts it short there.
Times are crotchets from the start of the file.
"""

from bisect import bisect_right
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.notation.reading.midi_file import MidiScore
from harmonise.notation.reading.midi_remarks import Code
from harmonise.notation.reading.remark_list import RemarkList
from harmonise.theory.metre import TimeSignature

MOST_BARS = 2000
"""Most bars that are read."""
MOST_BEATS = 32
_SNAP = 8
"""Signatures begin at the nearest eighth of a crotchet."""


class Stretch(NamedTuple):
    """Bars of one time signature.

    Attributes:
        start: Crotchets from the start of the file.
        time: The signature.
    """

    start: Fraction
    time: TimeSignature


class Metre(NamedTuple):
    """All time signatures of a file.

    Attributes:
        stretches: In order; the first begins at 0.
    """

    stretches: tuple[Stretch, ...]

    def stretch_at(self, onset: Fraction) -> Stretch:
        """Return the stretch that holds an onset."""
        starts = [stretch.start for stretch in self.stretches]
        return self.stretches[max(bisect_right(starts, onset) - 1, 0)]

    def beat_at(self, onset: Fraction) -> tuple[Fraction, Fraction]:
        """Return start and length of the beat that holds an onset."""
        stretch = self.stretch_at(onset)
        length = grid_beat(stretch.time)
        full = stretch.time.bar_length
        bar = stretch.start + (onset - stretch.start) // full * full
        return bar + (onset - bar) // length * length, length

    def bars(self, end: Fraction) -> list[tuple[Fraction, Fraction, TimeSignature]]:
        """Return start, end and signature of each bar up to the one that holds an end.

        Raises:
            NotationError: If there are more than 2,000.
        """
        found: list[tuple[Fraction, Fraction, TimeSignature]] = []
        for number, (start, time) in enumerate(self.stretches):
            later = self.stretches[number + 1 :]
            stop = min(later[0].start, end) if later else end
            at = start
            while at < stop:
                limit = later[0].start if later else at + time.bar_length
                found.append((at, min(at + time.bar_length, limit), time))
                at += time.bar_length
                if len(found) > MOST_BARS:
                    raise NotationError(
                        f"The tune has more than {MOST_BARS:,} bars.",
                        None,
                        "Take one tune out of it.",
                    )
        return found


def grid_beat(time: TimeSignature) -> Fraction:
    """Return the beat whose divisions notes are set to, in crotchets.

    >>> [str(grid_beat(TimeSignature(*t))) for t in ((2, 2), (6, 8), (3, 8), (7, 8))]
    ['1', '3/2', '3/2', '1']
    """
    if time.beats % 3 == 0 and time.beat_type == 8:
        return Fraction(3, 2)
    return time.beat if time.is_compound else Fraction(1)


def read_metre(score: MidiScore, remarks: RemarkList) -> Metre:
    """Return the time signatures of a file, 4/4 where it has none.

    Raises:
        NotationError: If one of them cannot be.
    """
    found: list[Stretch] = []
    for tick, (upper, lower) in score.times:
        start = Fraction(round(Fraction(tick * _SNAP, score.ticks)), _SNAP)
        time = _time(upper, lower, start, Metre(tuple(found)))
        if found and found[-1].start == start:
            found.pop()
        if not found or found[-1].time != time:
            found.append(Stretch(start, time))
    if not found or found[0].start > 0:
        remarks.add(
            Code.NO_TIME,
            "The file gives no time signature at its beginning: read as 4/4.",
            None,
            "If the bar lines are wrong, give it one.",
        )
        found.insert(0, Stretch(Fraction(0), TimeSignature(4, 4)))
    return Metre(tuple(found))


def _time(upper: int, lower: int, at: Fraction, before: Metre) -> TimeSignature:
    if not 0 < upper <= MOST_BEATS or not 0 < lower <= 128:
        bar = len(before.bars(at)) + 1
        shown = lower if lower < 10_000 else "a very short note"
        raise NotationError(
            f"the time signature {upper}/{shown} is not read.",
            Place(bar),
            f"The upper number must be 1 to {MOST_BEATS}, the lower 1 to 128.",
        )
    return TimeSignature(upper, lower)
