"""The pages of a worksheet and of its answer key, with the same lines and page breaks.

Both are made together: a line of music breaks where either of them needs it, and a page
ends where the taller of the two is full. Staves are larger where there is little to do
and smaller where that saves a page or a lone line; what a page has left lies between
the lines, to write in. What the key says in words follows (see `marker_notes`).
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from harmonise.lessons.aural import AURAL_STEPS
from harmonise.lessons.aural_pages import (
    played_blocks,
    question_tables,
    step_told,
)
from harmonise.lessons.marker_notes import (
    answer_table,
    apart,
    fault_rows,
    key_blocks,
)
from harmonise.lessons.page_breaks import (
    LONE_PRICE,
    PAGE_PRICE,
    Breaks,
    Room,
    Row,
    blocks_height,
    page_breaks,
    room_of,
    table_height,
    text_scale,
    title_height,
)
from harmonise.lessons.sheet_lines import MOST_BARS, engraved, in_full_lines
from harmonise.lessons.sheet_pictures import strips
from harmonise.lessons.worksheet import Worksheet
from harmonise.notation.paper.blocks import (
    GAP,
    Blanks,
    Block,
    Lettering,
    Look,
    Music,
    NewPage,
    Page,
    Picture,
    Title,
    Whole,
    Words,
    music_look,
)
from harmonise.theory.key import printed

MOST_STAVES = 5
"""Grand staves on a page at most."""
_SMALL = 5.5
"""Height of a staff of what a teacher plays, the least that is printed."""
_AIR = 12
"""Millimetres that a line of music may have besides the usual gap."""


class SheetSize(NamedTuple):
    """How large the music of a sheet is.

    Attributes:
        staff: Height of a staff in millimetres.
        bars: Full bars of a line at most.
        full: Whether short lines share one; else each phrase has its own.
    """

    staff: float = 8
    bars: int = MOST_BARS
    full: bool = False


USUAL = SheetSize()
"""For learners (common practice)."""
_ROOMY = (SheetSize(9.5), SheetSize(9.5, 2), SheetSize(8, 2))
"""For sheets with little music: pupils write large."""
_DENSE = (SheetSize(full=True), SheetSize(7.5), SheetSize(7, full=True))
"""For sheets that would take another page, or leave a line alone on one."""
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


class _Pair(NamedTuple):
    """One block on both copies.

    Attributes:
        sheet: As the pupil gets it.
        answers: As the key shows it.
        row: How it stands among the others; as high as the taller one.
    """

    sheet: Block
    answers: Block
    row: Row


class _Layout(NamedTuple):
    """A sheet as one setting makes it.

    Attributes:
        pairs: Its blocks.
        breaks: Where its pages end.
        pages: How many there are, with one more where a few lines to the marker have no
            room below.
        price: What is bad about it.
    """

    pairs: tuple[_Pair, ...]
    breaks: Breaks
    pages: int
    price: float


def copies_of(sheet: Worksheet, page: Page) -> Copies:
    """Return worksheet and answer key as blocks.

    Args:
        sheet: What they say.
        page: The page that they are set on.
    """
    best = _best(sheet, page)
    marker = apart(key_blocks(sheet), page)
    body, key = list[Block](), list[Block]()
    for start, end in pairwise((0, *best.breaks.ends)):
        if start:
            body.append(NewPage())
            key.append(NewPage())
        pairs = best.pairs[start:end]
        rows = [pair.row for pair in pairs]
        ends = end == len(best.pairs)
        air = _air(rows, page, marker if ends else ())
        body += [_aired(pair.sheet, air) for pair in pairs]
        key += [_aired(pair.answers, air) for pair in pairs]
    played = played_blocks(sheet, music_look(page, staff=_SMALL)) if sheet.asked else ()
    return Copies(tuple(body), (*key, *marker, *played))


def _best(sheet: Worksheet, page: Page) -> _Layout:
    """Return the first layout that is better than the usual one, or that."""
    usual = _laid_out(sheet, page, USUAL)
    if not sheet.pieces:
        return usual
    for setting in _DENSE if usual.pages > 1 else _roomy(usual, page):
        # Large print has staves of one size.
        if page.large_print and setting.staff != USUAL.staff:
            continue
        if usual.pages > 1 and not _may_save(sheet, usual, setting, page):
            continue
        other = _laid_out(sheet, page, setting)
        if other.price < usual.price:
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
    lone = usual.breaks.price - PAGE_PRICE * len(usual.breaks.ends) >= LONE_PRICE
    few = _few_lines(apart(key_blocks(sheet), page), page)
    return bool(lone or few) or len(best.ends) < usual.pages


def _roomy(usual: _Layout, page: Page) -> tuple[SheetSize, ...]:
    """Return the larger settings that fit, to judge by the lines, the largest first.

    Where nothing is written in the music it may stay as it is.
    """
    if not any(pair.row.lines and pair.sheet != pair.answers for pair in usual.pairs):
        return ()
    rows = [pair.row for pair in usual.pairs]
    music = sum(row.height + GAP for row in rows if row.lines)
    left = _left(rows, page)
    grown = {
        setting: music * setting.staff / USUAL.staff * (MOST_BARS // setting.bars)
        for setting in _ROOMY
    }
    fitting = [setting for setting in _ROOMY if grown[setting] < music + left]
    return tuple(sorted(fitting, key=lambda each: -grown[each]))


def _laid_out(sheet: Worksheet, page: Page, setting: SheetSize) -> _Layout:
    *items, last = _body(sheet, page, setting)
    ending = last._replace(row=last.row._replace(stays=True))
    pairs = (*_head(sheet, page), *items, ending, _total(sheet, page))
    grand = sheet.pieces and not any(piece.tune_only for piece in sheet.pieces)
    room = Room(room_of(page), GAP, MOST_STAVES if grand else len(pairs))
    breaks = page_breaks([pair.row for pair in pairs], room)
    *_, start, end = (0, *breaks.ends)
    last_rows = [pair.row for pair in pairs[start:end]]
    more = _few_lines(apart(key_blocks(sheet), page), page) > _left(last_rows, page)
    pages = len(breaks.ends) + more
    smaller = max(0, 1 - setting.staff / USUAL.staff) * pages
    price = breaks.price + PAGE_PRICE * more + _SMALLER * smaller
    return _Layout(pairs, breaks, pages, price)


def _few_lines(marker: Sequence[Block], page: Page) -> float:
    """Return the height of what is said to the marker; 0 if it has its own page."""
    return sum(
        blocks_height(block.blocks, page) + GAP
        for block in marker
        if isinstance(block, Whole)
    )


def _left(rows: Sequence[Row], page: Page) -> float:
    """Return what a page has left, in millimetres."""
    return room_of(page) - sum(row.height + GAP for row in rows) + GAP


def _air(rows: Sequence[Row], page: Page, below: Sequence[Block]) -> float:
    """Return what each line of music of a page can have above it besides.

    Args:
        rows: What stands on the page.
        page: The page.
        below: What follows in the key, on the same page if it is short and has room.
    """
    left, few = _left(rows, page), _few_lines(below, page)
    left -= few if few <= left else 0
    lines = sum(bool(row.lines) for row in rows)
    return min(_AIR, max(0.0, left / max(1, lines)))


def _aired(block: Block, air: float) -> Block:
    if isinstance(block, Music | Picture):
        return block._replace(above=round(GAP + air, 2))
    return block


def footed(page: Page, sheet: Worksheet, *, answers: bool = False) -> Page:
    """Return a page with sheet number and version at its foot."""
    name = f"{sheet.footer} · answers" if answers else sheet.footer
    return page._replace(
        footer=name, title=f"{sheet.tune.title or 'Worksheet'}: {name}"
    )


def _head(sheet: Worksheet, page: Page) -> Iterator[_Pair]:
    what = sheet.order.kind.row.title
    under = f"{what} · {printed(sheet.key)} · version {sheet.version}"
    if sheet.asked:
        under = f"{under} · {step_told(sheet)}"
    if sheet.drill:
        keys = ", ".join(map(printed, sheet.order.keys))
        under = f"{AURAL_STEPS[sheet.order.step - 1].title} · {keys}"
    under = "\n".join(filter(None, [under, sheet.tune.origin]))
    title = Title(sheet.tune.title or "Worksheet", under, sheet.tune.composer)
    key = title._replace(text=f"{title.text}: answers")
    yield _Pair(title, key, Row(title_height(title, page)))
    yield _Pair(Blanks(), Blanks(), Row(6 * text_scale(page)))
    for text, manner in (
        (sheet.instruction, Lettering.INSTRUCTION),
        *([(sheet.example, Lettering.PLAIN)] if sheet.example else []),
    ):
        yield _same(Words(text, manner), page, stays=True)


def _same(words: Words, page: Page, *, stays: bool = False) -> _Pair:
    """Return a paragraph that both copies have."""
    return _Pair(words, words, Row(blocks_height([words], page), stays=stays))


def _total(sheet: Worksheet, page: Page) -> _Pair:
    return _same(Words("", Lettering.BOLD, f"Total      / {sheet.marks}"), page)


def _body(sheet: Worksheet, page: Page, setting: SheetSize) -> Iterator[_Pair]:
    look = music_look(page, margin_text=not sheet.planted, staff=setting.staff)
    for number in range(len(sheet.pieces)):
        yield from _piece(sheet, number, look, setting, page)
    for questions, answers in question_tables(sheet):
        yield _Pair(questions, answers, Row(table_height(questions, page)))
    if sheet.diagrams:
        marks = [item.marks for item in sheet.items]
        for strip in strips(sheet.diagrams, marks, look.width):
            yield _Pair(strip.sheet, strip.answers, Row(strip.sheet.height, lines=1))
    if sheet.planted:
        blank, solved = map(answer_table, fault_rows(sheet))
        height = max(table_height(table, page) for table in (blank, solved))
        yield _Pair(blank, solved, Row(height))


def _piece(
    sheet: Worksheet, number: int, look: Look, setting: SheetSize, page: Page
) -> Iterator[_Pair]:
    piece = sheet.pieces[number]
    if piece.heading:
        yield _same(Words(piece.heading, Lettering.BOLD), page, stays=True)
    # Where nothing is written in the music short lines always share one.
    full = setting.full or sheet.planted
    set_so = in_full_lines(piece, setting.bars) if full else piece
    blank, solutions = engraved(set_so, look, setting.bars)
    for system, solved in zip(blank, solutions, strict=True):
        inside = [int(name[1:]) for name in system.bars]
        first, *_, last = [
            piece.arrangement.tune.bars[bar] for bar in (*inside, inside[-1])
        ]
        marks = sum(
            item.marks
            for item in sheet.items
            if item.piece == number and first.start <= item.onset < last.end
        )
        asked = not sheet.planted
        margin = f"   / {marks}" if marks and asked else ""
        described = f"Bars {first.number} to {last.number}"
        yield _Pair(
            Music(system, described, margin),
            Music(solved, f"{described}, with answers", margin),
            Row(max(system.height, solved.height), lines=1),
        )
