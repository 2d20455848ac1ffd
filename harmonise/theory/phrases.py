"""Lines of a tune of which its page says nothing.

A typed tune has the lines that were typed, and so has a file that tells them. Where
nothing tells them they are found from the tune. Repeats, double bars, labels and
fermatas end lines for certain. A stretch between them that is too long for one line is
cut where the tune breathes: after a rest or a long note, or where the two bars of its
start come again; and unless these say otherwise, in groups of four bars.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from operator import attrgetter
from statistics import median
from typing import NamedTuple

from harmonise.theory.tune import Bar, Tune, TuneNote

_COST = {2: 2.6, 3: 1.5, 4: 0.0, 5: 2.0, 6: 2.5, 7: 3.0, 8: 1.5}
"""Price of a line by its full bars: four are a line, others need a reason."""
_WHOLE = 6
"""A stretch of fewer full bars is a line and not looked into."""
_SECTION = 8
"""Bars from which on a line end also ends a section, where no sign does."""
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
    ends: list[Fraction] = []
    for first, last in pairwise(edges):
        ends += [*_cuts(notes, bars, first, last), last]
    return tuple(ends)


def settle_lines(
    told: Sequence[Fraction], notes: Sequence[TuneNote], bars: Sequence[Bar]
) -> tuple[Fraction, ...]:
    """Return where lines end: as told, or found where one line holds a whole song."""
    full = sum(not bar.offset for bar in bars)
    return tuple(told) if told[1:] or full < _WHOLE else find_lines(notes, bars)


def before_pickup(tune: Tune, end: Fraction) -> Fraction:
    """Return where a line ends without the pickup to the next one.

    A tune that begins with a pickup has one before its other lines as well (common
    practice), and a page that breaks its lines at bar lines leaves it in the line
    before: there a note, or a rest, begins as long before the line ends as the pickup
    lasts.

    Args:
        tune: The tune.
        end: Where the line ends on the page, in crotchets.
    """
    first = tune.bars[0]
    if not first.offset:
        return end
    onset = end - first.length
    bar = tune.bar_at(onset)
    whole = bar.end == end and not bar.offset and bar.length == bar.time.bar_length
    at = bisect_left(tune.notes, onset, key=attrgetter("onset"))
    parted = any(note.onset == onset for note in tune.notes[at : at + 1])
    return onset if whole and parted else end


def sections_of(tune: Tune) -> tuple[int, ...]:
    """Return the number of the section that each bar stands in, counted from 0.

    A sign on the page ends a section (a double bar, a repeat, a label), and so does a
    line once the section has eight bars, as in most folk tunes (common practice).
    """
    lines = frozenset(tune.phrases)
    section = length = 0
    sections = []
    for bar, after in zip(tune.bars, (*tune.bars[1:], None), strict=True):
        sections.append(section)
        length += 1
        if after is None:
            break
        sign = bar.double or bar.repeat_end > 1 or after.repeat_start or after.section
        if sign or (length >= _SECTION and after.start in lines):
            section, length = section + 1, 0
    return tuple(sections)


def closing_beats(tune: Tune, alike: Sequence[int]) -> frozenset[Fraction]:
    """Return the beats that may bring the chords of a close, in crotchets.

    They are the beats of the last bar of a section, and the last beat before the last
    note of a line, where the tune strikes a note there (common practice: "B A G F# | E"
    must be able to have V); and the same beats of bars that must have the same chords.

    Args:
        tune: The tune.
        alike: For each bar the first one whose chords it must have.
    """
    sections = sections_of(tune)
    of_metre = {time: time.beat_starts for time in {bar.time for bar in tune.bars}}
    # Whole numbers are much quicker than fractions, and there are many.
    parts, (onsets, begins, skipped, lines, *metres) = in_whole_numbers(
        [note.onset for note in tune.sounding],
        [bar.start for bar in tune.bars] + [tune.end],
        [bar.offset for bar in tune.bars],
        tune.phrases,
        *((time.beat, *starts) for time, starts in of_metre.items()),
    )
    known = dict(zip(of_metre, metres, strict=True))
    ends, beats = set(lines), set[int]()
    for at, (bar, section) in enumerate(zip(tune.bars, sections, strict=True)):
        if section not in sections[at + 1 : at + 2]:
            ends.add(begins[at + 1])
            line = begins[at] - skipped[at]
            beats.update(line + start for start in known[bar.time][1:])
    for end in ends:
        number = bisect_left(onsets, end) - 1
        if number > 0:
            last, at = onsets[number], bisect_right(begins, onsets[number]) - 1
            beat = known[tune.bars[at].time][0]
            beats.add(last - ((last - begins[at] + skipped[at]) % beat or beat))
    places = dict[int, set[int]]()
    for beat in beats.intersection(onsets):
        at = bisect_right(begins, beat) - 1
        places.setdefault(alike[at], set()).add(beat - begins[at])
    return frozenset(
        Fraction(begins[at] + place, parts)
        for at, model in enumerate(alike)
        for place in places.get(model, ())
    )


def in_whole_numbers(*times: Sequence[Fraction]) -> tuple[int, list[list[int]]]:
    """Return times counted in the largest part of a crotchet that all of them are.

    >>> in_whole_numbers([Fraction(1, 2), Fraction(2)], [Fraction(4, 3)])
    (6, [[3, 12], [8]])
    """
    parts = lcm(*{time.denominator for row in times for time in row})
    whole = [[t.numerator * (parts // t.denominator) for t in row] for row in times]
    return parts, whole


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
    places = []
    for count, bar in enumerate(bars[1:], 1):
        # A stretch that begins with a pickup has one before each of its lines.
        onset = bar.start - lead if bar.start - lead in before else bar.start
        if onset not in before:
            continue
        note, again = before[onset], figures[count : count + 2] == opening
        long = note.pitch is None or note.length >= 2 * usual
        worth = _BREATH * long + _AGAIN * again
        places.append(_Place(onset, count, worth))
    return places


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
