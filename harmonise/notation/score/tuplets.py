"""Tuplets: which stretches of a bar need one, and which ratio.

A place in a bar is plain if halving a crotchet reaches it. Every run of other places
lies between two plain ones; that stretch, cut down to the beats where it can be, is a
tuplet. Ratios follow common practice: as many notes as fill the stretch, in the time
of the next smaller number of plain notes (3:2, 5:4, 7:4; 5:3 and 7:6 in dotted beats).
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from math import gcd, lcm
from typing import NamedTuple

from harmonise.notation.score.note_values import (
    KINDS,
    MetricGrid,
    ShownLength,
    value_of,
)

_MOST = 15
"""Largest tuplet that is written as one; rarer mixtures get a ratio note by note."""

_SMALLEST = Fraction(1, 2**8)
"""The 1024th note, in crotchets: the smallest value that MusicXML names."""


class TupletSpan(NamedTuple):
    """A stretch under one tuplet sign.

    Attributes:
        start: Ticks from the bar line.
        end: Ticks from the bar line.
        inner: The places inside it where notes begin or end.
        actual: Notes that fill it; 0 if each note needs a ratio of its own.
        normal: Plain notes whose time they take.
        unit: Length of one of those plain notes, in crotchets.
    """

    start: int
    end: int
    inner: tuple[int, ...]
    actual: int
    normal: int
    unit: Fraction

    @property
    def is_even(self) -> bool:
        """Whether equal notes fill it, as a triplet of three quavers."""
        return len(self.inner) == self.actual - 1

    @property
    def step(self) -> int:
        """Ticks of the grid that all its places lie on."""
        return gcd(self.end - self.start, *(place - self.start for place in self.inner))

    def notated(self, ticks: int, divisions: int) -> Fraction:
        """Return the written length, in crotchets, of ticks inside the tuplet."""
        return Fraction(ticks * self.actual, divisions * self.normal)


def find_tuplets(bounds: tuple[int, ...], grid: MetricGrid) -> tuple[TupletSpan, ...]:
    """Return the tuplets that a voice needs in a bar, in order.

    Args:
        bounds: Where its notes and rests begin and end, in ticks from the bar line,
            in order and without gaps.
        grid: The metre.
    """
    odd = odd_part(grid.divisions)
    tuplets = list(_quadruplets(bounds, grid))
    if odd == 1:
        return tuple(tuplets)
    for start, inner, end in _runs(bounds, odd, grid):
        tuplets.extend(_cut_down(start, inner, end, grid))
    return tuple(_joined(sorted(tuplets), grid))


def _quadruplets(bounds: tuple[int, ...], grid: MetricGrid) -> Iterator[TupletSpan]:
    """Yield the dotted beats that four equal notes fill, 4 in the time of 3.

    Ties over plain values would spell them too, but no one could read those. Two equal
    notes in a dotted beat are dotted themselves.
    """
    quaver = grid.spacings[0] if grid.grouped and grid.spacings else 0
    beat = 3 * quaver
    if not quaver or beat % 4 or beat not in (*grid.beats, grid.bar):
        return
    unit = Fraction(quaver, grid.divisions)
    known = set(bounds)
    # Dotted beats of the bar: a quadruplet never crosses one.
    for start in range(bounds[0] // beat * beat, bounds[-1], beat):
        inner = tuple(place for place in bounds if start < place < start + beat)
        quarters = tuple(start + beat // 4 * number for number in (1, 2, 3))
        if inner == quarters and {start, start + beat} <= known:
            yield TupletSpan(start, start + beat, inner, 4, 3, unit)


def odd_part(number: int) -> int:
    """Return what is left of a number when it has been halved as often as it can be."""
    return number // (number & -number)


_Run = tuple[int, tuple[int, ...], int]


def _runs(bounds: tuple[int, ...], odd: int, grid: MetricGrid) -> Iterator[_Run]:
    """Yield each run of places that are not plain, between its plain neighbours.

    A part bar may begin or end inside a tuplet, which then has the whole beat.
    """
    run: list[int] = []
    before: int | None = None
    last = grid.ceiling(grid.beats, bounds[-1])
    for place in (*bounds, *([last] if bounds[-1] % odd else [])):
        if place % odd:
            run.append(place)
            continue
        if run:
            start = grid.floor(grid.beats, run[0]) if before is None else before
            yield start, tuple(run), place
        run, before = [], place


def _cut_down(
    start: int, inner: tuple[int, ...], end: int, grid: MetricGrid
) -> Iterator[TupletSpan]:
    """Yield the tuplets of one run: a whole one if it is regular, else beat by beat."""
    if not _is_regular(start, inner, end):
        start = max(start, grid.floor(grid.beats, inner[0]))
        end = min(end, grid.ceiling(grid.beats, inner[-1]))
    if _is_regular(start, inner, end):
        yield _tuplet(start, inner, end, grid.divisions)
        return
    cuts = [start, *grid.between(grid.beats, start, end), end]
    for left, right in pairwise(cuts):
        places = tuple(place for place in inner if left < place < right)
        if places:
            yield _tuplet(left, places, right, grid.divisions)


def _is_regular(start: int, inner: tuple[int, ...], end: int) -> bool:
    """Whether 3, 5, 7 or 9 equal parts of a stretch reach all places in it."""
    parts = _parts(start, inner, end)
    return parts % 2 == 1 and parts <= 9


def _parts(start: int, inner: tuple[int, ...], end: int) -> int:
    whole = end - start
    return lcm(*(whole // gcd(whole, place - start) for place in inner))


def _tuplet(start: int, inner: tuple[int, ...], end: int, divisions: int) -> TupletSpan:
    # An odd number of plain notes fills the stretch: 1 a crotchet, 3 a dotted one.
    length = Fraction(end - start, divisions)
    core = odd_part(length.numerator)
    actual = odd_part(_parts(start, inner, end))
    while actual < core:
        actual *= 2
    normal = core
    while normal * 2 < actual:
        normal *= 2
    tuplet = TupletSpan(start, end, inner, actual, normal, length / normal)
    # A ratio past these limits cannot be read: then each note has one of its own.
    if actual > _MOST or tuplet.notated(tuplet.step, divisions) < _SMALLEST:
        return tuplet._replace(actual=0)
    return tuplet


def _joined(tuplets: list[TupletSpan], grid: MetricGrid) -> list[TupletSpan]:
    """Join neighbours inside one beat unless each is a complete group by itself."""
    joined: list[TupletSpan] = []
    for tuplet in tuplets:
        whole = tuplet
        if joined and _belong(joined[-1], tuplet, grid):
            last = joined.pop()
            inner = (*last.inner, tuplet.start, *tuplet.inner)
            whole = _tuplet(last.start, inner, tuplet.end, grid.divisions)
        joined.append(whole)
    return joined


def _belong(left: TupletSpan, right: TupletSpan, grid: MetricGrid) -> bool:
    return (
        left.end == right.start
        and not (left.is_even and right.is_even)
        and odd_part(left.actual or 1) == odd_part(right.actual or 1)
        and grid.level(left.end) > (3 if grid.grouped else 2)
    )


def spell_in_tuplet(
    start: int, end: int, tuplet: TupletSpan, grid: MetricGrid
) -> tuple[ShownLength, ...]:
    """Return the tied notes, with their written values, of a stretch in a tuplet.

    Args:
        start: Ticks from the bar line, not before the tuplet.
        end: Ticks from the bar line, not after the tuplet.
        tuplet: A tuplet with a ratio.
        grid: The metre.
    """
    value = value_of(tuplet.notated(end - start, grid.divisions))
    if value and value.dots < 2:
        return (ShownLength(start, end, value),)
    # Tied notes meet where the tuplet itself divides most evenly.
    step = tuplet.step
    first, last = (start - tuplet.start) // step, (end - tuplet.start) // step
    cut = tuplet.start + step * _roundest(first, last)
    return (
        *spell_in_tuplet(start, cut, tuplet, grid),
        *spell_in_tuplet(cut, end, tuplet, grid),
    )


def _roundest(first: int, last: int) -> int:
    """Return the number strictly between two that can be halved most often."""
    power = 1 << (last - first).bit_length()
    while (first // power + 1) * power >= last:
        power //= 2
    return (first // power + 1) * power


def ratio_of(length: Fraction) -> tuple[str, int, int]:
    """Return a note type and the ratio that make up any length at all.

    Args:
        length: Crotchets, more than 0.

    >>> ratio_of(Fraction(7, 15))
    ('eighth', 15, 14)
    """
    size = Fraction(32)
    number = 0
    while size / 2 >= length and number < len(KINDS) - 1:
        size /= 2
        number += 1
    share = length / size
    return KINDS[number], share.denominator, share.numerator
