"""What the key of a worksheet says in words: to the marker, and of planted faults.

Every accepted answer has its reason; the usual slips follow. It has a page of its own
unless it is short.
"""

from collections.abc import Sequence

from harmonise.lessons.aural_pages import for_the_marker, slips_of
from harmonise.lessons.page_breaks import text_lines
from harmonise.lessons.worksheet import SheetItem, Worksheet
from harmonise.notation.paper.blocks import (
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

_DENSE = 1.3
"""Millimetres between rules and text of a table in which nobody writes."""
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
    blocks.append(Table((("Usual slips",), (slips,)), widths=(1,), inset=_DENSE))
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
            rows.append(tuple(map(format_signs, row)))
    widths = {3: (3, 8, 2), 4: (3, 3, 8, 2.3) if given else (3, 2.5, 9, 2.2)}
    return Table(tuple(rows), widths=widths.get(len(head), ()), inset=_DENSE)


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


_FEW_LINES = 6
"""So little is said to the marker that it needs no page of its own."""


def apart(blocks: Sequence[Block], page: Page) -> tuple[Block, ...]:
    """Return what is said to the marker: on a page of its own if it is much."""
    texts = [block.text for block in blocks if isinstance(block, Words)]
    cells = [
        row[0] for block in blocks if isinstance(block, Table) for row in block.rows
    ]
    # A heading and the head of the slips are no lines of their own.
    lines = sum(text_lines(text, page) for text in (*texts, *cells)) - 2
    short = lines <= _FEW_LINES and all(
        len(block.widths) < 2 for block in blocks if isinstance(block, Table)
    )
    return (Whole(tuple(blocks)),) if short else (NewPage(), *blocks)
