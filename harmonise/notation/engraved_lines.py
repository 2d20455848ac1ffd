"""Where a score is broken into lines: where it says so, and where a line is too long.

Bars are measured in one endless line. Widths are in verovio's own measure.
"""

import re
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

UNIT = 9
"""Half a staff space in verovio's measure; pictures are scaled afterwards."""
BRACE = 7 * UNIT
"""Room for the brace; verovio cuts it off without."""

_CLEF, _SIGN = 9 * UNIT, 2.1 * UNIT
"""What stands at the start of a line: the clef, and each sign of the key."""
_FULL = 0.94
"""How full a line may be: bars at their natural widths leave words no air."""
_BREAKS = re.compile(r"<[sp]b\b[^>]*/>")
_UNNUMBERED = re.compile(
    r'(<pb/><measure\b[^>]*? n="X\d+"(?:(?!<measure\b|<dir\b).)*'
    r'<measure\b[^>]*? n="(\d+)"[^>]*>)',
    re.DOTALL,
)
"""A line that begins with the second part of a split bar, up to its first whole bar.

verovio numbers the first bar of a line alone, and such a part has no number. Where the
name of a section stands over the part, the number would run into it and is left out.
"""
_BARS = re.compile(r'<(?:[sp]b|measure)\b[^>]*?xml:id="([^"]*)"[^>]*>')


class _Bar(NamedTuple):
    """One bar as it lies in an endless line.

    Attributes:
        name: Its id.
        width: Its width.
        starts: Whether the score begins a line with it.
    """

    name: str
    width: float
    starts: bool


def line_starts(mei: str, svg: str, width: float) -> tuple[str, ...]:
    """Return the ids of the bars that lines of music begin with.

    Args:
        mei: The score.
        svg: The same, drawn in one endless line.
        width: Width of a line.
    """
    bars = _measure_bars(svg, _line_starts(mei))
    head = _CLEF + _SIGN * _key_signs(svg)
    starts: list[str] = []
    for number, line in enumerate(_lines(bars)):
        whole = _with_head(line, head) if number else line
        parts = _parts(whole, (width - BRACE) * _FULL, head)
        starts += [part[0].name for part in parts]
    return tuple(starts)


def break_lines(mei: str, starts: Sequence[str]) -> str:
    """Return a score in MEI with a page for every line of music.

    Args:
        mei: The score.
        starts: Ids of the bars that lines begin with.
    """
    mei = _BREAKS.sub("", mei)
    for name in starts[1:]:
        start = f'<measure xml:id="{name}"'
        mei = mei.replace(start, f"<pb/>{start}", 1)
    return _UNNUMBERED.sub(r"\1<mNum>\2</mNum>", mei)


def _line_starts(mei: str) -> set[str]:
    """Return the ids of the bars before which the score breaks a line."""
    starts: set[str] = set()
    broken = False
    for found in _BARS.finditer(mei):
        if not found.group().startswith("<measure"):
            broken = True
        elif broken:
            starts.add(found.group(1))
            broken = False
    return starts


def _measure_bars(svg: str, starts: set[str]) -> list[_Bar]:
    """Return the bars of an endless line with their widths."""
    parts = re.split(r'<g id="([^"]*)" class="measure">', svg)
    bars = []
    for name, drawn in zip(parts[1::2], parts[2::2], strict=True):
        line = re.search(r'<path d="M(-?\d+) -?\d+ L(-?\d+)', drawn)
        width = (int(line[2]) - int(line[1])) / 10 if line else 0
        bars.append(_Bar(name, width, name in starts))
    return bars


def _key_signs(svg: str) -> int:
    """Return how many sharps or flats stand at the start."""
    staff = svg.partition('class="staff"')[2].partition('class="layer"')[0]
    return staff.count('class="keyAccid"')


def _lines(bars: Sequence[_Bar]) -> Iterator[Sequence[_Bar]]:
    """Yield the lines that the score asks for."""
    edges = [at for at, bar in enumerate(bars) if bar.starts and at]
    for start, end in pairwise([0, *edges, len(bars)]):
        yield bars[start:end]


def _parts(line: Sequence[_Bar], room: float, head: float) -> Iterator[Sequence[_Bar]]:
    """Yield a line in parts that fit, broken so that its halves are nearly alike.

    Args:
        line: Bars; the first one's width includes what stands at a line's start.
        room: Room for a line.
        head: What stands at the start of a broken-off part.
    """
    widths = [bar.width for bar in line]
    if len(line) < 2 or sum(widths) <= room:
        yield line
        return
    halves = [
        max(sum(widths[:at]), sum(widths[at:]) + head) for at in range(1, len(line))
    ]
    middle = halves.index(min(halves)) + 1
    yield from _parts(line[:middle], room, head)
    yield from _parts(_with_head(line[middle:], head), room, head)


def _with_head(line: Sequence[_Bar], head: float) -> Sequence[_Bar]:
    first = line[0]
    return [first._replace(width=first.width + head), *line[1:]]
