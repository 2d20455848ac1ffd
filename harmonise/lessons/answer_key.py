"""What an answer key has in words: every accepted answer, reasons, marks, slips."""

from harmonise.lessons.worksheet import SheetItem, Worksheet
from harmonise.notation.paper.blocks import Block, Lettering, Table, Words

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
    if not sheet.planted:
        blocks.append(_accepted(sheet))
    if sheet.comments:
        listed = "\n".join(f"– {text}" for text in sheet.comments)
        blocks += [
            Words(_weaker(sheet), Lettering.BOLD),
            Words(listed, Lettering.SMALL),
        ]
    slips = "\n".join(f"– {line}" for line in row.slips.splitlines())
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
    head = ["Place", *(["Given"] if given else []), "Right answer"]
    head += ["Why", "Marks"] if reasons else ["Marks"]
    rows = [tuple(head)]
    for item in sheet.items:
        for number, answer in enumerate(item.answers):
            first = number == 0
            row = [_place(item) if first else ""]
            row += [item.given if first else ""] if given else []
            row.append(answer.text if first else f"or {answer.text}")
            row += [answer.reason] if reasons else []
            row.append(_marks(item) if first else "")
            rows.append(tuple(row))
    widths = {3: (3, 8, 2), 4: (3, 3, 8, 2) if given else (3, 2.5, 9, 1.7)}
    return Table(tuple(rows), widths=widths.get(len(head), ()))


def _place(item: SheetItem) -> str:
    where = str(item.place)
    return where[:1].upper() + where[1:]


def _marks(item: SheetItem) -> str:
    return str(item.marks) if item.marks else "example"


def fault_rows(sheet: Worksheet) -> tuple[Rows, Rows]:
    """Return the table of faults as the pupil gets it and as the key has it."""
    head = ("", "Bar and beat", "What is wrong", "What is right", "Marks")
    filled = [head]
    for number, (item, fault) in enumerate(
        zip(sheet.items, sheet.planted, strict=True)
    ):
        name = f"{fault.name} ({fault.code}). " if number else f"{fault.name}. "
        what = f"{name[:1].upper()}{name[1:]}{fault.what}"
        row = (str(number or "ex."), _place(item), what, fault.remedy, _out_of(item))
        filled.append(row)
    room = (_WRITING_ROOM,) * 3
    blank = [
        row if number < 2 else (row[0], *room, row[4])
        for number, row in enumerate(filled)
    ]
    return tuple(blank), tuple(filled)


def _out_of(item: SheetItem) -> str:
    return f"   / {item.marks}" if item.marks else "–"


def answer_table(rows: Rows) -> Table:
    """Return the table of faults."""
    return Table(rows, widths=(0.8, 2.4, 6, 4.5, 1.6))
