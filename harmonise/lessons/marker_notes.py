"""What the key of a worksheet says in words: to the marker, and of planted faults.

Every accepted answer has its reason; the usual slips follow. It has a page of its own
unless it is short.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

from harmonise.lessons.aural_pages import for_the_marker, slips_of
from harmonise.lessons.page_breaks import (
    Breaks,
    Room,
    Row,
    blocks_height,
    page_breaks,
    room_of,
    table_rows,
)
from harmonise.lessons.sheet_parts import SheetItem
from harmonise.lessons.worksheet import Worksheet
from harmonise.notation.paper.blocks import (
    GAP,
    Block,
    Lettering,
    NewPage,
    Page,
    Table,
    Whole,
    Words,
)
from harmonise.notation.score.printed_labels import format_signs

Rows = tuple[tuple[str, ...], ...]

_DENSE = (1.3, 1.1, 0.9)
"""Millimetres between rules and text of a table in which nobody writes; less where that
saves a page."""
_CLOSE = 2.5
"""Millimetres between blocks where room is short, and under the head of a list."""
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
        listed = " ".join(map(format_signs, sheet.comments))
        blocks.append(Words(f"{_weaker(sheet)}: {listed}"))
    slips = slips_of(sheet) if sheet.asked else row.slips
    slips = "\n".join(f"– {line}" for line in slips.splitlines())
    heading = Words("Usual slips", Lettering.BOLD)
    # A list is read as one, and never torn.
    return (*blocks, Whole((heading, Words(slips)), _CLOSE, _CLOSE))


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
            rows.append(tuple(map(format_signs, row)))
    widths = {
        3: (3, 8, 2),
        4: (3, 3, 8, 2.3) if given else (3, 2.5, 9, 2.2),
        5: (3, 3, 3, 8, 2.2),
    }
    return Table(tuple(rows), widths=widths[len(head)], inset=_DENSE[0])


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
    filled: list[tuple[str, ...]] = [head]
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
        filled.append(tuple(map(format_signs, row)))
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
    return Table(rows, widths=(0.8, 2.3, 6.3, 4.6, 1.8))


def said_to_marker(sheet: Worksheet, page: Page) -> tuple[Block, ...]:
    """Return what is said to the marker: below the rest, on its own pages if much."""
    blocks = key_blocks(sheet)
    if not any(isinstance(block, Table) for block in blocks):
        return (Whole(blocks, between=_CLOSE),)
    return NewPage(), *_on_pages(blocks, page)


def _on_pages(blocks: Sequence[Block], page: Page) -> Iterator[Block]:
    """Yield blocks whose table is broken so that no few rows are left on a page."""
    ways = [_broken(blocks, inset, page) for inset in _DENSE]
    # The loosest table of those that need fewest pages.
    fewest = min(len(breaks.ends) for _, breaks in ways)
    parts, breaks = next(way for way in ways if len(way[1].ends) == fewest)
    for start, end in pairwise((0, *breaks.ends)):
        if start:
            yield NewPage()
        for table, group in groupby(parts[start:end], lambda part: part.head):
            inside = list(group)
            if table:
                rows = [row for part in inside for row in part.rows]
                yield table._replace(rows=(table.rows[0], *rows))
            else:
                yield from (part.block for part in inside if part.block)


class _NoteRow(NamedTuple):
    """What is said to the marker and never torn.

    Attributes:
        row: How it stands among the others.
        block: The block; None for a row of a table.
        head: The table that it is a row of; None for a block.
        rows: The row.
    """

    row: Row
    block: Block | None = None
    head: Table | None = None
    rows: tuple[tuple[str, ...], ...] = ()


def _broken(
    blocks: Sequence[Block], inset: float, page: Page
) -> tuple[list[_NoteRow], Breaks]:
    """Return blocks in parts, tables row by row, and where pages end."""
    parts: list[_NoteRow] = []
    heads = [0.0]
    for block in blocks:
        if isinstance(block, Table):
            table = block._replace(inset=inset)
            head, *heights = table_rows(table, page)
            heads.append(head)
            following = (*table.rows[2:], ("-",))
            for height, row, after in zip(
                heights, table.rows[1:], following, strict=True
            ):
                # Other answers stay with the first one.
                stays = not after[0]
                parts.append(_NoteRow(Row(height, stays=stays), None, table, (row,)))
        else:
            height = blocks_height((block,), page) + GAP
            stays = not isinstance(block, Whole)
            parts.append(_NoteRow(Row(height, stays=stays), block))
    # Every part has a gap below it, and the last one needs none.
    room = Room(room_of(page) - max(heads) + GAP, 0)
    return parts, page_breaks([part.row for part in parts], room)
