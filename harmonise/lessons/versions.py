"""From a tune to worksheets: one for each version, all of equal difficulty.

Versions A, B, C have the same task in other keys. A key is taken only if the numbers of
items, changes of chord, accidentals and signs of the key differ by no more than one
from those of every other version.
"""

from collections.abc import Iterator
from typing import NamedTuple

from harmonise.errors import MelodyError
from harmonise.lessons.chord_sheets import accompany_sheet, choose_sheet, voices_sheet
from harmonise.lessons.fault_sheet import fault_sheet
from harmonise.lessons.label_sheet import label_sheet
from harmonise.lessons.model import changes_in, model_of, opening, related_keys
from harmonise.lessons.other_sheets import keyboard_sheet, targets_of, transpose_sheet
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import Tune

MOST_VERSIONS = 5
"""Versions that can be had: more keys of equal difficulty there seldom are."""
_LETTERS = "ABCDE"
_DRAWS = 10
"""How often places for the faults are drawn in a key."""

_MAKERS = {
    SheetKind.VOICES: voices_sheet,
    SheetKind.LABELS: label_sheet,
    SheetKind.ACCOMPANY: accompany_sheet,
    SheetKind.CHOOSE: choose_sheet,
    SheetKind.KEYBOARDS: keyboard_sheet,
}


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
    """Return the counts of a sheet."""
    if sheet.diagrams:
        pitches = [pitch for own in sheet.diagrams for pitch, _ in own.presses]
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
    """Return the versions of a worksheet.

    Args:
        tune: The tune, whole.
        order: What is asked for.
        versions: How many, 1 to `MOST_VERSIONS`.

    Raises:
        MelodyError: If the tune does not do for the sheet, or for so many versions.
    """
    start = opening(tune, order.bars)
    if order.kind is SheetKind.TRANSPOSE:
        found = [_transposing(start, order, number) for number in range(versions)]
    else:
        found = _in_keys(start, order, versions)
    return tuple(
        sheet._replace(version=letter)
        for sheet, letter in zip(found, _LETTERS, strict=False)
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
    found: list[Worksheet] = []
    for key in (tune.key, *related_keys(tune.key)):
        for sheet in _tried(tune, key, order, found):
            counts = counts_of(sheet)
            if all(counts.near(counts_of(other)) for other in found):
                found.append(sheet)
                break
        if len(found) == versions:
            return found
    count = f"{len(found)} versions" if len(found) > 1 else "one version"
    raise MelodyError(
        f"Only {count} of equal difficulty can be made of this tune.",
        None,
        f"Ask for {count}, or name keys for them.",
    )


def _tried(
    tune: Tune, key: Key, order: SheetOrder, found: list[Worksheet]
) -> Iterator[Worksheet]:
    """Yield the sheets that can be had in a key: one, or with faults in some places."""
    draws = _DRAWS if found and order.kind is SheetKind.FAULTS else 1
    for draw in range(draws):
        try:
            yield _sheet(tune, key, order, found, draw)
        except MelodyError:
            if not found:
                raise


def _in_named_keys(tune: Tune, order: SheetOrder, versions: int) -> list[Worksheet]:
    if len(order.keys) < versions:
        raise MelodyError(
            f"{len(order.keys)} keys are named for {versions} versions.",
            None,
            "Name a key for each version.",
        )
    found: list[Worksheet] = []
    for key in order.keys[:versions]:
        found.append(_sheet(tune, key, order, found))
    return found


def _sheet(
    tune: Tune, key: Key, order: SheetOrder, found: list[Worksheet], draw: int = 0
) -> Worksheet:
    """Return the sheet in a key; faults are of the same kinds as in version A."""
    moved = tune if key == tune.key else transposed(tune, key)
    model = model_of(moved, order.style)
    if order.kind is not SheetKind.FAULTS:
        return _MAKERS[order.kind](model, order)
    codes = tuple(fault.code for fault in found[0].planted) if found else ()
    return fault_sheet(model, order, order.seed + _DRAWS * draw, codes)
