"""Where the pages of booklets and worksheets end.

All ways to break are weighed at once, as a good printer does by eye: few pages, what
belongs together on one of them, no line of music left alone, pages evenly full (after
D. E. Knuth and M. F. Plass, "Breaking paragraphs into lines", 1981). Lengths are
millimetres; heights of text are estimates, rather too much than too little.
"""

from collections.abc import Sequence
from itertools import repeat, takewhile
from typing import NamedTuple

from harmonise.notation.paper.blocks import MARGIN, Page, Table, page_size

_FOOT = 20
"""Millimetres at the foot of a page."""
_LINE, _NEXT, _LETTER = 2.8, 4.7, 1.75
"""Height of a line of text, of each further one, and width of a letter."""
_INSET = 2
"""Between the rules of a table and its text."""
_LARGE = 1.35
"""How much larger text is in large print."""

_PAGE, _ALONE = 1000, 400
"""Prices of a page, and of one that has a lone line of music or none."""
_TORN, _HALVED = 1500, 350
"""Prices of tearing what has room on a page, and of parting it between its parts."""
_INSIDE, _UNEVEN, _APART = 20, 100, 10_000
"""Prices of a break inside what must be torn, at a worse place than others; of an empty
page, less as it fills and half for the last one; and of parting what has to stay."""
_MUCH = 0.5
"""A page that is so full has enough on it."""


class Row(NamedTuple):
    """What is never torn: a line of music with its label, a paragraph, a table.

    Attributes:
        height: Its height.
        lines: How many lines of music it has.
        groups: What it belongs to, the largest first: its key, its progression.
        stays: Whether it stands on one page with the row after it.
    """

    height: float
    lines: int = 0
    groups: tuple[str, ...] = ()
    stays: bool = False


class Room(NamedTuple):
    """What a page holds.

    Attributes:
        height: Height of its text.
        gap: Between two rows.
        lines: Lines of music at most.
    """

    height: float
    gap: float
    lines: int = 99


class Breaks(NamedTuple):
    """A way to break.

    Attributes:
        price: What is bad about it.
        ends: The number of rows before the end of each page.
    """

    price: float
    ends: tuple[int, ...] = ()


def room_of(page: Page) -> float:
    """Return the height of the text of a page."""
    return page_size(page)[1] - MARGIN - _FOOT


def text_scale(page: Page) -> float:
    """Return how much larger the text of a page is than usual."""
    return _LARGE if page.large_print else 1


def text_height(text: str, page: Page, width: float = 0) -> float:
    """Return the height of a paragraph, rather too much than too little.

    Args:
        text: The paragraph.
        page: Its page.
        width: Its width; 0 for the page's whole text.
    """
    scale = text_scale(page)
    letters = int((width or page_size(page)[0] - 2 * MARGIN) / (_LETTER * scale))
    lines = sum(1 + len(line) // max(1, letters) for line in text.split("\n"))
    return scale * (_LINE + _NEXT * (lines - 1))


def table_height(table: Table, page: Page) -> float:
    """Return the height of a table whose columns have widths."""
    room = page_size(page)[0] - 2 * MARGIN
    widths = [room * width / sum(table.widths) - 2 * _INSET for width in table.widths]
    return sum(
        max(map(text_height, row, repeat(page), widths)) + 2 * _INSET
        for row in table.rows
    )


def page_breaks(rows: Sequence[Row], room: Room) -> Breaks:
    """Return the best way to break rows into pages.

    >>> line = Row(40, lines=1)
    >>> page_breaks([line] * 6, Room(220, 4)).ends
    (3, 6)
    """
    whole = _sizes(rows, room)
    best = [Breaks(0)]
    for end in range(1, len(rows) + 1):
        price = 0.0 if end == len(rows) else _between(rows[end - 1 : end + 1], whole)
        ways = []
        for start in reversed(range(end)):
            page = rows[start:end]
            height = sum(row.height + room.gap for row in page) - room.gap
            lines = sum(row.lines for row in page)
            if start < end - 1 and (height > room.height or lines > room.lines):
                break
            alone = lines <= 1 and height < _MUCH * room.height
            before = best[start]
            empty = max(0, 1 - height / room.height)
            uneven = _UNEVEN * empty**2 / (1 if end < len(rows) else 2)
            worth = _PAGE + _ALONE * alone + uneven
            ways.append(Breaks(before.price + worth + price, (*before.ends, end)))
        best.append(min(ways))
    return best[-1]


def _sizes(rows: Sequence[Row], room: Room) -> dict[str, bool]:
    """Return whether each largest group has room on one page."""
    heights: dict[str, float] = {}
    for row in rows:
        for group in row.groups[:1]:
            heights[group] = heights.get(group, -room.gap) + row.height + room.gap
    return {group: height <= room.height for group, height in heights.items()}


def _between(pair: Sequence[Row], whole: dict[str, bool]) -> float:
    """Return the price of a break between two rows."""
    before, after = pair
    if before.stays:
        return _APART
    pairs = zip(before.groups, after.groups, strict=False)
    shared = list(takewhile(lambda groups: groups[0] == groups[1], pairs))
    if not shared:
        return 0
    if whole[shared[0][0]]:
        return _HALVED if len(shared) < len(before.groups) else _TORN
    return _INSIDE * len(shared)
