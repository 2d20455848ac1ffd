"""Beams: which notes they join, and where they begin, go on, end or stick out.

Beams join notes of one beat; where nothing but quavers fill half a 4/4 bar or a whole
2/4 or 3/4 bar, one beam joins them all. Common practice.
"""

from collections.abc import Iterator
from itertools import groupby
from typing import NamedTuple

from harmonise.notation.writing.metric_grid import Grid


class Stem(NamedTuple):
    """What beaming asks about one note or rest.

    Attributes:
        start: Ticks from the bar line.
        end: Ticks from the bar line.
        flags: Beams or flags of its value; 0 for rests.
        plain: Whether it is an undotted quaver outside tuplets.
        tuplet: Start and end of its tuplet; None outside.
    """

    start: int
    end: int
    flags: int
    plain: bool
    tuplet: tuple[int, int] | None


def beam(stems: list[Stem], grid: Grid) -> list[tuple[str, ...]]:
    """Return the MusicXML beam values of every note, primary beam first.

    Args:
        stems: The notes and rests of a voice in a bar, without gaps.
        grid: The metre.
    """
    groups = [_group(stem, grid) for stem in stems]
    _widen(stems, groups, grid)
    beams: list[tuple[str, ...]] = [()] * len(stems)
    for members in _runs(stems, groups):
        for place, values in zip(members, _join(stems, members), strict=True):
            beams[place] = values
    return beams


_Group = tuple[str, int]


def _group(stem: Stem, grid: Grid) -> _Group:
    """Return the beam group of a note; a tuplet across beats is a group itself."""
    if stem.tuplet:
        start, end = stem.tuplet
        if grid.between(grid.beamed, start, end):
            return "tuplet", start
    return "beat", grid.floor(grid.beamed, stem.start)


def _widen(stems: list[Stem], groups: list[_Group], grid: Grid) -> None:
    """Give one group to the quavers that fill a wide stretch."""
    if not grid.wide:
        return
    cells = [grid.floor(grid.wide, stem.start) for stem in stems]
    for start, run in groupby(range(len(stems)), cells.__getitem__):
        members = list(run)
        end = grid.ceiling(grid.wide, start)
        full = stems[members[0]].start == start and stems[members[-1]].end == end
        if full and all(stems[at].plain for at in members):
            for at in members:
                groups[at] = ("wide", start)


def _runs(stems: list[Stem], groups: list[_Group]) -> Iterator[list[int]]:
    """Yield the runs of two or more neighbours that share beams."""
    keys = [(group, stem.flags > 0) for group, stem in zip(groups, stems, strict=True)]
    for (_, flagged), run in groupby(range(len(stems)), keys.__getitem__):
        members = list(run)
        if flagged and len(members) > 1:
            yield members


def _join(stems: list[Stem], members: list[int]) -> Iterator[tuple[str, ...]]:
    flags = [stems[at].flags for at in members]
    for place, own in enumerate(flags):
        before = flags[place - 1] if place else 0
        after = flags[place + 1] if place + 1 < len(flags) else 0
        yield tuple(
            _value(level, before, after) or _hook(stems[members[place]], before, after)
            for level in range(1, own + 1)
        )


def _value(level: int, before: int, after: int) -> str:
    """Return what one beam of a note does; "" if no neighbour shares it."""
    if before >= level:
        return "continue" if after >= level else "end"
    return "begin" if after >= level else ""


def _hook(stem: Stem, before: int, after: int) -> str:
    """Return which way a broken beam points: into the pair that the note is half of."""
    if not before or not after:
        return "backward hook" if before else "forward hook"
    length = stem.end - stem.start
    return "forward hook" if stem.start // length % 2 == 0 else "backward hook"
