"""The pages of a worksheet and of its answer key, with the same lines and page breaks.

Both are made together: a line of music breaks where either of them needs it, and a page
ends where the taller of the two is full. Staves are larger where there is little to do
and smaller where that saves a page or a lone line; what a page has left lies between
the lines, to write in. What the key says in words follows (see `marker_notes`).
"""

from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from harmonise.lessons.aural_pages import (
    played_blocks,
)
from harmonise.lessons.marker_notes import (
    said_to_marker,
)
from harmonise.lessons.page_breaks import (
    LONE_PRICE,
    PAGE_PRICE,
    Room,
    Row,
    blocks_height,
    page_breaks,
    room_of,
)
from harmonise.lessons.sheet_lines import SheetSize, line_starts
from harmonise.lessons.sheet_rows import SheetRow, body_rows, head_rows, total_row
from harmonise.lessons.worksheet import Worksheet
from harmonise.notation.paper.blocks import (
    GAP,
    Block,
    Lettering,
    Music,
    NewPage,
    Page,
    Picture,
    Table,
    Whole,
    Words,
    music_look,
)

MOST_STAVES = 5
"""Grand staves on a page at most."""
_SMALL = 5.5
"""Height of a staff of what a teacher plays, the least that is printed."""
_AIR, _LOOSE = 12, 2.5
"""Millimetres that a line of music may have besides the usual gap, and a cell to answer
in besides its usual inset."""


USUAL = SheetSize()
"""For learners (common practice)."""
_ROOMY = (SheetSize(9.5), SheetSize(9.5, 2), SheetSize(8, 2))
"""For sheets with little music: pupils write large."""
_DENSE = (SheetSize(full=True), SheetSize(7.5), SheetSize(7, full=True))
"""For sheets that would take another page, or leave a line alone on one."""
_EVENER = (SheetSize(full=True), SheetSize(bars=2))
"""For sheets with long and short lines."""
_KEY_STAVES = (7, 6.5, 6, 5.5)
"""Heights of a staff in a key where that makes room for what is said to the marker;
5.5 mm is the least that is printed."""
_UNEVEN_LINES = 150
"""Price of lines with half as many bars as others, or fewer."""
_SMALLER = 400
"""Price of all smallness on every page, where a page costs a thousand."""


class Copies(NamedTuple):
    """The two copies of a worksheet.

    Attributes:
        sheet: Blocks of the pupil's sheet.
        answers: Blocks of the answer key.
    """

    sheet: tuple[Block, ...]
    answers: tuple[Block, ...]


class _Layout(NamedTuple):
    """A sheet as one setting makes it.

    Attributes:
        pairs: Its blocks.
        ends: The number of rows before the end of each page.
        setting: How large its music is.
        price: What is bad about it.
    """

    pairs: tuple[SheetRow, ...]
    ends: tuple[int, ...]
    setting: SheetSize
    price: float

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return len(self.ends)

    @property
    def last_rows(self) -> list[Row]:
        """The rows of the last page."""
        *_, start, end = (0, *self.ends)
        return [pair.row for pair in self.pairs[start:end]]

    @property
    def bars(self) -> list[tuple[str, ...]]:
        """The bars of each line of music."""
        return _lines_of(self.pairs)


def _lines_of(pairs: Sequence[SheetRow]) -> list[tuple[str, ...]]:
    blocks = (pair.sheet for pair in pairs)
    return [block.system.bars for block in blocks if isinstance(block, Music)]


def _is_uneven(sheet: Worksheet, lines: Sequence[tuple[str, ...]]) -> bool:
    """Whether a line has twice as many full bars as another one; two short ones may."""
    if not lines:
        return False
    bars = sheet.pieces[0].arrangement.tune.bars
    counts = [sum(not bars[int(name[1:])].offset for name in line) for line in lines]
    return max(counts) >= 2 * min(counts) and (max(counts) > 2 or len(counts) > 2)


def copies_of(sheet: Worksheet, page: Page) -> Copies:
    """Return worksheet and answer key as blocks.

    Args:
        sheet: What they say.
        page: The page that they are set on.
    """
    (copies,) = copies_alike((sheet,), page)
    return copies


@lru_cache(maxsize=4)
def copies_alike(sheets: tuple[Worksheet, ...], page: Page) -> tuple[Copies, ...]:
    """Return one sheet at several depths, with the same lines on the same pages.

    Args:
        sheets: What they say; their keys can be told line by line from any of them.
        page: The page that they are set on.
    """
    layouts = _best(sheets, page)
    return tuple(
        _copies(sheet, layout, page)
        for sheet, layout in zip(sheets, layouts, strict=True)
    )


def _copies(sheet: Worksheet, best: _Layout, page: Page) -> Copies:
    marker = said_to_marker(sheet, page)
    solved = _with_room_below(best, sheet, page, marker)
    body, key = list[Block](), list[Block]()
    for start, end in pairwise((0, *best.ends)):
        if start:
            body.append(NewPage())
            key.append(NewPage())
        left = _left([pair.row for pair in best.pairs[start:end]], page)
        body += _spread([pair.sheet for pair in best.pairs[start:end]], left)
        left = _left([pair.row for pair in solved.pairs[start:end]], page)
        few = _few_lines(marker, page) if end == len(best.pairs) else 0
        left -= few if few <= left else 0
        key += _spread([pair.answers for pair in solved.pairs[start:end]], left)
    key += marker
    played = played_blocks(sheet, music_look(page, staff=_SMALL)) if sheet.asked else ()
    return Copies(tuple(body), (*key, *played))


def _best(sheets: Sequence[Worksheet], page: Page) -> tuple[_Layout, ...]:
    """Return the first layouts that are better than the usual ones, or those."""
    usual = _laid_out(sheets, page, USUAL)
    if not sheets[0].pieces:
        return usual
    several = usual[0].pages > 1
    uneven = _is_uneven(sheets[0], usual[0].bars)
    settings = _DENSE if several else _roomy(sheets[0], usual, page)
    # A setting may be both denser and more even; each is engraved once.
    for setting in dict.fromkeys((*settings, *(_EVENER if uneven else ()))):
        # Large print has staves of one size.
        if page.large_print and setting.staff != USUAL.staff:
            continue
        saves = several and _may_save(sheets[0], usual[0], setting, page)
        if several and not saves and not (uneven and setting in _EVENER):
            continue
        other = _laid_out(sheets, page, setting)
        if other[0].price < usual[0].price:
            return other
    return usual


def _may_save(sheet: Worksheet, usual: _Layout, setting: SheetSize, page: Page) -> bool:
    """Whether a denser setting may save a page or a lone line.

    Boxes do not shrink with staves, so that less is saved than is reckoned here.
    """
    rows = [pair.row for pair in usual.pairs]
    bars = [
        sum(not bar.offset for bar in piece.arrangement.tune.bars)
        for piece in sheet.pieces
    ]
    fewest = sum(-(-count // setting.bars) for count in bars)
    part = setting.staff / USUAL.staff
    if setting.full:
        part *= min(1, fewest / sum(row.lines for row in rows))
    smaller = [
        row._replace(height=(row.height + GAP) * part - GAP) if row.lines else row
        for row in rows
    ]
    best = page_breaks(smaller, Room(room_of(page), GAP))
    lone = usual.price - PAGE_PRICE * usual.pages >= LONE_PRICE
    return lone or len(best.ends) < usual.pages


def _roomy(
    sheet: Worksheet, layouts: Sequence[_Layout], page: Page
) -> tuple[SheetSize, ...]:
    """Return the larger settings that fit, to judge by the lines, the largest first.

    Where nothing is written in the music it may stay as it is.
    """
    pairs = [pair for layout in layouts for pair in layout.pairs]
    if not any(pair.row.lines and pair.sheet != pair.answers for pair in pairs):
        return ()
    rows = [[pair.row for pair in layout.pairs] for layout in layouts]
    music = sum(row.height + GAP for row in rows[0] if row.lines)
    count = len(layouts[0].bars)
    left = min(_left(each, page) for each in rows)
    lines = {
        setting: sum(
            1 + len(line_starts(piece, setting.bars)) for piece in sheet.pieces
        )
        for setting in _ROOMY
    }
    grown = {
        setting: music * setting.staff / USUAL.staff * lines[setting] / count
        for setting in _ROOMY
    }
    fitting = [setting for setting in _ROOMY if grown[setting] < music + left]
    return tuple(sorted(fitting, key=lambda each: -grown[each]))


def _laid_out(
    sheets: Sequence[Worksheet], page: Page, setting: SheetSize
) -> tuple[_Layout, ...]:
    """Return one sheet at several depths, with pages that end at the same rows."""
    heads = [list(head_rows(sheet, page)) for sheet in sheets]
    height = max(sum(each.row.height + GAP for each in head) - GAP for head in heads)
    bodies = body_rows(sheets, page, setting)
    *items, last = (each.row for each in bodies[0])
    total = total_row(sheets[0], page).row
    rows = [Row(height, stays=True), *items, last._replace(stays=True), total]
    grand = sheets[0].pieces and not any(piece.tune_only for piece in sheets[0].pieces)
    room = Room(room_of(page), GAP, MOST_STAVES if grand else len(rows))
    breaks = page_breaks(rows, room)
    smaller = max(0, 1 - setting.staff / USUAL.staff) * len(breaks.ends)
    price = breaks.price + _SMALLER * smaller
    price += _UNEVEN_LINES * _is_uneven(sheets[0], _lines_of(bodies[0]))
    return tuple(
        _Layout(
            (*head, *body, total_row(sheet, page)),
            tuple(end + len(head) - 1 for end in breaks.ends),
            setting,
            price,
        )
        for sheet, head, body in zip(sheets, heads, bodies, strict=True)
    )


def _with_room_below(
    best: _Layout, sheet: Worksheet, page: Page, marker: Sequence[Block]
) -> _Layout:
    """Return a layout as its key has it: with room for what is said to the marker.

    The music of a key may be smaller, for nobody writes in it; its lines are the same.
    """
    few = _few_lines(marker, page)
    if few <= _left(best.last_rows, page) or page.large_print:
        return best
    for staff in (each for each in _KEY_STAVES if each < best.setting.staff):
        (other,) = _laid_out([sheet], page, best.setting._replace(staff=staff))
        alike = other._replace(ends=best.ends)
        if other.bars == best.bars and few <= _left(alike.last_rows, page):
            return alike
    return best


def _few_lines(marker: Sequence[Block], page: Page) -> float:
    """Return the height of what is said to the marker; 0 if it has its own page."""
    few = marker and isinstance(marker[0], Whole)
    return blocks_height(marker, page) + GAP if few else 0


def _left(rows: Sequence[Row], page: Page) -> float:
    """Return what a page has left, in millimetres."""
    return room_of(page) - sum(row.height + GAP for row in rows) + GAP


def _spread(blocks: Sequence[Block], left: float) -> Iterator[Block]:
    """Yield the blocks of a page with what it has left between them, to write in.

    Args:
        blocks: What stands on the page.
        left: Millimetres that it has left; a heading keeps close to its music, and
            questions to answer by ear have higher rows.
    """
    lines = sum(isinstance(block, Music | Picture) for block in blocks)
    rows = sum(len(block.rows) for block in blocks if isinstance(block, Table))
    air = round(min(_AIR, max(0.0, left / max(1, lines))), 2)
    looser = round(min(_LOOSE, max(0.0, left / max(1, 2 * rows))), 2)
    for before, block, after in zip(
        (None, *blocks), blocks, (*blocks[1:], None), strict=False
    ):
        if isinstance(block, Words) and isinstance(after, Music):
            apart = block.manner is Lettering.BOLD
            yield block._replace(above=GAP + air) if apart else block
        elif isinstance(block, Music | Picture):
            headed = isinstance(before, Words) and before.manner is Lettering.BOLD
            yield block._replace(above=GAP if headed else GAP + air)
        elif isinstance(block, Table) and not lines:
            yield block._replace(looser=looser)
        else:
            yield block


def footed(page: Page, sheet: Worksheet, *, answers: bool = False) -> Page:
    """Return a page with sheet number and version at its foot."""
    name = f"{sheet.footer} · answers" if answers else sheet.footer
    return page._replace(
        footer=name, title=f"{sheet.tune.title or 'Worksheet'}: {name}"
    )
