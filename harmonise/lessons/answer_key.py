"""What an answer key has in words: every accepted answer, reasons, marks, slips."""

from harmonise.lessons.worksheet import SheetItem, SheetKind, Worksheet
from harmonise.notation.paper.blocks import Block, Lettering, Table, Words

Rows = tuple[tuple[str, ...], ...]

_ANY_OCTAVE = "The root is right in any octave below the right hand."
_MARKING = {
    SheetKind.VOICES: "Each chord: notes of the right hand 2, left hand 1, joining 1. "
    "Judge each chord from the one that the pupil has before it. " + _ANY_OCTAVE,
    SheetKind.LABELS: "Each box: 1.",
    SheetKind.ACCOMPANY: "Each chord: notes of the right hand 2, left hand 1, joining "
    "1. Chords may be struck again within a bar, as the model does. " + _ANY_OCTAVE,
    SheetKind.CHOOSE: "Each box: chord 1, notes of the right hand 2, left hand 1, "
    "joining 1. Judge the notes by the chord that the pupil chose. " + _ANY_OCTAVE,
    SheetKind.FAULTS: "Each fault: place 1, name 1, what is right 1.",
    SheetKind.KEYBOARDS: "Each keyboard: keys and letters 2, left-hand note 1.",
    SheetKind.TRANSPOSE: "Each bar: 1.",
}
SLIPS = {
    SheetKind.VOICES: """\
A note that both chords share is moved; it stays in its voice (the line in the key) \
where a close shape allows it.
The whole hand slides in one shape, which makes parallel fifths.
In a minor key the raised seventh of V is missing.""",
    SheetKind.LABELS: """\
The shape of the right hand is taken for the inversion of the chord: with the root in \
the left hand the chord is in root position.
The tune note is taken for the root of the chord.
A capital numeral is written for a minor chord, or a small one for a major chord.""",
    SheetKind.ACCOMPANY: """\
The tune ends up in the middle: no note of the right hand may lie above it.
The lowest note of the right hand is written in the left hand instead of the root.
A note that both chords share is moved although it could stay.""",
    SheetKind.CHOOSE: """\
The chord does not have the tune note on the strong beat.
V goes back to IV.
The chord changes on a weak beat and stays over the bar line.
The last chord is not the tonic.""",
    SheetKind.FAULTS: """\
The place is right but the fault is only called "wrong": its name earns the second mark.
The shape of the right hand is taken for a wrong inversion of the chord.
A passing note of the tune is taken for a wrong note.""",
    SheetKind.KEYBOARDS: """\
The tune note is not the highest key.
A key next to the right one is shaded, mostly beside a black key.
A black key is lettered by its other name.""",
    SheetKind.TRANSPOSE: """\
One note is left where it was in the first key.
An accidental is copied as it stands: a raised note is raised in every key, by a sharp \
or by a natural.
A leap is a third or a fifth out.""",
}
"""What pupils usually get wrong, a line each."""
_WRITING_ROOM = " \n "
"""What makes a cell high enough to write in."""


def key_blocks(sheet: Worksheet) -> tuple[Block, ...]:
    """Return what follows the pages of a sheet in its key."""
    blocks: list[Block] = [
        Words("For the marker", Lettering.HEADING),
        Words(f"{_MARKING[sheet.order.kind]} One slip costs once; a blank costs only "
              "its own marks."),
    ]  # fmt: skip
    if sheet.order.kind is not SheetKind.FAULTS:
        blocks.append(_accepted(sheet))
    if sheet.comments:
        listed = "\n".join(f"– {text}" for text in sheet.comments)
        blocks += [
            Words(_weaker(sheet), Lettering.BOLD),
            Words(listed, Lettering.SMALL),
        ]
    slips = "\n".join(f"– {line}" for line in SLIPS[sheet.order.kind].splitlines())
    blocks.append(Table((("Usual slips",), (slips,)), widths=(1,)))
    return tuple(blocks)


def _weaker(sheet: Worksheet) -> str:
    if sheet.order.kind is SheetKind.FAULTS:
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
