"""The pages of a worksheet and of its answer key, with the same lines and page breaks.

Both are made together: a line of music breaks where either of them needs it, and a page
ends where the taller of the two is full. What the key has besides in words (every
accepted answer, its reason, the usual slips) follows on pages of its own.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import partial
from itertools import pairwise, repeat
from typing import NamedTuple

from harmonise.lessons.aural import AURAL_STEPS
from harmonise.lessons.aural_pages import (
    for_the_marker,
    played_blocks,
    question_tables,
    slips_of,
    step_told,
)
from harmonise.lessons.sheet_pictures import is_crowded, set_in_rows, strips
from harmonise.lessons.worksheet import Box, SheetItem, SheetPiece, Worksheet
from harmonise.notation.paper.blocks import (
    MARGIN,
    Blanks,
    Block,
    Lettering,
    Look,
    Music,
    NewPage,
    Page,
    System,
    Table,
    Title,
    Whole,
    Words,
    music_look,
    page_size,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.score.copies import ScoreCopy, copy_plan, text_width
from harmonise.notation.score.printed_labels import new_lines
from harmonise.notation.score.score_plan import ScoreBox, plan_score

Rows = tuple[tuple[str, ...], ...]

_WRITING_ROOM = " \n "
"""What makes a cell high enough to write in."""


def key_blocks(sheet: Worksheet) -> tuple[Block, ...]:
    """Return what follows the pages of a sheet in its key."""
    row = sheet.order.kind.row
    blocks: list[Block] = [
        Words("For the marker", Lettering.HEADING),
        Words(f"{row.marking} One slip costs once; a blank costs only its own marks."),
    ]
    if sheet.asked:
        blocks.append(Words(for_the_marker(sheet)))
    if not sheet.planted:
        blocks.append(_accepted(sheet))
    if sheet.comments:
        listed = "\n".join(f"– {text}" for text in sheet.comments)
        blocks += [
            Words(_weaker(sheet), Lettering.BOLD),
            Words(listed, Lettering.SMALL),
        ]
    slips = slips_of(sheet) if sheet.asked else row.slips
    slips = "\n".join(f"– {line}" for line in slips.splitlines())
    blocks.append(Table((("Usual slips",), (slips,)), widths=(1,)))
    return tuple(blocks)


def _weaker(sheet: Worksheet) -> str:
    if sheet.planted:
        return "Not planted, but a pupil may name it too"
    return "Weaker places of the model, which cost nothing"


def _accepted(sheet: Worksheet) -> Table:
    """Return the table of all accepted answers."""
    reasons = any(answer.reason for item in sheet.items for answer in item.answers)
    given = any(item.given for item in sheet.items)
    head = [
        "Question" if sheet.asked else "Place",
        *(["Given"] if given else []),
        "Right answer",
    ]
    head += ["Why", "Marks"] if reasons else ["Marks"]
    rows = [tuple(head)]
    for item in sheet.items:
        for number, answer in enumerate(item.answers):
            first = number == 0
            row = [_place(item, sheet) if first else ""]
            row += [item.given if first else ""] if given else []
            row.append(answer.text if first else f"or {answer.text}")
            row += [answer.reason] if reasons else []
            row.append(_marks(item) if first else "")
            rows.append(tuple(row))
    widths = {3: (3, 8, 2), 4: (3, 3, 8, 2) if given else (3, 2.5, 9, 1.7)}
    return Table(tuple(rows), widths=widths.get(len(head), ()))


def _place(item: SheetItem, sheet: Worksheet) -> str:
    if sheet.asked:
        return str(item.place.bar)
    where = str(item.place)
    return where[:1].upper() + where[1:]


def _marks(item: SheetItem) -> str:
    if item.stays:
        return "–"
    return str(item.marks) if item.marks else "example"


def fault_rows(sheet: Worksheet) -> tuple[Rows, Rows]:
    """Return the table of faults as the pupil gets it and as the key has it."""
    head = ("", "Bar and beat", "What is wrong", "What is right", "Marks")
    filled = [head]
    # Where nothing is told the first one counts like the others.
    asked = bool(sheet.items[0].marks)
    for number, (item, fault) in enumerate(
        zip(sheet.items, sheet.planted, strict=True)
    ):
        name = f"{fault.name}. "
        what = f"{name[:1].upper()}{name[1:]}{fault.what}"
        row = (
            str(number + asked or "ex."),
            _place(item, sheet),
            what,
            fault.remedy,
            _out_of(item),
        )
        filled.append(row)
    room = (_WRITING_ROOM,) * 3
    given = [True, *(not item.marks for item in sheet.items)]
    blank = [
        row if told else (row[0], *room, row[4])
        for row, told in zip(filled, given, strict=True)
    ]
    return tuple(blank), tuple(filled)


def _out_of(item: SheetItem) -> str:
    return f"   / {item.marks}" if item.marks else "–"


def answer_table(rows: Rows) -> Table:
    """Return the table in which a pupil writes faults, wide where sentences go."""
    return Table(rows, widths=(0.8, 2.4, 6, 4.5, 1.6))


STAFF = 8
"""Height of a staff in millimetres, for learners."""
_SMALL = 5.5
"""Height of a staff of what a teacher plays, the least that is printed."""
MOST_STAVES = 5
"""Grand staves on a page at most."""
_FOOT = 20
"""Millimetres at the foot of a page."""
_FREE, _TIGHT = 1.2, 0.4
"""Room in a box besides what stands in it, in letters' sizes: for a pupil's larger
hand, and for print alone."""
_MOST_BARS = 4
_INSET = 2
"""Millimetres between the rules of a table and its text."""
_SPACING = 4
"""Millimetres between blocks."""


class Copies(NamedTuple):
    """The two copies of a worksheet.

    Attributes:
        sheet: Blocks of the pupil's sheet.
        answers: Blocks of the answer key.
    """

    sheet: tuple[Block, ...]
    answers: tuple[Block, ...]


class _Row(NamedTuple):
    """One block on both copies.

    Attributes:
        sheet: As the pupil gets it.
        answers: As the key shows it.
        height: Millimetres of the taller one.
        staves: Whether it is a line of music.
        stays: Whether it stands on one page with the row after it.
    """

    sheet: Block
    answers: Block
    height: float
    staves: bool = False
    stays: bool = False


def copies_of(sheet: Worksheet, page: Page) -> Copies:
    """Return worksheet and answer key as blocks.

    Args:
        sheet: What they say.
        page: The page that they are set on.
    """
    *items, last = _body(sheet, page)
    rows = [*_head(sheet, page), *items, last._replace(stays=True), _total(sheet, page)]
    pages = list(_paged(rows, page))
    body = tuple(row if isinstance(row, NewPage) else row.sheet for row in pages)
    key = tuple(row if isinstance(row, NewPage) else row.answers for row in pages)
    marker = key_blocks(sheet)
    played = played_blocks(sheet, music_look(page, staff=_SMALL)) if sheet.asked else ()
    return Copies(body, (*key, *_apart(marker, page), *played))


_FEW_LINES = 6
"""So little is said to the marker that it needs no page of its own."""


def _apart(blocks: Sequence[Block], page: Page) -> tuple[Block, ...]:
    """Return what is said to the marker: on a page of its own if it is much."""
    texts = [block.text for block in blocks if isinstance(block, Words)]
    cells = [
        row[0] for block in blocks if isinstance(block, Table) for row in block.rows
    ]
    line = 4.5 * _scale(page)
    lines = sum(_height(text, page) for text in (*texts, *cells)) / line
    short = lines - 2 <= _FEW_LINES and all(
        len(block.widths) < 2 for block in blocks if isinstance(block, Table)
    )
    return (Whole(tuple(blocks)),) if short else (NewPage(), *blocks)


def footed(page: Page, sheet: Worksheet, *, answers: bool = False) -> Page:
    """Return a page with sheet number and version at its foot."""
    name = f"{sheet.footer} · answers" if answers else sheet.footer
    return page._replace(
        footer=name, title=f"{sheet.tune.title or 'Worksheet'}: {name}"
    )


def _head(sheet: Worksheet, page: Page) -> Iterator[_Row]:
    scale = _scale(page)
    kind = sheet.order.kind
    under = f"{kind.code} · {sheet.key} · version {sheet.version}"
    if sheet.asked:
        under = f"{under} · {step_told(sheet)}"
    if sheet.drill:
        keys = ", ".join(map(str, sheet.order.keys))
        under = f"{AURAL_STEPS[sheet.order.step - 1].title} · {keys}"
    under = "\n".join(filter(None, [under.replace("#", "♯"), sheet.tune.origin]))
    title = Title(sheet.tune.title or "Worksheet", under, sheet.tune.composer)
    key = title._replace(text=f"{title.text}: answers")
    yield _Row(title, key, 17 * scale)
    yield _Row(Blanks(), Blanks(), 6 * scale)
    for text, manner in (
        (sheet.instruction, Lettering.INSTRUCTION),
        *([(sheet.example, Lettering.PLAIN)] if sheet.example else []),
    ):
        words = Words(text, manner)
        yield _Row(words, words, _height(text, page), stays=True)


def _total(sheet: Worksheet, page: Page) -> _Row:
    words = Words("", Lettering.BOLD, f"Total      / {sheet.marks}")
    return _Row(words, words, 6 * _scale(page))


def _scale(page: Page) -> float:
    return 1.35 if page.large_print else 1


def _height(text: str, page: Page, width: float = 0) -> float:
    """Return the height of a paragraph, rather too much than too little.

    Args:
        text: The paragraph.
        page: Its page.
        width: Its width in millimetres; 0 for the page's whole text.
    """
    scale = _scale(page)
    letters = int((width or page_size(page)[0] - 2 * MARGIN) / (1.7 * scale))
    lines = sum(1 + len(line) // max(1, letters) for line in text.split("\n"))
    return 4.5 * scale * lines


def _table_height(table: Table, page: Page) -> float:
    room = page_size(page)[0] - 2 * MARGIN
    widths = [room * width / sum(table.widths) - 2 * _INSET for width in table.widths]
    return sum(
        max(map(_height, row, repeat(page), widths)) + 2 * _INSET for row in table.rows
    )


def _paged(rows: Sequence[_Row], page: Page) -> Iterator[_Row | NewPage]:
    """Yield rows with a new page wherever the next one has no room."""
    room = page_size(page)[1] - MARGIN - _FOOT
    used, staves = 0.0, 0
    for at, row in enumerate(rows):
        need = row.height
        # A heading goes with what it heads, and the last item with the sum.
        for before, after in zip(rows[at:], rows[at + 1 :], strict=False):
            if not before.stays:
                break
            need += _SPACING + after.height
        full = row.staves and staves == MOST_STAVES
        if used and (full or used + need > room):
            yield NewPage()
            used, staves = 0.0, 0
        yield row
        used += row.height + _SPACING
        staves += row.staves


def _body(sheet: Worksheet, page: Page) -> Iterator[_Row]:
    look = music_look(page, margin_text=not sheet.planted, staff=STAFF)
    for number, piece in enumerate(sheet.pieces):
        fuller = in_full_lines(piece) if sheet.planted else piece
        yield from _piece(sheet, number, fuller, look, page)
    for blank, solved in question_tables(sheet):
        yield _Row(blank, solved, _table_height(blank, page))
    if sheet.diagrams:
        marks = [item.marks for item in sheet.items]
        for strip in strips(sheet.diagrams, marks, look.width):
            yield _Row(strip.sheet, strip.answers, strip.sheet.height)
    if sheet.planted:
        empty, filled = fault_rows(sheet)
        blank, solved = answer_table(empty), answer_table(filled)
        height = max(_table_height(table, page) for table in (blank, solved))
        yield _Row(blank, solved, height)


def in_full_lines(piece: SheetPiece) -> SheetPiece:
    """Return a piece whose short lines share one, for nothing is written in it."""
    tune = piece.arrangement.tune
    ends: list[Fraction] = []
    start = Fraction(0)
    for before, end in pairwise((*tune.phrases, tune.end)):
        full = [bar for bar in tune.bars if start <= bar.start < end and not bar.offset]
        if len(full) > _MOST_BARS:
            ends.append(before)
            start = before
    tune = tune._replace(phrases=(*ends, tune.end))
    return piece._replace(arrangement=piece.arrangement._replace(tune=tune))


def _piece(
    sheet: Worksheet, number: int, piece: SheetPiece, look: Look, page: Page
) -> Iterator[_Row]:
    if piece.heading:
        words = Words(piece.heading, Lettering.BOLD)
        yield _Row(words, words, 6 * _scale(page), stays=True)
    blank, full = engraved(piece, look)
    for system, solved in zip(blank, full, strict=True):
        inside = [int(name[1:]) for name in system.bars]
        bars = [piece.arrangement.tune.bars[bar] for bar in inside]
        marks = sum(
            item.marks
            for item in sheet.items
            if item.piece == number and bars[0].start <= item.onset < bars[-1].end
        )
        asked = not sheet.planted
        margin = f"   / {marks}" if marks and asked else ""
        described = f"Bars {bars[0].number} to {bars[-1].number}"
        yield _Row(
            Music(system, described, margin),
            Music(solved, f"{described}, with answers", margin),
            max(system.height, solved.height),
            staves=not piece.tune_only,
        )


def engraved(
    piece: SheetPiece, look: Look
) -> tuple[tuple[System, ...], tuple[System, ...]]:
    """Return the lines of a piece, blank and solved, broken at the same bars.

    A line has four bars at most, and fewer where boxes would be in each other's way.
    """
    bars, to_write = (
        _MOST_BARS,
        any(box.ruled and not box.key_only for box in piece.boxes),
    )
    crowded = partial(is_crowded, to_write=to_write)
    pair = _broken_alike(piece, look, line_starts(piece, bars))
    while bars > 1 and any(map(crowded, (*pair[0], *pair[1]))):
        bars -= 1
        pair = _broken_alike(piece, look, line_starts(piece, bars))
    in_rows = partial(set_in_rows, to_write=to_write)
    blank, solved = (tuple(map(in_rows, systems)) for systems in pair)
    return blank, solved


def _broken_alike(
    piece: SheetPiece, look: Look, lines: frozenset[int]
) -> tuple[tuple[System, ...], tuple[System, ...]]:
    plan, room = plan_score(piece.arrangement), _room(piece)
    while True:
        blank = copy_plan(plan, _copy(piece, room, lines, answers=False))
        solved = copy_plan(plan, _copy(piece, room, lines, answers=True))
        pair = engrave_plan(blank, look), engrave_plan(solved, look)
        starts = [{int(system.bars[0][1:]) for system in systems} for systems in pair]
        if starts[0] == starts[1]:
            return pair
        # Where either copy broke, both break, until neither has to any more.
        lines = frozenset(starts[0] | starts[1]) - {0}


def _room(piece: SheetPiece) -> float:
    """Return the width of the boxes of a piece, in letters' sizes."""
    widths = [text_width(box.text) for box in piece.boxes if box.ruled]
    asked = any(not box.key_only for box in piece.boxes)
    return max(widths, default=0.0) + (_FREE if asked else _TIGHT)


def line_starts(piece: SheetPiece, most: int) -> frozenset[int]:
    """Return the numbers of the bars that begin a line, the first one aside.

    The lines of a phrase get nearly the same number of bars.

    Args:
        piece: The piece.
        most: Full bars of a line at most.
    """
    tune = piece.arrangement.tune
    edges = sorted({0, *new_lines(tune), len(tune.bars)})
    starts = set(edges[:-1])
    for start, end in pairwise(edges):
        full = [at for at in range(start, end) if not tune.bars[at].offset]
        count = max(1, -(-len(full) // most))
        starts |= {full[len(full) * n // count] for n in range(1, count)}
    return frozenset(starts - {0})


def _copy(
    piece: SheetPiece, room: float, lines: frozenset[int], *, answers: bool
) -> ScoreCopy:
    boxes = [box for box in piece.boxes if answers or not box.key_only]
    return ScoreCopy(
        frozenset() if answers else piece.hidden,
        tuple(_frame(box, room, answers=answers) for box in boxes),
        piece.ties if answers else (),
        piece.shows_symbols(answers=answers),
        piece.tune_only,
        lines,
    )


def _frame(box: Box, room: float, *, answers: bool) -> ScoreBox:
    text = box.text if answers or box.given else ""
    return ScoreBox(box.onset, text, room, box.above, box.ruled)
