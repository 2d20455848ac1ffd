"""Where the pages of booklets and worksheets end.

All ways to break are weighed at once, as a good printer does by eye: few pages, what
belongs together on one of them, no line of music left alone, pages evenly full (after
D. E. Knuth and M. F. Plass, "Breaking paragraphs into lines", 1981). Lengths are
millimetres; heights of text are estimates, rather too much than too little.
"""

from collections.abc import Sequence
from itertools import repeat, takewhile
from textwrap import wrap
from typing import NamedTuple

from harmonise.notation.paper.blocks import (
    FOOT,
    GAP,
    MARGIN,
    Block,
    Lettering,
    Page,
    Table,
    Title,
    Words,
    page_size,
)

_LINE, _NEXT = 2.8, 4.7
"""Height of a line of text, and of each further one."""
_LETTER, _BOLD = 1.62, 1.75
"""Width of a letter on the average."""
_BLANK = 6
"""Height of a line to fill in."""
_LARGE = 1.35
"""How much larger text is in large print."""

PAGE_PRICE, LONE_PRICE = 1000, 400
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
    return page_size(page)[1] - MARGIN - FOOT


def text_scale(page: Page) -> float:
    """Return how much larger the text of a page is than usual."""
    return _LARGE if page.large_print else 1


def text_height(
    text: str, page: Page, width: float = 0, *, bold: bool = False
) -> float:
    """Return the height of a paragraph, rather too much than too little.

    Args:
        text: The paragraph.
        page: Its page.
        width: Its width; 0 for the page's whole text.
        bold: Whether it is bold; in large print all text is.
    """
    lines = text_lines(text, page, width, bold=bold)
    return text_scale(page) * (_LINE + _NEXT * (lines - 1))


def text_lines(text: str, page: Page, width: float = 0, *, bold: bool = False) -> int:
    """Return how many lines a paragraph has; its arguments are as above."""
    letter = _BOLD if bold or page.large_print else _LETTER
    usual = page_size(page)[0] - 2 * MARGIN
    letters = max(1, int((width or usual) / (letter * text_scale(page))))
    return sum(max(1, len(wrap(line, letters))) for line in text.split("\n"))


def title_height(title: Title, page: Page) -> float:
    """Return the height of a title."""
    under = len(title.under.split("\n")) if title.under else 0
    by = len(title.by.split("\n")) if title.by else 0
    heights = (5, 5 * (under > 0), 4.3 * max(0, under - 1), 5 * (by > 0), 4.3 * by)
    return text_scale(page) * sum(heights)


def table_height(table: Table, page: Page) -> float:
    """Return the height of a table whose columns have widths."""
    room = page_size(page)[0] - 2 * MARGIN
    inset = 2 * table.inset
    widths = [room * width / sum(table.widths) - inset for width in table.widths]
    rows = (map(text_height, row, repeat(page), widths) for row in table.rows)
    return sum(max(row) + inset for row in rows)


def blocks_height(blocks: Sequence[Block], page: Page) -> float:
    """Return the height of titles, paragraphs, tables and lines to fill in."""
    heights = []
    for block in blocks:
        if isinstance(block, Title):
            heights.append(title_height(block, page))
        elif isinstance(block, Words):
            bold = block.manner not in (Lettering.PLAIN, Lettering.SMALL)
            heights.append(text_height(block.text, page, bold=bold))
        elif isinstance(block, Table):
            heights.append(table_height(block, page))
        else:
            heights.append(_BLANK * text_scale(page))
    return sum(heights) + GAP * (len(heights) - 1)


def page_breaks(rows: Sequence[Row], room: Room) -> Breaks:
    """Return the best way to break rows into pages.

    >>> line = Row(40, lines=1)
    >>> page_breaks([line] * 6, Room(220, 4)).ends
    (4, 6)
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
            worth = PAGE_PRICE + LONE_PRICE * alone + uneven
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
