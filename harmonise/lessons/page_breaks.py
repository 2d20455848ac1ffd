"""Where the pages of booklets and worksheets end.

All ways to break are weighed at once, as a good printer does by eye: few pages, what
belongs together on one of them, no line of music left alone, pages evenly full (after
D. E. Knuth and M. F. Plass, "Breaking paragraphs into lines", 1981). Lengths are
millimetres; heights of text are estimates, rather too much than too little.
"""

from collections.abc import Sequence
from itertools import repeat, takewhile
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
    Whole,
    Words,
    page_size,
)

_LINE, _NEXT = 2.6, 4.7
"""Height of a line of text, and of each further one."""
_LETTER, _BOLD = 3.88, 1.07
"""Width of an em in millimetres, and how much wider bold text is."""
_WIDTHS = {
    0.25: " \N{NO-BREAK SPACE}.,", 0.28: "ijlt:;/", 0.34: "fr-()I!",
    0.45: "acesJz?", 0.57: "FPS", 0.62: "ELTZ○●", 0.68: "BCR", 0.73: "ADGHKNOQUVXYw",
    0.79: "m", 0.9: "M", 0.95: "W", 1.0: "→—",
}  # fmt: skip
"""Widths of letters of the text font in ems; all others are half an em wide."""
_WIDTH = {letter: width for width, letters in _WIDTHS.items() for letter in letters}
_BLANK, _OVER = 6, 6.1
"""Height of a line to fill in, and what is free above a heading."""
_LARGE = 1.35
"""How much larger text is in large print."""

PAGE_PRICE, LONE_PRICE, _BARE = 1000, 400, 2000
"""Prices of a page, of one that has a lone line of music or none, and of one where
nothing but words stand while the music lies on others."""
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
    text: str, page: Page, width: float = 0, manner: Lettering = Lettering.PLAIN
) -> float:
    """Return the height of a paragraph, rather too much than too little.

    Args:
        text: The paragraph.
        page: Its page.
        width: Its width; 0 for the page's whole text.
        manner: How it looks; in large print all text is bold.
    """
    lines = text_lines(text, page, width, manner)
    return text_scale(page) * _size(manner) * (_LINE + _NEXT * (lines - 1))


def _size(manner: Lettering) -> float:
    """Return how much larger or smaller the text of a paragraph is than usual."""
    return {Lettering.SMALL: 9 / 11, Lettering.HEADING: 12 / 11}.get(manner, 1)


def text_lines(
    text: str, page: Page, width: float = 0, manner: Lettering = Lettering.PLAIN
) -> int:
    """Return how many lines a paragraph has; its arguments are as above."""
    letter = _LETTER * text_scale(page) * _size(manner)
    bold = manner not in (Lettering.PLAIN, Lettering.SMALL)
    letter *= _BOLD if bold or page.large_print else 1
    room = (width or page_size(page)[0] - 2 * MARGIN) / letter
    return sum(_rows_of(line, room) for line in text.split("\n"))


def _rows_of(line: str, room: float) -> int:
    """Return into how many rows the words of a line break, where each has some ems."""
    rows, filled = 1, 0.0
    for word in line.split(" "):
        wide = sum(_WIDTH.get(letter, 0.5) for letter in word)
        if filled and filled + wide > room:
            rows, filled = rows + 1, 0.0
        filled += wide + _WIDTH[" "]
    return rows


def title_height(title: Title, page: Page) -> float:
    """Return the height of a title."""
    under = len(title.under.split("\n")) if title.under else 0
    by = len(title.by.split("\n")) if title.by else 0
    lines = (3.8, 5.1 * (under > 0), 4.3 * max(0, under - 1), 5.1 * (by > 0), 4.3 * by)
    # There is a little more space below it than between other blocks.
    return text_scale(page) * sum(lines) + 1


def table_height(table: Table, page: Page) -> float:
    """Return the height of a table whose columns have widths."""
    return sum(table_rows(table, page))


def table_rows(table: Table, page: Page) -> list[float]:
    """Return the heights of the rows of a table whose columns have widths."""
    room = page_size(page)[0] - 2 * MARGIN
    inset = 2 * table.inset
    widths = [room * width / sum(table.widths) - inset for width in table.widths]
    head = Lettering.BOLD if table.header else Lettering.PLAIN
    manners = (head, *[Lettering.PLAIN] * (len(table.rows) - 1))
    rows = (
        map(text_height, row, repeat(page), widths, repeat(manner))
        for row, manner in zip(table.rows, manners, strict=True)
    )
    return [max(row) + inset + 2 * table.looser for row in rows]


def blocks_height(blocks: Sequence[Block], page: Page, gap: float = GAP) -> float:
    """Return the height of titles, paragraphs, tables and lines to fill in.

    Args:
        blocks: From top to bottom.
        page: Their page.
        gap: Millimetres between two of them.
    """
    heights = []
    for block in blocks:
        if isinstance(block, Title):
            heights.append(title_height(block, page))
        elif isinstance(block, Words):
            height = text_height(block.text, page, manner=block.manner)
            if block.manner is Lettering.HEADING and heights:
                # A heading stands farther from what is above it.
                height += max(0, _OVER * text_scale(page) - gap)
            heights.append(height)
        elif isinstance(block, Table):
            heights.append(table_height(block, page))
        elif isinstance(block, Whole):
            heights.append(blocks_height(block.blocks, page, block.between))
        else:
            heights.append(_BLANK * text_scale(page))
    return sum(heights) + gap * (len(heights) - 1)


def page_breaks(rows: Sequence[Row], room: Room) -> Breaks:
    """Return the best way to break rows into pages.

    >>> line = Row(40, lines=1)
    >>> page_breaks([line] * 6, Room(220, 4)).ends
    (4, 6)
    """
    whole = _sizes(rows, room)
    music = any(row.lines for row in rows)
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
            before = best[start]
            empty = max(0, 1 - height / room.height)
            uneven = _UNEVEN * empty**2 / (1 if end < len(rows) else 2)
            worth = PAGE_PRICE + uneven
            if lines <= 1 and height < _MUCH * room.height:
                worth += LONE_PRICE if lines or not music else _BARE
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
