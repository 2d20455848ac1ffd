"""Sheets on which pupils write chords: under a tune, or from numerals."""

from fractions import Fraction

from harmonise.choice.free import free_voicings
from harmonise.lessons.drill_makers import DrillStep, score
from harmonise.lessons.model import (
    JOIN,
    LABEL,
    LEFT,
    NOTES,
    chord_text,
    comments_on,
    hands,
    item_at,
    notes_answer,
    slots_of,
    solve_first,
    to_write,
    tune_alone,
)
from harmonise.lessons.shape_sheets import symbol_of
from harmonise.lessons.sheet_parts import Answer, Box, SheetPiece
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet, makes
from harmonise.notation.score.printed_labels import format_numeral
from harmonise.rules.table import RULES, check
from harmonise.theory.arrangement import (
    Alternative,
    Arrangement,
    Hand,
    LeftHand,
    Slot,
    Style,
)
from harmonise.theory.chord import Chord
from harmonise.theory.motion import least_motion, motion, parallels
from harmonise.theory.numerals import NumberedChord
from harmonise.theory.voicing import (
    Voicing,
    format_pitches,
    over_bass,
    position_of,
    positions,
)

MOST_CHORDS = 16
"""Longest progression of a sheet: two lines of four bars."""
_HALF = Fraction(2)
_NO_TEMPO = Fraction(60)
"""The page shows none."""
_OF_STEPS = tuple(rule for rule in RULES if rule.code in ("H02", "H07", "H12"))
"""Rules by which a chord is right or wrong for what stands beside it."""
_OF_CHOICE = ("H02", "H05", "H07", "H12", "H23")
"""Rules of which chord is chosen where, whatever the hands play."""


@makes(SheetKind.ACCOMPANY)
def accompany_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives tune and symbols and asks for the notes (W3)."""
    chords = model.changes
    items = tuple(
        item_at(
            slot,
            (notes_answer(*hands(model, slot.onset)),),
            NOTES + LEFT + JOIN,
            given=chord_text(slot),
        )
        for slot in chords
    )
    return Worksheet(
        order,
        model.tune,
        "At each chord symbol write the other notes of the right hand under the tune, "
        "close together with stems down, and the root of the chord in the left hand.",
        solve_first(items),
        (SheetPiece(model, hidden=to_write(model, chords[1].onset)),),
        comments=comments_on(model),
    )


@makes(SheetKind.CHOOSE)
def choose_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives the tune alone, with a box under each slot (W4)."""
    slots = slots_of(model)
    items = tuple(
        item_at(slot, _choices(model, slot), NOTES + LEFT + JOIN + LABEL)
        if slot in model.changes
        else item_at(slot, _choices(model, slot), 0)._replace(stays=True)
        for slot in slots
    )
    boxes = tuple(
        Box(slot.onset, symbol_of(slot), given=number == 0)
        for number, slot in enumerate(slots)
    )
    hidden = to_write(model, slots[1].onset)
    return Worksheet(
        order,
        model.tune,
        "Choose a chord for each box and write its symbol there; then write the other "
        "notes of the right hand under the tune, and the root in the left hand.",
        solve_first(items),
        (SheetPiece(model, hidden=hidden, boxes=boxes, symbols=False),),
        comments=comments_on(model),
    )


@makes(SheetKind.SYMBOLS)
def symbols_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives the tune alone and asks for its symbols (W8)."""
    slots = model.changes
    items = tuple(item_at(slot, _choices(model, slot), LABEL) for slot in slots)
    boxes = tuple(
        Box(slot.onset, symbol_of(slot), above=True, given=number == 0)
        for number, slot in enumerate(slots)
    )
    return Worksheet(
        order,
        model.tune,
        "Sing or play the tune, choose a chord for each box, and write its symbol "
        "there. A chord lasts until the next box.",
        solve_first(items),
        (tune_alone(model, boxes),),
        comments=comments_on(model, _OF_CHOICE),
    )


@makes(SheetKind.TUNE)
def tune_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives a tune and leaves all else to the pupil (W9)."""
    marks = NOTES + LEFT + JOIN + LABEL
    items = tuple(item_at(slot, _choices(model, slot), marks) for slot in model.changes)
    return Worksheet(
        order,
        model.tune,
        "Choose chords for this tune: write a symbol wherever the chord changes, the "
        "other notes of the right hand under the tune, and the root in the left hand.",
        items,
        (SheetPiece(model, hidden=to_write(model, Fraction(0)), symbols=False),),
        comments=comments_on(model),
    )


def _choices(model: Arrangement, slot: Slot) -> tuple[Answer, ...]:
    """Return every accepted chord of a slot, the model first, each with its reason."""
    first = Answer(chord_text(slot), slot.reason[:1].upper() + slot.reason[1:])
    others = [
        Answer(f"{other.chord} ({other.numeral})", _with_strain(model, slot, other))
        for other in slot.alternatives
    ]
    return (first, *others)


def _with_strain(model: Arrangement, slot: Slot, other: Alternative) -> str:
    """Return why a chord does, and what it costs beside the chords of the model.

    A marker deducts for it unless the pupil has other chords there.
    """
    changed = slot._replace(chord=other.chord, numeral=other.numeral, locked=False)
    slots = tuple(changed if one is slot else one for one in model.slots)
    # What the model does itself costs no pupil anything.
    usual = {(fault.rule, fault.place) for fault in check(model, _OF_STEPS)}
    strains = [
        fault.what.rstrip(".")
        for fault in check(model._replace(slots=slots), _OF_STEPS)
        if (fault.rule, fault.place) not in usual
    ]
    warning = f"But beside the chords of the model {' and '.join(strains)}."
    return f"{other.reason} {warning}" if strains else other.reason


@makes(SheetKind.VOICES)
def voices_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives numerals and a first chord (W1).

    The numerals are those of the tune's chords in order.
    """
    slots = model.changes[:MOST_CHORDS]
    chords = [slot.chord for slot in slots if slot.chord]
    # The first chord has the shape that it has under the tune.
    shapes, shape = positions(chords[0]), model.changes[0].position
    named = [right for right in shapes if position_of(chords[0], right) is shape]
    start = over_bass(chords[0], (named or shapes)[0])
    voicings = free_voicings(chords, start)
    written = _progression(model, slots, voicings)
    items = tuple(
        item_at(
            slot,
            _ways(slot.chord, voicings, number),
            NOTES + LEFT + JOIN,
            given=chord_text(slot),
        )
        for number, slot in enumerate(written.slots)
    )
    hidden = frozenset(n for n, note in enumerate(written.notes) if note.onset > 0)
    boxes = tuple(
        Box(slot.onset, format_numeral(slot.numeral), given=True, ruled=False)
        for slot in written.slots
    )
    return Worksheet(
        order,
        model.tune,
        "Write the chords that the numerals name: three notes in the right hand, each "
        "moving no further than it must from the chord before, and the root in the "
        "left hand.",
        solve_first(items),
        (SheetPiece(written, hidden, boxes, _held(written), symbols=False),),
        comments=comments_on(written, ("M17",)),
    )


def _ways(
    chord: Chord | None, voicings: tuple[Voicing, ...], number: int
) -> tuple[Answer, ...]:
    """Return the model's voicing, and the others that move no further to get there."""
    model = voicings[number]
    first = notes_answer(format_pitches(model.right), format_pitches(model.left))
    if not number or chord is None:
        return (first,)
    before = voicings[number - 1]
    others = [
        Answer(f"right hand {format_pitches(other.right)}")
        for other in least_motion(before, chord)
        if other.right != model.right
        and _distance(before, other) <= _distance(before, model)
        and not parallels(_heights(before), _heights(other))
    ]
    return (first, *others)


def _distance(before: Voicing, after: Voicing) -> int:
    """Return the semitones that the right hand moves in all."""
    return sum(map(abs, motion(before.right, after.right)))


def _heights(voicing: Voicing) -> list[int]:
    return [pitch.midi for pitch in voicing.pitches]


def _progression(
    model: Arrangement, slots: tuple[Slot, ...], voicings: tuple[Voicing, ...]
) -> Arrangement:
    """Return chords of two beats each as an arrangement; the last fills its bar."""
    steps = [
        DrillStep(NumberedChord(slot.chord, slot.numeral), voicing, _HALF)
        for slot, voicing in zip(slots, voicings, strict=True)
        if slot.chord
    ]
    if len(steps) % 2:
        steps[-1] = steps[-1]._replace(length=2 * _HALF)
    written = score(model.tune.key, steps, LeftHand.HELD, _NO_TEMPO)
    tune = written.tune._replace(title=model.tune.title, tempos=())
    style = Style(model.style.level, numerals=False)
    return written._replace(tune=tune, style=style)


def _held(written: Arrangement) -> tuple[tuple[int, int], ...]:
    """Return the pairs of right-hand notes that the next chord keeps."""
    begin = {(n.onset, n.pitch): at for at, n in enumerate(written.notes)}
    ends = [(note.onset + note.length, note.pitch) for note in written.notes]
    return tuple(
        (at, begin[end])
        for at, end in enumerate(ends)
        if end in begin and written.notes[begin[end]].hand is Hand.RIGHT
    )
