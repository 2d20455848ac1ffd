"""Sheets on which pupils write chords: under a tune, or as numerals tell them."""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.choice.free import free_voicings
from harmonise.errors import Place
from harmonise.lessons.model import (
    JOIN,
    LABEL,
    LEFT,
    NOTES,
    chord_text,
    chords_of,
    comments_on,
    item_at,
    notes_answer,
    slots_of,
    solve_first,
    to_write,
)
from harmonise.lessons.shape_sheets import symbol_of
from harmonise.lessons.worksheet import (
    Answer,
    Box,
    SheetKind,
    SheetOrder,
    SheetPiece,
    Worksheet,
    makes,
)
from harmonise.notation.score.printed_labels import format_numeral
from harmonise.rules.table import RULES, check
from harmonise.theory.arrangement import (
    Alternative,
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import Chord
from harmonise.theory.metre import TimeSignature
from harmonise.theory.motion import least_motion, motion, parallels
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote
from harmonise.theory.voicing import (
    Voicing,
    format_pitches,
    over_bass,
    position_of,
    positions,
)

MOST_CHORDS = 16
"""Longest progression of a sheet: two lines of four bars."""
_TIME = TimeSignature(4, 4)
_HALF = Fraction(2)
_OF_STEPS = tuple(rule for rule in RULES if rule.code in ("H02", "H07", "H12"))
"""Rules by which a chord is right or wrong for what stands beside it."""


@makes(SheetKind.ACCOMPANY)
def accompany_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives tune and symbols and asks for the notes (W3)."""
    chords = chords_of(model)
    items = tuple(
        item_at(
            slot,
            (notes_answer(model, slot),),
            NOTES + LEFT + JOIN,
            given=chord_text(slot),
        )
        for slot, _ in chords
    )
    return Worksheet(
        order,
        model.tune,
        "At each chord symbol write the other notes of the right hand under the tune, "
        "close together with stems down, and the root of the chord in the left hand.",
        solve_first(items),
        (SheetPiece(model, hidden=to_write(model, chords[0][1])),),
        comments=comments_on(model),
    )


@makes(SheetKind.CHOOSE)
def choose_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives the tune alone, with a box under each slot (W4)."""
    slots = slots_of(model)
    second = slots[1].onset if len(slots) > 1 else model.tune.end
    items = tuple(
        item_at(slot, _choices(model, slot), NOTES + LEFT + JOIN + LABEL)
        for slot in slots
    )
    boxes = tuple(
        Box(slot.onset, symbol_of(slot), given=number == 0)
        for number, slot in enumerate(slots)
    )
    hidden = to_write(model, second)
    return Worksheet(
        order,
        model.tune,
        "Choose a chord for each box and write its symbol there; then write the other "
        "notes of the right hand under the tune, and the root in the left hand.",
        solve_first(items),
        (SheetPiece(model, hidden=hidden, boxes=boxes, symbols=False),),
        comments=comments_on(model),
    )


def _choices(model: Arrangement, slot: Slot) -> tuple[Answer, ...]:
    """Return every accepted chord of a slot, the model first, each with its reason."""
    first = Answer(chord_text(slot), _sentence(slot.reason))
    # What the model does itself costs no pupil anything.
    usual = {(fault.rule, fault.place) for fault in check(model, _OF_STEPS)}
    others = [
        Answer(
            f"{other.chord} ({other.numeral})",
            " ".join((other.reason, *_strained(model, slot, other, usual))),
        )
        for other in slot.alternatives
    ]
    return (first, *others)


def _strained(
    model: Arrangement, slot: Slot, other: Alternative, usual: set[tuple[str, Place]]
) -> Iterator[str]:
    """Yield what becomes of a chord that fits its slot but not the model's neighbours.

    A marker deducts for it unless the pupil has other chords beside it.
    """
    own = slot._replace(chord=other.chord, numeral=other.numeral, locked=False)
    slots = tuple(own if one is slot else one for one in model.slots)
    for fault in check(model._replace(slots=slots), _OF_STEPS):
        if (fault.rule, fault.place) not in usual:
            yield f"But beside the chords of the model {fault.what}"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


@makes(SheetKind.VOICES)
def voices_sheet(model: Arrangement, order: SheetOrder) -> Worksheet:
    """Return the sheet that gives numerals and a first chord (W1).

    The numerals are those of the tune's chords in order.
    """
    slots = model.changes[:MOST_CHORDS]
    chords = [slot.chord for slot in slots if slot.chord]
    voicings = free_voicings(chords, _start(chords[0], model))
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
    hands = f"right hand {format_pitches(model.right)}, left hand {_left(model)}"
    if not number or chord is None:
        return (Answer(hands),)
    before = voicings[number - 1]
    most = _distance(before, model)
    others = [
        Answer(f"right hand {format_pitches(other.right)}")
        for other in least_motion(before, chord)
        if other.right != model.right
        and _distance(before, other) <= most
        and not parallels(_heights(before), _heights(other))
    ]
    return (Answer(hands), *others)


def _distance(before: Voicing, after: Voicing) -> int:
    """Return the semitones that the right hand moves in all."""
    return sum(map(abs, motion(before.right, after.right)))


def _heights(voicing: Voicing) -> list[int]:
    return [pitch.midi for pitch in voicing.pitches]


def _start(chord: Chord, model: Arrangement) -> Voicing:
    """Return the first chord in the shape that the tune's own first chord has."""
    shape = model.changes[0].position
    shapes = positions(chord)
    named = [right for right in shapes if position_of(chord, right) is shape]
    return over_bass(chord, (named or shapes)[0])


def _left(voicing: Voicing) -> str:
    return format_pitches(voicing.left) or "nothing"


def _progression(
    model: Arrangement, slots: tuple[Slot, ...], voicings: tuple[Voicing, ...]
) -> Arrangement:
    """Return chords of two beats each as an arrangement; the last fills its bar."""
    lengths = [_HALF] * len(slots)
    if len(slots) % 2:
        lengths[-1] *= 2
    onsets = [_HALF * number for number in range(len(slots))]
    rows = list(zip(onsets, lengths, slots, voicings, strict=True))
    tune = _top_line(model, [(on, size, v.top) for on, size, _, v in rows])
    written = [
        Slot(
            tune.place(on),
            on,
            size,
            slot.key,
            slot.chord,
            slot.numeral,
            position_of(slot.chord, v.right) if slot.chord else None,
        )
        for on, size, slot, v in rows
    ]
    notes = [note for on, size, _, v in rows for note in _notes(on, size, v)]
    style = Style(model.style.level, numerals=False)
    return Arrangement(tune, style, tuple(written), tuple(notes))


def _notes(onset: Fraction, length: Fraction, voicing: Voicing) -> list[SoundingNote]:
    left = [
        SoundingNote(onset, length, pitch, Hand.LEFT, Voice.BASS)
        for pitch in voicing.left
    ]
    voices = [Voice.INNER] * (len(voicing.right) - 1) + [Voice.TUNE]
    right = [
        SoundingNote(onset, length, pitch, Hand.RIGHT, voice)
        for pitch, voice in zip(voicing.right, voices, strict=True)
    ]
    return [*left, *right]


def _top_line(model: Arrangement, rows: list[tuple[Fraction, Fraction, Pitch]]) -> Tune:
    notes = tuple(TuneNote(*row) for row in rows)
    count = -(-notes[-1].end // _TIME.bar_length)
    size = _TIME.bar_length
    bars = tuple(Bar(n + 1, n * size, size, _TIME) for n in range(int(count)))
    return Tune(
        model.tune.title,
        notes,
        bars,
        (KeyChange(Fraction(0), model.tune.key),),
        phrases=(bars[-1].end,),
    )


def _held(written: Arrangement) -> tuple[tuple[int, int], ...]:
    """Return the pairs of right-hand notes that the next chord keeps."""
    notes = written.notes
    pairs = []
    for first, note in enumerate(notes):
        for second in range(first + 1, len(notes)):
            other = notes[second]
            follows = other.onset == note.onset + note.length
            if follows and other.pitch == note.pitch and other.hand is Hand.RIGHT:
                pairs.append((first, second))
    return tuple(pairs)
