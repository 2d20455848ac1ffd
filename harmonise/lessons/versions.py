"""From a tune to worksheets: one for each version, all of equal difficulty.

Versions A, B, C have the same task in other keys. A key is taken only if the numbers of
items, changes of chord, accidentals and signs of the key differ by no more than one
from those of every other version.
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import MelodyError
from harmonise.lessons import (  # noqa: F401 (they hang their makers on the kinds)
    aural_sheets,
    chord_sheets,
    fault_sheet,
    heard_sheets,
    shape_sheets,
)
from harmonise.lessons.aural_sheets import style_of_step
from harmonise.lessons.depths import at_depth
from harmonise.lessons.model import changes_in, model_of, opening, related_keys
from harmonise.lessons.sheet_parts import Answer, SheetItem, SheetPiece
from harmonise.lessons.worksheet import MAKERS, SheetKind, SheetOrder, Worksheet
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.key import Key, key_of_signature
from harmonise.theory.pitch import Pitch
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import Tune
from harmonise.theory.voicing import format_pitches

VERSIONS = "ABCDE"
"""Versions that can be had: more keys of equal difficulty there seldom are."""
MOST_KEYS = 3
"""Keys that a phrase is written in where the teacher names none."""
_SIGNS = ((1, -1, 1), (-1, 1, -1), (1, 1, -1), (-1, -1, 1), (1, -1, -1))
"""Sharps (1) or flats (-1) of the three keys in each version."""
_DRAWS = 10
"""How often places for the faults are drawn in a key."""


class Counts(NamedTuple):
    """What makes a sheet easy or hard.

    Attributes:
        items: Things to do.
        changes: Changes of chord.
        accidentals: Notes that the signature does not have.
        signs: Sharps or flats of the signatures.
    """

    items: int
    changes: int
    accidentals: int
    signs: int

    def near(self, other: "Counts") -> bool:
        """Whether no number differs by more than one."""
        return all(abs(a - b) <= 1 for a, b in zip(self, other, strict=True))


def counts_of(sheet: Worksheet) -> Counts:
    """Return how much a sheet asks for, in the numbers that have to agree."""
    if sheet.asked:
        # The items are drawn for each version, of the same step and kinds.
        return Counts(len(sheet.items), 0, 0, abs(sheet.key.fifths))
    if sheet.diagrams:
        # Each keyboard has its own chord, so there is a change at all but the first.
        pitches = [pitch for diagram in sheet.diagrams for pitch, _ in diagram.presses]
        foreign = sum(pitch.name not in sheet.key.scale for pitch in pitches)
        size = len(sheet.diagrams)
        return Counts(len(sheet.items), size - 1, foreign, abs(sheet.key.fifths))
    models = [piece.arrangement for piece in sheet.pieces]
    return Counts(
        len(sheet.items),
        sum(changes_in(model) for model in models),
        sum(_is_foreign(model, note.pitch) for model in models for note in model.notes),
        sum(abs(model.tune.key.fifths) for model in models),
    )


def _is_foreign(model: Arrangement, pitch: Pitch) -> bool:
    return pitch.name not in model.tune.key.scale


def make_sheets(
    tune: Tune, order: SheetOrder, versions: int = 1
) -> tuple[Worksheet, ...]:
    """Return a worksheet's versions A, B, C ..., all of equal difficulty.

    Args:
        tune: The tune, whole.
        order: What is asked for.
        versions: How many, as many as `VERSIONS` has letters at most.

    Raises:
        MelodyError: If the tune does not do for the sheet, or for so many versions.
    """
    start = opening(tune, order.bars)
    if order.kind is SheetKind.AURAL:
        order = order._replace(style=style_of_step(order))
    if order.kind is SheetKind.TRANSPOSE:
        sheets = [_transposing(start, order, number) for number in range(versions)]
    else:
        sheets = _in_keys(start, order, versions)
    return tuple(
        at_depth(sheet._replace(version=letter, home=start), order.depth)
        for sheet, letter in zip(sheets, VERSIONS, strict=False)
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
        tune,
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


def _transposing(tune: Tune, order: SheetOrder, number: int) -> Worksheet:
    targets = targets_of(tune.key, order, number)
    if not targets:
        raise MelodyError(
            f"The phrase stands in {tune.key} already.", None, "Name another key."
        )
    return transpose_sheet(tune, order, targets)


def _in_keys(tune: Tune, order: SheetOrder, versions: int) -> list[Worksheet]:
    """Return the sheets in as many keys as there are versions."""
    if order.keys:
        return _in_named_keys(tune, order, versions)
    sheets: list[Worksheet] = []
    for key in (tune.key, *related_keys(tune.key)):
        for sheet in _tried(tune, key, order, sheets):
            counts = counts_of(sheet)
            if all(counts.near(counts_of(other)) for other in sheets):
                sheets.append(sheet)
                break
        if len(sheets) == versions:
            return sheets
    count = f"{len(sheets)} versions" if len(sheets) > 1 else "one version"
    raise MelodyError(
        f"Only {count} of equal difficulty can be made of this tune.",
        None,
        f"Ask for {count}, or name keys for them.",
    )


def _tried(
    tune: Tune, key: Key, order: SheetOrder, earlier: list[Worksheet]
) -> Iterator[Worksheet]:
    """Yield the sheets that can be had in a key: one, or with faults in some places."""
    draws = _DRAWS if earlier and earlier[0].planted else 1
    for draw in range(draws):
        try:
            yield _sheet(tune, key, order, earlier, draw)
        except MelodyError:
            if not earlier:
                raise


def _in_named_keys(tune: Tune, order: SheetOrder, versions: int) -> list[Worksheet]:
    number = len(order.keys)
    named = "1 key is" if number == 1 else f"{number} keys are"
    if number < versions:
        raise MelodyError(
            f"{named} named for {versions} versions.",
            None,
            "Name a key for each version.",
        )
    sheets: list[Worksheet] = []
    for key in order.keys[:versions]:
        sheets.append(_sheet(tune, key, order, sheets))
    return sheets


def _sheet(
    tune: Tune, key: Key, order: SheetOrder, earlier: list[Worksheet], draw: int = 0
) -> Worksheet:
    """Return the sheet in a key; faults are of the same kinds as in version A."""
    moved = tune if key == tune.key else transposed(tune, key)
    model = model_of(moved, order.style)
    codes = tuple(fault.code for fault in earlier[0].planted) if earlier else ()
    drawn = order._replace(seed=order.seed + _DRAWS * draw, codes=codes)
    return MAKERS[order.kind](model, drawn)._replace(order=order)
