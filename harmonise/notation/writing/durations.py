"""How lengths are written: note values, and where a length is split and tied.

Rules of common practice: a note shows the middle of a 4/4 bar and the beats of a
compound bar unless it is a plain syncopation (crotchet, minim, crotchet); rests never
hide a beat and are dotted in compound time alone.
"""

from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from harmonise.notation.writing.metric_grid import Crossing, Grid

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


class Part(NamedTuple):
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


def spell_note(start: int, end: int, grid: Grid) -> list[Part]:
    """Return the tied notes that show a length clearly at its place in the bar.

    Args:
        start: Ticks from the bar line.
        end: Ticks from the bar line, after `start`.
        grid: The metre.
    """
    return _spell(start, end, grid, _note_is_clear)


_Clear = Callable[[int, int, Value, Grid], bool]


def _spell(start: int, end: int, grid: Grid, is_clear: _Clear) -> list[Part]:
    crossing = grid.crossing(start, end)
    value = _ticks(grid.divisions).get(end - start)
    if crossing is None or (value and is_clear(start, end, value, grid)):
        return [Part(start, end, value)]
    # What begins on a strong place keeps its long part there; any other first fills
    # up to the strong place that it crosses.
    strong = grid.level(start) <= crossing.level
    cut = crossing.last if strong else crossing.first
    return [
        *_spell(start, cut, grid, is_clear),
        *_spell(cut, end, grid, is_clear),
    ]


def _note_is_clear(start: int, end: int, value: Value, grid: Grid) -> bool:
    crossing = grid.crossing(start, end)
    if crossing is None:
        return True
    if grid.grouped and crossing.level <= 2:
        # Compound and composite bars show every beat or group that a note crosses.
        both = max(grid.level(start), grid.level(end)) <= crossing.level
        return both and value.dots < 2
    if grid.level(start) <= crossing.level:
        return value.dots < 2 or grid.level(start) <= 2
    return _is_plain_syncopation(start, end, crossing, grid)


def _is_plain_syncopation(start: int, end: int, crossing: Crossing, grid: Grid) -> bool:
    """Whether a note begins half-way between two places and crosses just the second.

    So crotchet, minim, crotchet and quaver, crotchet, quaver and quaver, dotted
    crotchet are plain; a quaver's worth over the middle of a 4/4 bar is not.
    """
    if crossing.first != crossing.last:
        return False
    half = crossing.first - start
    if half != _next_spacing(crossing.level, grid):
        return False
    if grid.level(start - half) > crossing.level:
        return False
    return end - crossing.first == half or grid.level(end) <= crossing.level


def _next_spacing(level: int, grid: Grid) -> int:
    """Return the ticks between places one level finer."""
    if level <= 1 and len(grid.beats) > len(grid.strong):
        return grid.beats[1]
    finer = max(level - 2, 0)
    return grid.spacings[finer] if finer < len(grid.spacings) else 0


def spell_rest(start: int, end: int, grid: Grid) -> list[Part]:
    """Return the rests that fill a stretch without hiding a beat.

    Args:
        start: Ticks from the bar line.
        end: Ticks from the bar line, after `start`.
        grid: The metre.
    """
    return _spell(start, end, grid, _rest_is_clear)


def _rest_is_clear(start: int, end: int, value: Value, grid: Grid) -> bool:
    crossing = grid.crossing(start, end)
    if crossing is None:
        return True
    if max(grid.level(start), grid.level(end)) < crossing.level:
        dotted_beat = grid.grouped and crossing.level <= 3 and value.dots == 1
        return value.dots == 0 or dotted_beat
    # A crotchet rest may take the first two quavers of a dotted beat.
    two = grid.grouped and crossing.level == 3 and end - start == 2 * grid.spacings[0]
    return two and grid.level(start) < 3
