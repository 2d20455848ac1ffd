"""Two sheets apart: keyboards to shade, and a phrase to write in other keys."""

from fractions import Fraction

from harmonise.errors import MelodyError
from harmonise.lessons.model import (
    LEFT,
    NOTES,
    chord_text,
    item_at,
    notes_answer,
    plain_chords,
    solve_first,
    sounding,
)
from harmonise.lessons.worksheet import (
    Answer,
    Diagram,
    SheetItem,
    SheetOrder,
    SheetPiece,
    Worksheet,
)
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.fingering import with_fingers
from harmonise.theory.key import Key, key_of_signature
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import Tune
from harmonise.theory.voicing import format_pitches

MOST_KEYBOARDS = 16
MOST_KEYS = 3
"""Keys that a phrase is written in where the teacher names none."""
_SIGNS = ((1, -1, 1), (-1, 1, -1), (1, 1, -1), (-1, -1, 1), (1, -1, -1))
"""Sharps (1) or flats (-1) of the three keys in each version."""


def keyboard_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet of blank keyboards to shade and letter (W6)."""
    fingered = model._replace(notes=with_fingers(model.notes))
    chords = plain_chords(model)[:MOST_KEYBOARDS]
    items = tuple(
        item_at(
            slot,
            (notes_answer(model, slot),),
            NOTES + LEFT,
            given=f"{chord_text(slot)}, tune {_top(fingered, slot)}",
        )
        for slot in chords
    )
    diagrams = tuple(
        _diagram(fingered, slot, number) for number, slot in enumerate(chords)
    )
    return Worksheet(
        order,
        "A",
        model.tune.title,
        model.tune.origin,
        model.tune.key,
        "Shade the keys that the right hand plays with the tune note on top, write its "
        "letter on each, and write the left-hand note on the line below.",
        solve_first(items),
        diagrams=diagrams,
    )


def _top(arrangement: Arrangement, slot: Slot) -> str:
    notes = sounding(arrangement, slot.onset)
    tune = [note.pitch for note in notes if note.voice is Voice.TUNE]
    return format_pitches(tune) or "rests"


def _diagram(arrangement: Arrangement, slot: Slot, number: int) -> Diagram:
    notes = sounding(arrangement, slot.onset)
    right = [note for note in notes if note.hand is Hand.RIGHT]
    left = [note.pitch for note in notes if note.hand is Hand.LEFT]
    return Diagram(
        f"{number + 1}. {chord_text(slot)}, tune {_top(arrangement, slot)}",
        tuple((note.pitch, note.finger) for note in right),
        format_pitches(left) or "rests",
        given=number == 0,
    )


def transpose_sheet(
    tune: Tune, order: SheetOrder, targets: tuple[Key, ...]
) -> Worksheet:
    """Return the sheet that asks for one phrase in other keys (W7).

    Args:
        tune: The phrase in its first key.
        order: What was asked for.
        targets: The keys to write it in.

    Raises:
        MelodyError: If there is only one bar.
    """
    pieces = [_phrase(tune, f"Given: {_named(tune.key)}", blank=False)]
    items: list[SheetItem] = []
    for number, key in enumerate(targets, 1):
        moved = transposed(tune, key)
        pieces.append(_phrase(moved, f"{number}. {_named(key)}", blank=True))
        items += _bars(moved, number)
    if not any(item.marks for item in items):
        raise MelodyError(
            "This phrase is over after its first bar, which is the example.",
            None,
            "Ask for more bars.",
        )
    return Worksheet(
        order,
        "A",
        tune.title,
        tune.origin,
        tune.key,
        "Write the phrase in each of the other keys; the signature and the notes of "
        "the first bar are given.",
        tuple(items),
        tuple(pieces),
    )


def _named(key: Key) -> str:
    name = str(key.tonic)
    return f"{name.replace('#', '♯').replace('b', '♭')} {key.mode.value}"


def _phrase(tune: Tune, heading: str, *, blank: bool) -> SheetPiece:
    notes = tuple(
        SoundingNote(note.onset, note.length, note.pitch, Hand.RIGHT, Voice.TUNE)
        for note in tune.sounding
        if note.pitch
    )
    alone = Slot(tune.place(Fraction(0)), Fraction(0), tune.end, tune.key, None)
    example = _example_end(tune)
    hidden = frozenset(n for n, note in enumerate(notes) if note.onset >= example)
    return SheetPiece(
        Arrangement(tune, Style(numerals=False), (alone,), notes),
        hidden if blank else frozenset(),
        symbols=False,
        tune_only=True,
        heading=heading,
    )


def _example_end(tune: Tune) -> Fraction:
    """Return the end of the first full bar, which is given."""
    return next((bar.end for bar in tune.bars if bar.number > 0), tune.end)


def _bars(tune: Tune, piece: int) -> list[SheetItem]:
    """Return an item a bar, those of the first full bar and its pickup solved."""
    items = []
    for bar in tune.bars:
        notes = [n for n in tune.sounding if bar.start <= n.onset < bar.end]
        if not notes:
            continue
        text = format_pitches([note.pitch for note in notes if note.pitch])
        solved = bar.end <= _example_end(tune)
        place = tune.place(bar.start)._replace(beat=None)
        given = f"{_named(tune.key)}"
        marks = 0 if solved else 1
        items.append(SheetItem(place, bar.start, piece, (Answer(text),), marks, given))
    return items


def targets_of(key: Key, order: SheetOrder, version: int) -> tuple[Key, ...]:
    """Return the keys that a version of the transposing sheet asks for.

    Where the teacher names none, every version has keys with the same three numbers of
    sharps or flats, and another mixture of sharps and flats.

    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.lessons.worksheet import SheetKind
    >>> order, home = SheetOrder(SheetKind.TRANSPOSE), parse_key("C")
    >>> [str(key.tonic) for key in targets_of(home, order, 1)]
    ['F', 'D', 'Eb']
    """
    if order.keys:
        return tuple(target for target in order.keys if target != key)
    sizes = [size for size in range(1, 6) if size != abs(key.fifths)][:MOST_KEYS]
    return tuple(
        key_of_signature(sign * size, key.mode)
        for sign, size in zip(_SIGNS[version], sizes, strict=True)
    )
