"""What every kind of worksheet shares: the model, its chords, and what sounds where."""

from fractions import Fraction
from itertools import pairwise

from harmonise.arranging import arrange
from harmonise.errors import MelodyError
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    LeftHand,
    Slot,
    SoundingNote,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.rules import check
from harmonise.theory.tune import Tune
from harmonise.theory.voicing import format_pitches
from harmonise.worksheet import Answer, Item

NOTES, LEFT, JOIN, LABEL = 2, 1, 1, 1
"""What parts of a chord are worth: right-hand notes, left hand, joining, label."""
_PARALLELS = "M17"


def model_of(tune: Tune, style: Style) -> Arrangement:
    """Return the model answer of a tune: chords struck at slots under a moving tune.

    Raises:
        MelodyError: If one chord is enough for all of it.
    """
    plain = style._replace(
        texture=Texture.HELD,
        left_hand=LeftHand.HELD,
        numerals=False,
        fingering=False,
    )
    done = arrange(tune, plain)
    if len(done.changes) < 2:
        raise MelodyError(
            "One chord is enough for this tune, so there is nothing to write.",
            None,
            "Ask for more bars or a higher level.",
        )
    return done


def chords_of(arrangement: Arrangement) -> tuple[tuple[Slot, Fraction], ...]:
    """Return each chord at its first slot, with the place where the next one begins."""
    changes = arrangement.changes
    ends = [*(slot.onset for slot in changes[1:]), arrangement.tune.end]
    return tuple(zip(changes, ends, strict=True))


def slots_of(arrangement: Arrangement) -> tuple[Slot, ...]:
    """Return the slots that have a chord."""
    return tuple(slot for slot in arrangement.slots if slot.chord)


def to_write(arrangement: Arrangement, start: Fraction) -> frozenset[int]:
    """Return the numbers of the notes beside the tune that begin from a place on."""
    return frozenset(
        number
        for number, note in enumerate(arrangement.notes)
        if note.voice is not Voice.TUNE and note.onset >= start
    )


def sounding(arrangement: Arrangement, onset: Fraction) -> tuple[SoundingNote, ...]:
    """Return the notes that sound at a place, from the lowest up."""
    notes = arrangement.notes
    found = [n for n in notes if n.onset <= onset < n.onset + n.length]
    return tuple(sorted(found, key=lambda note: note.pitch.midi))


def hands(arrangement: Arrangement, onset: Fraction) -> tuple[str, str]:
    """Return what both hands play at a place: "E4 G4 C5", "C3"; "nothing" for rests."""
    notes = sounding(arrangement, onset)
    right = [note.pitch for note in notes if note.hand is Hand.RIGHT]
    left = [note.pitch for note in notes if note.hand is Hand.LEFT]
    return format_pitches(right) or "nothing", format_pitches(left) or "nothing"


def notes_answer(arrangement: Arrangement, slot: Slot) -> Answer:
    """Return the notes that the model plays where a chord begins."""
    right, left = hands(arrangement, slot.onset)
    return Answer(f"right hand {right}, left hand {left}")


def plain_chords(arrangement: Arrangement) -> tuple[Slot, ...]:
    """Return the chords over which the tune begins with a note of the chord, or rests.

    Raises:
        MelodyError: If there are fewer than two.
    """
    found = []
    for slot in arrangement.changes:
        tune = [n for n in sounding(arrangement, slot.onset) if n.voice is Voice.TUNE]
        classes = slot.chord.pitch_classes if slot.chord else ()
        if all(note.pitch.pitch_class in classes for note in tune):
            found.append(slot)
    if len(found) < 2:
        raise MelodyError(
            "The tune begins with a note of the chord over fewer than two chords.",
            None,
            "Ask for more bars or a higher level.",
        )
    return tuple(found)


def chord_text(slot: Slot) -> str:
    """Return a slot's chord: "C (I)"."""
    return f"{slot.chord} ({slot.numeral})" if slot.numeral else str(slot.chord)


def item_at(
    slot: Slot, answers: tuple[Answer, ...], marks: int, *, given: str = ""
) -> Item:
    """Return the item of a slot in the first piece."""
    return Item(slot.place, slot.onset, 0, answers, marks, given)


def solve_first(items: tuple[Item, ...]) -> tuple[Item, ...]:
    """Return the items with the first as worked example, worth nothing."""
    return (items[0]._replace(marks=0), *items[1:])


def comments_on(
    arrangement: Arrangement, rules: tuple[str, ...] = ()
) -> tuple[str, ...]:
    """Return what is weaker style in a model, as sentences with their places.

    Args:
        arrangement: The model.
        rules: Codes of the rules that count; () for all but those of low and far notes.
    """
    faults = [
        fault
        for fault in check(arrangement)
        if (fault.rule in rules if rules else fault.rule not in ("L01", "L02"))
    ]
    bars = dict.fromkeys(str(f.place.bar) for f in faults if f.rule == _PARALLELS)
    told = [f"{own} ({own.rule})" for own in faults if own.rule != _PARALLELS]
    if bars:
        where = (
            f"bar {next(iter(bars))}" if len(bars) == 1 else f"bars {', '.join(bars)}"
        )
        told.append(f"Parallel fifths or octaves in {where} ({_PARALLELS}).")
    return tuple(dict.fromkeys(told))


def changes_in(arrangement: Arrangement) -> int:
    """Return how often the chord changes."""
    slots = slots_of(arrangement)
    return sum(one.chord != two.chord for one, two in pairwise(slots))
