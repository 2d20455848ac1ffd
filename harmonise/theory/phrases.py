"""Lines of a tune of which its page says nothing.

A typed tune has the lines that were typed, and so has a file that tells them. Where
nothing tells them they are found from the tune. Repeats, double bars, labels and
fermatas end lines for certain. A stretch between them that is too long for one line is
cut where the tune breathes: after a rest or a long note, or where the two bars of its
start come again; and unless these say otherwise, in groups of four bars.
"""

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from harmonise.theory.tune import Bar, TuneNote

_COST = {2: 2.6, 3: 1.5, 4: 0.0, 5: 2.0, 6: 2.5, 7: 3.0, 8: 1.5}
"""Price of a line by its full bars: four are a line, others need a reason."""
_WHOLE = 6
"""A stretch of fewer full bars is a line and not looked into."""
_BREATH, _AGAIN = 1.0, 1.0
"""What a rest or long note before a line is worth, and bars heard before."""


class _Place(NamedTuple):
    """A place where a line may begin.

    Attributes:
        onset: Crotchets from the start; before the bar line if notes lead to it.
        bars: Full bars from the start of the stretch.
        worth: What speaks for it.
    """

    onset: Fraction
    bars: int
    worth: float


def find_lines(notes: Sequence[TuneNote], bars: Sequence[Bar]) -> tuple[Fraction, ...]:
    """Return the onsets at which lines of a tune end; the last is its end.

    Args:
        notes: Its notes and rests, without gap.
        bars: Its bars.
    """
    end = bars[-1].end
    known = _section_ends(bars)
    known |= {note.end for note in notes if note.fermata and note.pitch}
    edges = [Fraction(0), *sorted(at for at in known if 0 < at < end), end]
    found: list[Fraction] = []
    for first, last in pairwise(edges):
        found += [*_cuts(notes, bars, first, last), last]
    return tuple(found)


def _section_ends(bars: Sequence[Bar]) -> set[Fraction]:
    """Return where sections and endings begin and end."""
    ends = {bar.start for bar in bars if bar.repeat_start or bar.section}
    ends |= {bar.end for bar in bars if bar.repeat_end > 1 or bar.double}
    for bar, after in pairwise(bars):
        if bar.ending and bar.ending != after.ending:
            ends.add(bar.end)
    return ends


def _cuts(
    notes: Sequence[TuneNote], bars: Sequence[Bar], first: Fraction, last: Fraction
) -> list[Fraction]:
    """Return where lines end inside a stretch, at the lowest price of all."""
    inside = [bar for bar in bars if first <= bar.start < last and not bar.offset]
    if len(inside) < _WHOLE:
        return []
    places = [_Place(first, 0, 0.0), *_places(notes, inside, first)]
    places.append(_Place(last, len(inside), 0.0))
    # Price of the best way to each place, and the number of the place before it.
    best: list[tuple[float, int]] = [(0.0, 0)]
    for number, place in enumerate(places[1:], 1):
        prices = [
            (best[before][0] + _COST[size] - place.worth, before)
            for before in range(max(number - 8, 0), number)
            if (size := place.bars - places[before].bars) in _COST
        ]
        best.append(min(prices, default=(float("inf"), 0)))
    cuts: list[Fraction] = []
    number = best[-1][1]
    while number:
        cuts.insert(0, places[number].onset)
        number = best[number][1]
    return cuts


def _places(
    notes: Sequence[TuneNote], bars: Sequence[Bar], first: Fraction
) -> list[_Place]:
    """Return the places near bar lines at which a note or rest begins."""
    lead = bars[0].start - first
    before = {note.end: note for note in notes}
    usual = median(note.length for note in notes if note.pitch)
    figures = _figures(notes, bars)
    opening = figures[:2]
    found = []
    for count, bar in enumerate(bars[1:], 1):
        # A stretch that begins with a pickup has one before each of its lines.
        onset = bar.start - lead if bar.start - lead in before else bar.start
        if onset not in before:
            continue
        note, again = before[onset], figures[count : count + 2] == opening
        long = note.pitch is None or note.length >= 2 * usual
        worth = _BREATH * long + _AGAIN * again
        found.append(_Place(onset, count, worth))
    return found


def _figures(
    notes: Sequence[TuneNote], bars: Sequence[Bar]
) -> list[tuple[object, ...]]:
    """Return what each bar has, to tell whether it was heard before."""
    onsets = [note.onset for note in notes]
    return [
        tuple(
            (note.onset - bar.start, note.length, note.pitch)
            for note in notes[
                bisect_left(onsets, bar.start) : bisect_left(onsets, bar.end)
            ]
        )
        for bar in bars
    ]
