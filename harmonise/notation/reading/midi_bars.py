"""Bars of the tune: where it begins in the file, its pickup, its rests.

Silent bars before the tune (a count-in, an introduction) are left out. If the tune then
begins with a rest of half a bar or more, that is no rest: it begins with a pickup. So
it does if its first bar has a time signature to itself, of a shorter bar than the next
one, which is how notation programs write pickups into MIDI files.
"""

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.notation.reading.midi_lengths import Placed
from harmonise.notation.reading.midi_metre import Metre
from harmonise.notation.reading.midi_remarks import Code, count
from harmonise.notation.reading.remark_list import RemarkList
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar

_FileBar = tuple[Fraction, Fraction, TimeSignature]
"""Start and end in crotchets of the file, time signature."""


class Page(NamedTuple):
    """The bars of the tune.

    Attributes:
        start: Crotchets of the file at which the tune begins.
        bars: Its bars.
    """

    start: Fraction
    bars: tuple[Bar, ...]

    @property
    def end(self) -> Fraction:
        """Length of the tune in crotchets."""
        return self.bars[-1].end


def lay_bars(notes: Sequence[Placed], metre: Metre, remarks: RemarkList) -> Page:
    """Return the bars that hold the notes.

    Args:
        notes: The line on paper, never empty.
        metre: The file's own bars.
        remarks: Told of bars left out.

    Raises:
        NotationError: If there are too many.
    """
    onset, end = notes[0].onset, max(note.end for note in notes)
    bars = metre.bars(end)
    silent = bisect_right([start for start, _, _ in bars], onset) - 1
    if silent:
        remarks.add(
            Code.SILENCE,
            f"The tune begins after {count(silent, 'bar')} of the file, in which it is "
            "silent; left out.",
        )
    bars = bars[silent:]
    first = _pickup_by_signature(bars) or _pickup_by_rest(bars, onset)
    pickup = first.length if first else Fraction(0)
    start = bars[0][1] - pickup if first else bars[0][0]
    laid = [first] if first else []
    for number, (at, stop, time) in enumerate(bars[1:] if first else bars, 1):
        laid.append(Bar(number, at - start, stop - at, time))
    last = laid[-1]
    if pickup and len(laid) > 1 and end - start == last.end - pickup > last.start:
        laid[-1] = last._replace(length=last.length - pickup)
    return Page(start, tuple(laid))


def _pickup_by_signature(bars: Sequence[_FileBar]) -> Bar | None:
    """Return a first bar that has a shorter time signature to itself."""
    if len(bars) < 2:
        return None
    (start, end, own), (_, _, time) = bars[:2]
    length = end - start
    if own == time or length != own.bar_length or length >= time.bar_length:
        return None
    return Bar(0, Fraction(0), length, time, offset=time.bar_length - length)


def _pickup_by_rest(bars: Sequence[_FileBar], onset: Fraction) -> Bar | None:
    """Return the notes before the first full bar, if more than half of it rests."""
    start, end, time = bars[0]
    if onset - start < time.bar_length / 2 or len(bars) < 2:
        return None
    return Bar(0, Fraction(0), end - onset, time, offset=time.bar_length - end + onset)


def cut_rest(
    start: Fraction, end: Fraction, page: Page
) -> list[tuple[Fraction, Fraction]]:
    """Return a stretch of silence cut at the bar lines, as starts and ends."""
    lines = [bar.start for bar in page.bars]
    inner = lines[bisect_right(lines, start) : bisect_right(lines, end)]
    places = [start, *(line for line in inner if line < end), end]
    return list(pairwise(places))
