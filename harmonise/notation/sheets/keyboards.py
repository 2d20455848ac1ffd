"""Keyboard diagrams: two octaves, the keys to press shaded and named.

Shading is a pattern of lines, never a colour: it survives a black and white copier.
Finger numbers stand below, a triangle marks middle C, and an arch leads from a key to
the same key in the next diagram where it is kept. Lengths are millimetres.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from harmonise.notation.engraved_text import MUSIC_FONT, TEXT_FONT
from harmonise.notation.sheets.blocks import Picture
from harmonise.notation.sheets.keyboard_keys import (
    MIDDLE_C,
    OCTAVES,
    Keyboard,
    Press,
    Size,
    centre,
    draw_keys,
    hatching,
    mm,
)

__all__ = ["LEGEND", "Keyboard", "Press", "draw_keyboards"]

LEGEND = (
    "Press the hatched keys; the numbers below are fingers. "
    "A triangle marks middle C. An arch leads to a key that is pressed again."
)

_STARTS = (0, 5, 4, 9, 7, 2, 11)
"""Pitch classes at which a diagram may start, the clearest first."""
_GAP = 6.0
"""Between diagrams, also above and below."""
_LEAST, _MOST = 50.0, 70.0
"""Least and greatest width of a diagram, in ordinary size."""


def draw_keyboards(
    keyboards: Sequence[Keyboard], width: float, *, large: bool = False
) -> tuple[Picture, ...]:
    """Return strips of keyboard diagrams, in rows that fit a width.

    Args:
        keyboards: The diagrams in order.
        width: Room for a row.
        large: Whether keys and text are larger.
    """
    least = _LEAST * (1.5 if large else 1)
    across = max(1, int((width + _GAP) // (least + _GAP)))
    own = min((width + _GAP) / across - _GAP, _MOST * (1.5 if large else 1))
    key = own / (7 * OCTAVES)
    size = Size(own, key, key * 0.72, bold=large)
    low = _lowest(keyboards)
    rows = [
        range(at, min(at + across, len(keyboards)))
        for at in range(0, len(keyboards), across)
    ]
    return tuple(_draw_row(keyboards, row, low, size) for row in rows)


def _lowest(keyboards: Sequence[Keyboard]) -> list[int]:
    """Return the lowest key of every diagram: the same for all, if they all fit."""
    pressed = [[own.pitch.midi for own in board.presses] for board in keyboards]
    every = [midi for own in pressed for midi in own] or [MIDDLE_C]
    common = _start(every)
    if common is not None:
        return [common] * len(keyboards)
    return [_start(own or [MIDDLE_C]) or min(own) // 12 * 12 for own in pressed]


def _start(heights: Sequence[int]) -> int | None:
    """Return the white key from which two octaves hold keys; None if there is none.

    Middle C is among the octaves if it can be; C comes first, then F, then the others.
    """
    span = 12 * OCTAVES
    starts = [
        low
        for low in range(min(heights) - span + 1, min(heights) + 1)
        if low % 12 in _STARTS and max(heights) < low + span
    ]
    starts.sort(
        key=lambda low: (
            not low <= MIDDLE_C < low + span,
            _STARTS.index(low % 12),
            -low,
        )
    )
    return starts[0] if starts else None


def _draw_row(
    keyboards: Sequence[Keyboard], row: range, low: Sequence[int], size: Size
) -> Picture:
    shapes: list[str] = []
    for place, at in enumerate(row):
        drawn = "".join(draw_keys(keyboards[at], low[at], size))
        shapes.append(
            f'<g class="keyboard" transform="translate({mm(_left(place, size))},0)">'
            f"{drawn}</g>"
        )
    shapes += _arches(keyboards, row, low, size)
    width = _left(len(row), size) - _GAP
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        f'viewBox="-0.3 0 {mm(width + 0.6)} {mm(size.height)}" '
        f'font-family="{TEXT_FONT}, {MUSIC_FONT}, serif" '
        f'font-weight="{"bold" if size.bold else "normal"}">'
        f"{hatching(size)}{''.join(shapes)}</svg>"
    )
    told = "; ".join(_tell(keyboards[at]) for at in row)
    return Picture(svg, width, size.height, told)


def _left(place: int, size: Size) -> float:
    return place * (size.width + _GAP)


def _tell(board: Keyboard) -> str:
    """Return a diagram in words, for readers that speak."""
    keys = " ".join(
        f"{own.pitch}{f' (finger {own.finger})' if own.finger else ''}"
        for own in board.presses
    )
    return f"Keyboard {board.label}: {keys or 'blank'}".replace(" :", ":")


def _arches(
    keyboards: Sequence[Keyboard], row: range, low: Sequence[int], size: Size
) -> Iterator[str]:
    """Yield an arch for every key that a diagram and the next one press.

    Where the next diagram stands in the next row, the arch leads to the row's end and
    goes on at the start of the next.
    """
    edge = _left(len(row), size) - _GAP
    for at, after in pairwise(range(len(keyboards))):
        here, there = at in row, after in row
        for midi in _kept(keyboards[at], keyboards[after]) if here or there else ():
            left = _left(at - row.start, size) + centre(midi, low[at], size)
            right = _left(after - row.start, size) + centre(midi, low[after], size)
            yield _arch(left if here else None, right if there else None, edge, size)


def _kept(board: Keyboard, following: Keyboard) -> list[int]:
    """Return the keys of a diagram that the next one presses too."""
    pressed = {own.pitch.midi for own in following.presses}
    kept = [own.pitch.midi for own in board.presses if own.pitch.midi in pressed]
    return kept if board.links else []


def _arch(left: float | None, right: float | None, edge: float, size: Size) -> str:
    """Return an arch from a key to a key; half of one at an edge of the row."""
    foot, top = size.label - size.text * 0.1, size.text * 1.2
    ends = [left or 0, right or edge]
    heights = [foot if end is not None else top * 1.4 for end in (left, right)]
    bend = (ends[1] - ends[0]) / 5
    return (
        f'<path class="kept" d="M{mm(ends[0])} {mm(heights[0])} C{mm(ends[0] + bend)} '
        f'{mm(top)} {mm(ends[1] - bend)} {mm(top)} {mm(ends[1])} {mm(heights[1])}" '
        f'fill="none" stroke="black" stroke-width="{mm(size.key / 9)}"/>'
    )
