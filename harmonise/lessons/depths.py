"""Three depths of one sheet: support, core and stretch, with one key for all.

All have the same music, bars and numbering. Support gives every second answer. Stretch
gives none, not even the example, and asks for more: where chords are given each is
named too, and where pupils choose them no box tells where one changes.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby

from harmonise.lessons.model import LABEL
from harmonise.lessons.sheet_parts import Box, SheetItem, SheetPiece
from harmonise.lessons.worksheet import Depth, SheetKind, Worksheet
from harmonise.notation.score.printed_labels import format_numeral, format_symbol
from harmonise.theory.arrangement import Slot

_ASKED = {
    SheetKind.VOICES: "Write the chord symbol in the box above each chord too.",
    SheetKind.ACCOMPANY: "Write the Roman numeral in the box below each chord too.",
}
"""What stretch asks for besides, where the chords are given."""
_NO_BOX = "Nothing tells where the chord changes: write a symbol wherever it does."


def at_depth(sheet: Worksheet, depth: Depth) -> Worksheet:
    """Return a core sheet at another depth."""
    if depth is Depth.CORE:
        return sheet
    sheet = sheet._replace(order=sheet.order._replace(depth=depth))
    return _support(sheet) if depth is Depth.SUPPORT else _stretch(sheet)


def _support(sheet: Worksheet) -> Worksheet:
    """Return a sheet on which every second of the things to do is done."""
    asked = [number for number, item in enumerate(sheet.items) if item.marks]
    given = frozenset(asked[1::2])
    items = tuple(
        item._replace(marks=0) if number in given else item
        for number, item in enumerate(sheet.items)
    )
    pieces = tuple(
        _given_in(piece, [span for span, piece_of in _spans(sheet, given)
                          if piece_of == at])
        for at, piece in enumerate(sheet.pieces)
    )  # fmt: skip
    diagrams = tuple(
        diagram._replace(given=diagram.given or number in given)
        for number, diagram in enumerate(sheet.diagrams)
    )
    return sheet._replace(items=items, pieces=pieces, diagrams=diagrams)


def _spans(
    sheet: Worksheet, given: frozenset[int]
) -> Iterator[tuple[tuple[Fraction, Fraction], int]]:
    """Yield from where to where each given item goes, and its piece."""
    numbered = enumerate(sheet.items)
    for piece, rows in groupby(numbered, lambda row: row[1].piece):
        listed = [(number, item) for number, item in rows if not item.stays]
        last = sheet.pieces[piece].arrangement.tune.end if sheet.pieces else Fraction(0)
        ends = [*(item.onset for _, item in listed[1:]), last]
        for (number, item), end in zip(listed, ends, strict=True):
            if number in given:
                yield (item.onset, end), piece


def _given_in(piece: SheetPiece, spans: list[tuple[Fraction, Fraction]]) -> SheetPiece:
    """Return a piece with all that stands in some stretches."""
    notes = piece.arrangement.notes

    def inside(onset: Fraction) -> bool:
        return any(start <= onset < end for start, end in spans)

    hidden = frozenset(at for at in piece.hidden if not inside(notes[at].onset))
    boxes = tuple(
        box._replace(given=True) if inside(box.onset) and not box.key_only else box
        for box in piece.boxes
    )
    return piece._replace(hidden=hidden, boxes=boxes)


def _stretch(sheet: Worksheet) -> Worksheet:
    """Return a sheet without an example that asks for more."""
    kind = sheet.order.kind
    usual = max(item.marks for item in sheet.items)
    more = LABEL if kind in _ASKED else 0
    items = tuple(
        item if item.stays else _asked(item, usual, more) for item in sheet.items
    )
    words = [sheet.instruction]
    words += [_ASKED[kind]] if kind in _ASKED else []
    words += [_NO_BOX] if kind.row.chosen and any(p.boxes for p in sheet.pieces) else []
    pieces = tuple(_empty(sheet, number) for number in range(len(sheet.pieces)))
    diagrams = tuple(diagram._replace(given=False) for diagram in sheet.diagrams)
    return sheet._replace(
        items=items, pieces=pieces, diagrams=diagrams, instruction=" ".join(words)
    )


def _asked(item: SheetItem, usual: int, more: int) -> SheetItem:
    return item._replace(marks=(item.marks or usual) + more)


def _empty(sheet: Worksheet, number: int) -> SheetPiece:
    """Return a piece on which pupils write all that they are asked for."""
    piece, kind = sheet.pieces[number], sheet.order.kind
    # A first phrase that is given stays what it is.
    if not any(item.piece == number for item in sheet.items):
        return piece
    boxes = (
        tuple(
            box._replace(given=box.given and not box.ruled, key_only=kind.row.chosen)
            for box in piece.boxes
            if not box.key_only
        )
        or piece.boxes
    )
    slots = {slot.onset: slot for slot in piece.arrangement.slots}
    if kind in _ASKED:
        onsets = [item.onset for item in sheet.items if item.piece == number]
        boxes += tuple(_name_box(slots[onset], kind) for onset in onsets)
    hidden = piece.hidden | _of_example(sheet, number)
    return piece._replace(hidden=hidden, boxes=boxes)


def _name_box(slot: Slot, kind: SheetKind) -> Box:
    if kind is SheetKind.VOICES:
        symbol = format_symbol(slot.chord) if slot.chord else ""
        return Box(slot.onset, symbol, above=True)
    return Box(slot.onset, format_numeral(slot.numeral))


def _of_example(sheet: Worksheet, number: int) -> frozenset[int]:
    """Return the numbers of the notes of an example, where pupils write notes."""
    piece = sheet.pieces[number]
    if not piece.hidden:
        return frozenset()
    notes = piece.arrangement.notes
    voices = {notes[at].voice for at in piece.hidden}
    return frozenset(at for at, note in enumerate(notes) if note.voice in voices)
