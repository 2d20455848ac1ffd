"""Sheets of a tune that is heard with its chords: their numerals, or the bass."""

from fractions import Fraction
from itertools import pairwise

from harmonise.errors import MelodyError
from harmonise.lessons.aural import TIMES
from harmonise.lessons.model import (
    LABEL,
    LEFT,
    hands,
    item_at,
    solve_first,
    sounding,
    to_write,
    tune_alone,
)
from harmonise.lessons.sheet_parts import Answer, Box, SheetPiece
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet, makes
from harmonise.notation.score.printed_labels import format_numeral
from harmonise.notation.sound.stretches import REPEATS, WRITING
from harmonise.theory.arrangement import Arrangement, Hand, Slot, Voice


@makes(SheetKind.HEAR)
def hearing_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives the tune and asks which chords are heard (W10).

    A chord that cannot be told by ear from another one of the sheet is given.
    """
    asked = [slot for slot in model.changes if is_unique_by_ear(model, slot)]
    items = tuple(item_at(slot, (Answer(slot.numeral),), LABEL) for slot in asked)
    if len(items) < 2:
        raise MelodyError(
            "Fewer than two chords of this tune can be told by ear.",
            None,
            "Ask for more bars or another level.",
        )
    boxes = tuple(
        Box(
            slot.onset,
            format_numeral(slot.numeral),
            above=True,
            given=slot is asked[0] or slot not in asked,
        )
        for slot in model.changes
    )
    return Worksheet(
        order,
        model.tune,
        f"{lines_heard(model)} Hear the bass first, then the whole chord, and write "
        "its Roman numeral in the box.",
        solve_first(items),
        (tune_alone(model, boxes),),
    )


@makes(SheetKind.BASS)
def bass_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives the tune and asks for the bass heard (W12)."""
    outer = tuple(note for note in model.notes if note.voice is not Voice.INNER)
    struck = {note.onset for note in outer if note.hand is Hand.LEFT}
    chords = [slot for slot in model.changes if slot.onset in struck]
    if len(chords) < 2:
        raise MelodyError(
            "Fewer than two bass notes are heard in this tune.",
            None,
            "Ask for more bars or another level.",
        )
    heard = model._replace(notes=outer)
    items = tuple(
        item_at(slot, (Answer(f"left hand {hands(heard, slot.onset)[1]}"),), LEFT)
        for slot in chords
    )
    return Worksheet(
        order,
        model.tune,
        f"{lines_heard(model)} Write the bass note of each chord on the lower staff.",
        solve_first(items),
        (SheetPiece(heard, to_write(heard, chords[1].onset), symbols=False),),
    )


def lines_heard(model: Arrangement) -> str:
    """Return in sentences how the recordings are heard, and what each has."""
    tune = model.tune
    edges = sorted({Fraction(0), *tune.phrases, tune.end})
    told: list[str] = []
    for number, (start, end) in enumerate(pairwise(edges), 1):
        bars = [bar for bar in tune.bars if start <= bar.start < end and not bar.offset]
        if bars:
            last = f"–{bars[-1].number}" if len(bars) > 1 else ""
            what = "bars " if last and not told else "" if told else "bar "
            told.append(f"line {number}: {what}{bars[0].number}{last}")
    return (
        f"Listen: each line is played {TIMES[REPEATS]}, with {WRITING:g} seconds after "
        f"each to write ({', '.join(told)})."
    )


def is_unique_by_ear(model: Arrangement, slot: Slot) -> bool:
    """Whether what sounds with a chord fits no other chord of the piece.

    The bass decides where one chord alone has it; else, as between V and V7, every note
    of the chord has to sound while it lasts, and no chord of the same bass may have all
    of those and more without being heard.
    """
    if slot.chord is None or not slot.numeral:
        return False
    notes = [
        note
        for note in model.notes
        if slot.onset <= note.onset < slot.end and note.voice is not Voice.TUNE
    ]
    if not any(note.hand is Hand.LEFT for note in notes):
        return False
    rivals = {
        other.chord
        for other in model.changes
        if other.chord and other.chord.bass == slot.chord.bass
    }
    heard = {note.pitch.pitch_class for note in sounding(model, slot.onset)}
    return len(rivals) == 1 or heard == set(slot.chord.pitch_classes)
