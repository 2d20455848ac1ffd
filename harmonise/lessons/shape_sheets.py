"""Sheets of the shapes of the right hand: to name, and to shade on keyboards.

A shape says which chord member is the lowest note of the right hand; it is not the
inversion of the harmony, which the left hand decides. Source: common practice.
"""

import re

from harmonise.lessons.model import (
    LABEL,
    LEFT,
    NOTES,
    chord_text,
    comments_on,
    hands,
    item_at,
    notes_answer,
    plain_chords,
    slots_of,
    solve_first,
    sounding,
)
from harmonise.lessons.sheet_parts import (
    Answer,
    Box,
    Diagram,
    SheetItem,
    SheetPiece,
)
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet, makes
from harmonise.notation.score.printed_labels import (
    format_numeral,
    format_position,
    format_symbol,
)
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Labels,
    Position,
    Slot,
    Voice,
)
from harmonise.theory.reach import with_fingers
from harmonise.theory.voicing import format_pitches, position_of

MOST_KEYBOARDS = 16
NONE = "–"
"""What stands where there is nothing to name."""

_STACK = re.compile("([⁰-⁹])([₀-₉])")
_TYPED = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹₀₁₂₃₄₅₆₇₈₉", "01234567890123456789")
"""Figures stand side by side in a box: a stack would be too small for pupils."""

_ASKED = {
    Labels.WORDS: "the shape of the right hand (root, first{}, or open where a note is "
    "doubled)",
    Labels.FIGURES: "the figures of the shape of the right hand ({})",
    Labels.LETTERS: "the letter of the shape of the right hand (a, b{})",
}
_SHAPES = {
    Labels.WORDS: (", second", ", second, third"),
    Labels.FIGURES: (
        "5/3, 6/3 or 6/4",
        "5/3, 6/3 or 6/4; in a seventh chord 7, 6/5, 4/3 or 4/2",
    ),
    Labels.LETTERS: (" or c", ", c or d"),
}
"""What there is to write, without and with seventh chords."""


def shape_label(model: Arrangement, slot: Slot, labels: Labels) -> str:
    """Return how the shape of the right hand is named where a slot begins.

    Returns:
        The name; "–" where fewer than three notes sound there, and for the figures or
        letter of an open shape, which has none.
    """
    notes = sounding(model, slot.onset)
    right = [note.pitch for note in notes if note.hand is Hand.RIGHT]
    if len(right) < 3 or slot.chord is None:
        return NONE
    position = position_of(slot.chord, right)
    if position is None or (position is Position.OPEN and labels is not Labels.WORDS):
        return NONE
    text = format_position(position, labels, len(slot.chord.members))
    return side_by_side(text) or NONE


def side_by_side(figures: str) -> str:
    """Return stacked figures as pupils write them.

    >>> side_by_side("⁶₃")
    '6/3'
    """
    return _STACK.sub(r"\1/\2", figures).translate(_TYPED)


def symbol_of(slot: Slot) -> str:
    """Return a slot's chord symbol with the signs that print has; "" for none."""
    return format_symbol(slot.chord) if slot.chord else ""


def shape_rows(labels: Labels) -> tuple[Labels, ...]:
    """Return the rows that name the shape: figures stand under words and letters."""
    return (labels,) if labels is Labels.FIGURES else (labels, Labels.FIGURES)


@makes(SheetKind.LABELS)
def label_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet on which all notes are given and chords are named (W2).

    A chord over which the tune begins with a foreign note is named on the sheet.
    """
    rows = shape_rows(order.labels)
    items: list[SheetItem] = []
    boxes: list[Box] = []
    plain = plain_chords(model)
    for slot in model.changes:
        asked = slot in plain
        names = [shape_label(model, slot, row) if asked else NONE for row in rows]
        texts = [symbol_of(slot), format_numeral(slot.numeral), *names]
        given = slot == plain[0] or not asked
        # The symbol stands above, all others below.
        boxes += [
            Box(slot.onset, text, above=row == 0, given=given or text == NONE)
            for row, text in enumerate(texts)
        ]
        if asked:
            written = [text for text in texts if text != NONE]
            answers = (Answer(" · ".join(written)),)
            items.append(item_at(slot, answers, LABEL * len(written)))
    sevenths = any(slot.chord and slot.chord.is_seventh for slot in plain)
    dashes = any(box.given and box.text == NONE for box in boxes)
    told = _instruction(order.labels, sevenths=sevenths)
    return Worksheet(
        order,
        model.tune,
        f"{told} A dash stands where there is none." if dashes else told,
        solve_first(tuple(items)),
        (SheetPiece(model, boxes=tuple(boxes), symbols=False),),
        comments=comments_on(model),
    )


def _instruction(labels: Labels, *, sevenths: bool) -> str:
    rows = [_ASKED[labels].format(_SHAPES[labels][sevenths])]
    if labels is not Labels.FIGURES:
        rows.append(f"its figures ({_SHAPES[Labels.FIGURES][sevenths]})")
    first = ", ".join(["the Roman numeral", *rows[:-1]])
    return (
        "Name each chord: write the chord symbol in the box above the music, and in "
        f"the boxes below {first} and {rows[-1]}."
    )


@makes(SheetKind.KEYBOARDS)
def keyboard_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet of blank keyboards to shade and letter (W6), no two alike."""
    fingered = model._replace(notes=with_fingers(model.notes))
    items, diagrams = [], []
    for number, slot in enumerate(_unlike(model)[:MOST_KEYBOARDS]):
        notes = sounding(fingered, slot.onset)
        tune = [note.pitch for note in notes if note.voice is Voice.TUNE]
        given = f"{chord_text(slot)}, tune {format_pitches(tune) or 'rests'}"
        right, left = hands(model, slot.onset)
        answers = (notes_answer(right, left),)
        items.append(item_at(slot, answers, NOTES + LEFT, given=given))
        presses = tuple((n.pitch, n.finger) for n in notes if n.hand is Hand.RIGHT)
        label = f"{number + 1}. {given}"
        diagrams.append(Diagram(label, presses, left or "rests", given=number == 0))
    return Worksheet(
        order,
        model.tune,
        "Shade the keys that the right hand plays with the tune note on top, write its "
        "letter on each, and write the left-hand note on the line below. The triangle "
        "marks middle C, C4.",
        solve_first(tuple(items)),
        diagrams=tuple(diagrams),
    )


def _unlike(model: Arrangement) -> list[Slot]:
    """Return the chords to shade; what both hands play at two of them differs.

    A chord that goes on under another tune note is another shape. Where too few are
    left all are taken, for a sheet needs something to do.
    """
    slots = plain_chords(model, slots_of(model))
    first = {hands(model, slot.onset): slot for slot in reversed(slots)}
    unlike = sorted(first.values(), key=lambda slot: slot.onset)
    return unlike if len(unlike) > 1 else list(slots)
