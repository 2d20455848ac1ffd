"""Note values by the metre: how a length is written, split and tied where it stands.

The grid of a time signature gives every place of a bar its level: 0 a bar line, 1 a
strong beat or the start of a group, 2 a beat, 3 the quavers of a compound beat or the
halves of a plain one, 4 and on their halves. The rules are common practice: a note
shows the middle of a 4/4 bar and the beats of a compound bar unless it is a plain
syncopation (crotchet, minim, crotchet); rests never hide a beat and are dotted in
compound time alone.

Places are counted in ticks. A tick is the smallest part of a crotchet that a score
needs; MusicXML calls the ticks in a crotchet `divisions`. Whole numbers keep times
exact, and ten times faster than fractions do.
"""

from fractions import Fraction
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple

from harmonise.theory.metre import TimeSignature, strong_starts

OFF_GRID = 99
"""Level of a place that only tuplets reach."""


class Crossing(NamedTuple):
    """The strongest places strictly inside a stretch.

    Attributes:
        level: Their level.
        first: The first of them.
        last: The last of them.
    """

    level: int
    first: int
    last: int


class MetricGrid(NamedTuple):
    """A time signature in ticks; places past the bar repeat its pattern.

    Attributes:
        divisions: Ticks in a crotchet.
        bar: Ticks in a full bar.
        strong: Places of level 1 and the bar line, in order.
        beats: Places of level 2 and stronger, in order.
        spacings: Ticks between places of level 3, 4 and so on.
        grouped: Whether beats are dotted or the signature is composite, so that a note
            may cross a beat only if it ends on one.
        beamed: Places where beams break.
        wide: Places where beams break when nothing but quavers are beamed; () for
            the same places.
    """

    divisions: int
    bar: int
    strong: tuple[int, ...]
    beats: tuple[int, ...]
    spacings: tuple[int, ...]
    grouped: bool
    beamed: tuple[int, ...]
    wide: tuple[int, ...]

    def level(self, place: int) -> int:
        """Return the level of a place; `OFF_GRID` if only tuplets reach it."""
        place %= self.bar
        if place == 0:
            return 0
        if place in self.strong:
            return 1
        if place in self.beats:
            return 2
        for level, spacing in enumerate(self.spacings, 3):
            if place % spacing == 0:
                return level
        return OFF_GRID

    def crossing(self, start: int, end: int) -> Crossing | None:
        """Return the strongest places strictly between two; None if there are none."""
        for level, places in enumerate(((0,), self.strong, self.beats)):
            inside = self.between(places, start, end)
            if inside:
                return Crossing(level, inside[0], inside[-1])
        for level, spacing in enumerate(self.spacings, 3):
            first = (start // spacing + 1) * spacing
            if first < end:
                return Crossing(level, first, (end - 1) // spacing * spacing)
        return None

    def between(self, places: tuple[int, ...], start: int, end: int) -> list[int]:
        """Return those of a bar's places, repeated bar by bar, strictly inside."""
        bars = range(start // self.bar, end // self.bar + 1)
        return [
            bar * self.bar + place
            for bar in bars
            for place in places
            if start < bar * self.bar + place < end
        ]

    def floor(self, places: tuple[int, ...], place: int) -> int:
        """Return the last of a bar's places at or before a place."""
        bar, rest = divmod(place, self.bar)
        return bar * self.bar + max(known for known in places if known <= rest)

    def ceiling(self, places: tuple[int, ...], place: int) -> int:
        """Return the first of a bar's places after a place."""
        bar, rest = divmod(place, self.bar)
        later = [known for known in places if known > rest]
        return bar * self.bar + (later[0] if later else self.bar)


@lru_cache(maxsize=256)
def grid_of(time: TimeSignature, divisions: int) -> MetricGrid:
    """Return the grid of a time signature.

    Args:
        time: The signature.
        divisions: Ticks in a crotchet; must make its unit and beats whole.
    """
    composite = bool(time.groups) or time.beats in (5, 7)
    wide = () if time.groups else _WIDE.get((time.beats, time.beat_type), ())
    # Levels from 3 on halve the unit of a compound bar, or half that of a plain one.
    twice = int(time.unit * divisions) * (2 if time.is_compound else 1)
    return MetricGrid(
        divisions,
        int(time.bar_length * divisions),
        (0, *(int(start * divisions) for start in strong_starts(time))),
        tuple(int(start * divisions) for start in time.beat_starts),
        tuple(twice >> halved for halved in range(1, (twice & -twice).bit_length())),
        time.is_compound or composite,
        _beam_breaks(time, divisions),
        tuple(size * divisions for size in accumulate((0, *wide)))[:-1],
    )


def _beam_breaks(time: TimeSignature, divisions: int) -> tuple[int, ...]:
    """Return where beams break: at every beat, or group of short beats."""
    composite = bool(time.groups) or time.beats in (5, 7)
    if time.is_compound:
        starts = time.beat_starts
    elif composite and time.unit < 1:
        starts = (Fraction(0), *strong_starts(time))
    elif time.unit >= 1 or time.bar_length > Fraction(3, 2):
        whole = range(-(-time.bar_length.numerator // time.bar_length.denominator))
        starts = tuple(Fraction(crotchet) for crotchet in whole)
    else:
        starts = (Fraction(0),)
    return tuple(int(start * divisions) for start in starts)


_WIDE = {(2, 4): (2,), (3, 4): (3,), (4, 4): (2, 2), (2, 2): (2, 2), (3, 2): (2, 2, 2)}
"""Crotchets under one beam where all of them are quavers; common practice."""


KINDS = (
    *("maxima", "long", "breve", "whole", "half", "quarter", "eighth"),
    *("16th", "32nd", "64th", "128th", "256th", "512th", "1024th"),
)
"""MusicXML 4.0's note types, from 32 crotchets down by halves."""


class Value(NamedTuple):
    """A note value.

    Attributes:
        kind: One of `KINDS`.
        dots: Augmentation dots, 0 to 2.
    """

    kind: str
    dots: int = 0

    @property
    def beams(self) -> int:
        """Beams or flags that it takes."""
        return max(0, KINDS.index(self.kind) - KINDS.index("quarter"))


class ShownLength(NamedTuple):
    """A stretch that one note sign can show.

    Attributes:
        start: Ticks from the bar line.
        end: Ticks from the bar line.
        value: The note value; None if no value of `KINDS` will do.
    """

    start: int
    end: int
    value: Value | None


_LENGTHS = {
    Fraction(32, 2**number) * Fraction(2 ** (dots + 1) - 1, 2**dots): Value(kind, dots)
    for number, kind in enumerate(KINDS)
    for dots in range(3)
}


def value_of(length: Fraction) -> Value | None:
    """Return the note value of a length in crotchets; None if ties are needed.

    >>> value_of(Fraction(3, 2))
    Value(kind='quarter', dots=1)
    >>> value_of(Fraction(5, 2))
    """
    return _LENGTHS.get(length)


@lru_cache(maxsize=16)
def _ticks(divisions: int) -> dict[int, Value]:
    return {
        int(length * divisions): value
        for length, value in _LENGTHS.items()
        if (length * divisions).denominator == 1
    }


def spell(
    start: int, end: int, grid: MetricGrid, *, rest: bool = False
) -> list[ShownLength]:
    """Return the tied notes, or the rests, that show a length clearly at its place.

    Args:
        start: Ticks from the bar line.
        end: Ticks from the bar line, after `start`.
        grid: The metre.
        rest: Whether it is a rest, which never hides a beat.
    """
    crossing = grid.crossing(start, end)
    value = _ticks(grid.divisions).get(end - start)
    is_clear = _rest_is_clear if rest else _note_is_clear
    if crossing is None or (value and is_clear(start, end, value, crossing, grid)):
        return [ShownLength(start, end, value)]
    # What begins on a strong place keeps its long part there; any other first fills
    # up to the strong place that it crosses.
    strong = grid.level(start) <= crossing.level
    cut = crossing.last if strong else crossing.first
    return [*spell(start, cut, grid, rest=rest), *spell(cut, end, grid, rest=rest)]


def _note_is_clear(
    start: int, end: int, value: Value, crossing: Crossing, grid: MetricGrid
) -> bool:
    level = grid.level(start)
    if grid.grouped and crossing.level <= 2:
        # Compound and composite bars show every beat or group that a note crosses.
        return max(level, grid.level(end)) <= crossing.level and value.dots < 2
    if level <= crossing.level:
        return value.dots < 2 or level <= 2
    return _is_plain_syncopation(start, end, crossing, grid)


def _is_plain_syncopation(
    start: int, end: int, crossing: Crossing, grid: MetricGrid
) -> bool:
    """Whether a note begins half-way between two places and crosses just the second.

    So crotchet, minim, crotchet and quaver, crotchet, quaver and quaver, dotted
    crotchet are plain; a quaver's worth over the middle of a 4/4 bar is not.
    """
    level, first, last = crossing
    half = first - start
    # The places one level finer are so far apart.
    if level <= 1 and len(grid.beats) > len(grid.strong):
        spacing = grid.beats[1]
    else:
        spacing = (*grid.spacings[max(level - 2, 0) :], 0)[0]
    if first != last or half != spacing or grid.level(start - half) > level:
        return False
    return end - first == half or grid.level(end) <= level


def _rest_is_clear(
    start: int, end: int, value: Value, crossing: Crossing, grid: MetricGrid
) -> bool:
    level = crossing.level
    if max(grid.level(start), grid.level(end)) < level:
        return value.dots == 0 or (grid.grouped and level <= 3 and value.dots == 1)
    # A crotchet rest may take the first two quavers of a dotted beat.
    two = grid.grouped and level == 3 and end - start == 2 * grid.spacings[0]
    return two and grid.level(start) < 3
