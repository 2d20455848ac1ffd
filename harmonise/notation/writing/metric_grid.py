"""Strong and weak places of a bar, counted in ticks, for spelling and beaming.

A tick is the smallest part of a crotchet that a score needs; MusicXML calls the ticks
in a crotchet `divisions`. Whole numbers keep times exact, and ten times faster than
fractions do.

Levels of a place: 0 a bar line, 1 a strong beat or the start of a group, 2 a beat, 3
the quavers of a compound beat or the halves of a plain one, 4 and on their halves.
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


class Grid(NamedTuple):
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
def grid_of(time: TimeSignature, divisions: int) -> Grid:
    """Return the grid of a time signature.

    Args:
        time: The signature.
        divisions: Ticks in a crotchet; must make its unit and beats whole.
    """
    bar = int(time.bar_length * divisions)
    beats = tuple(int(start * divisions) for start in time.beat_starts)
    strong = (0, *(int(start * divisions) for start in strong_starts(time)))
    composite = bool(time.groups) or time.beats in (5, 7)
    unit = int(time.unit * divisions)
    return Grid(
        divisions,
        bar,
        strong,
        beats,
        _spacings(unit if time.is_compound else Fraction(unit, 2)),
        time.is_compound or composite,
        _beam_breaks(time, divisions),
        _wide_breaks(time, divisions),
    )


def _spacings(widest: Fraction | int) -> tuple[int, ...]:
    found = []
    spacing = Fraction(widest)
    while spacing.denominator == 1:
        found.append(int(spacing))
        spacing /= 2
    return tuple(found)


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


def _wide_breaks(time: TimeSignature, divisions: int) -> tuple[int, ...]:
    if time.groups:
        return ()
    sizes = _WIDE.get((time.beats, time.beat_type), ())
    return tuple(size * divisions for size in accumulate((0, *sizes)))[:-1]
