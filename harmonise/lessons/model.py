"""What every kind of worksheet shares: the tune, the model, and what sounds where.

A tune is cut to whole lines and is then a tune by itself: it has its own end, and
repeats that would reach past it are dropped. Words and tempo are left out, so that
pupils see notes and boxes alone.
"""

from fractions import Fraction
from itertools import pairwise

from harmonise.arranging.job import arrange
from harmonise.errors import MelodyError, bars_called
from harmonise.lessons.sheet_parts import Answer, Box, SheetItem, SheetPiece
from harmonise.rules.table import check
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
from harmonise.theory.key import Key, key_of_signature
from harmonise.theory.tune import Bar, ChordAt, Tune, TuneNote
from harmonise.theory.voicing import format_pitches

NOTES, LEFT, JOIN, LABEL = 2, 1, 1, 1
"""What parts of a chord are worth: right-hand notes, left hand, joining, label."""
_PARALLELS = "M17"


def model_of(tune: Tune, style: Style) -> Arrangement:
    """Return the model answer of a tune: chords struck at slots under a moving tune.

    Raises:
        MelodyError: If one chord is enough for all of it.
    """
    plain = style._replace(
        texture=Texture.HELD, left_hand=LeftHand.HELD, numerals=False, fingering=False
    )
    model = arrange(tune, plain)
    if len(model.changes) < 2:
        raise MelodyError(
            "One chord is enough for this tune, so there is nothing to write.",
            None,
            "Ask for more bars or a higher level.",
        )
    return model


def slots_of(arrangement: Arrangement) -> tuple[Slot, ...]:
    """Return the slots that have a chord: a pickup may go without one."""
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
    """Return what both hands play at a place: "E4 G4 C5", "C3"; "" for rests."""
    notes = sounding(arrangement, onset)
    right = [note.pitch for note in notes if note.hand is Hand.RIGHT]
    left = [note.pitch for note in notes if note.hand is Hand.LEFT]
    return format_pitches(right), format_pitches(left)


def notes_answer(right: str, left: str) -> Answer:
    """Return what both hands play as an answer."""
    return Answer(f"right hand {right or 'nothing'}, left hand {left or 'nothing'}")


def plain_chords(
    arrangement: Arrangement, among: tuple[Slot, ...] = ()
) -> tuple[Slot, ...]:
    """Return the chords over which the tune begins with a note of the chord, or rests.

    Args:
        arrangement: The arrangement.
        among: The slots that are looked at; () for those where the chord changes.

    Raises:
        MelodyError: If there are fewer than two.
    """
    slots = []
    for slot in among or arrangement.changes:
        tune = [n for n in sounding(arrangement, slot.onset) if n.voice is Voice.TUNE]
        classes = slot.chord.pitch_classes if slot.chord else ()
        if all(note.pitch.pitch_class in classes for note in tune):
            slots.append(slot)
    if len(slots) < 2:
        raise MelodyError(
            "The tune begins with a note of the chord over fewer than two chords.",
            None,
            "Ask for more bars or a higher level.",
        )
    return tuple(slots)


def chord_text(slot: Slot) -> str:
    """Return a slot's chord: "C (I)"."""
    return f"{slot.chord} ({slot.numeral})" if slot.numeral else str(slot.chord)


def item_at(
    slot: Slot, answers: tuple[Answer, ...], marks: int, *, given: str = ""
) -> SheetItem:
    """Return the item of a slot in the first piece."""
    return SheetItem(slot.place, slot.onset, 0, answers, marks, given)


def solve_first(items: tuple[SheetItem, ...]) -> tuple[SheetItem, ...]:
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
    bars: dict[int, None] = {}
    sentences: dict[str, None] = {}
    for fault in check(arrangement):
        if fault.rule not in rules if rules else fault.rule in ("L01", "L02"):
            continue
        if fault.rule == _PARALLELS:
            bars[fault.place.bar] = None
        else:
            sentences[str(fault)] = None
    if bars:
        where = bars_called(tuple(bars))
        sentences[f"Parallel fifths or octaves in {where}."] = None
    return tuple(sentences)


def changes_in(arrangement: Arrangement) -> int:
    """Return how often the chord changes."""
    slots = slots_of(arrangement)
    return sum(one.chord != two.chord for one, two in pairwise(slots))


def opening(tune: Tune, bars: int) -> Tune:
    """Return the first whole lines of a tune, without words, tempo and repeats.

    Args:
        tune: The tune.
        bars: Full bars at most, if the first line is not longer.

    Raises:
        MelodyError: If no note sounds in it.
    """
    end = _cut(tune, bars)
    notes = tuple(
        TuneNote(
            note.onset, min(note.end, end) - note.onset, note.pitch, line=note.line
        )
        for note in tune.notes
        if note.onset < end
    )
    if not any(note.pitch for note in notes):
        raise MelodyError(
            f"No note sounds in the first {bars} bars of this tune.",
            None,
            "Ask for more bars.",
        )
    cut = tuple(
        Bar(
            bar.number,
            bar.start,
            min(bar.end, end) - bar.start,
            bar.time,
            double=bar.double and bar.end < end,
            offset=bar.offset,
        )
        for bar in tune.bars
        if bar.start < end
    )
    return tune._replace(
        notes=notes,
        bars=cut,
        keys=tuple(change for change in tune.keys if change.onset < end),
        tempos=(),
        phrases=(*(mark for mark in tune.phrases if mark < end), end),
        locks=_within(tune.locks, end),
        symbols=_within(tune.symbols, end),
        verses=0,
        end_text=(),
    )


def _cut(tune: Tune, bars: int) -> Fraction:
    """Return where to stop: at the last end of a line within so many full bars.

    A line counts if at least two full bars stand before its end.
    """
    full = [bar for bar in tune.bars if bar.number > 0 and not bar.offset]
    if len(full) <= bars:
        return tune.end
    starts = [bar.start for bar in tune.bars if bar.number > 0]
    limit = full[bars].start
    inside = [end for end in tune.phrases if end <= limit and end > starts[1]]
    return inside[-1] if inside else limit


def _within(chords: tuple[ChordAt, ...], end: Fraction) -> tuple[ChordAt, ...]:
    return tuple(
        chord._replace(end=min(chord.end, end)) for chord in chords if chord.onset < end
    )


def related_keys(key: Key) -> tuple[Key, ...]:
    """Return the other keys of a mode, those with the most similar signature first.

    >>> from harmonise.theory.key import parse_key
    >>> [str(key.tonic) for key in related_keys(parse_key("G"))[:4]]
    ['F', 'D', 'C', 'Bb']
    """
    home, count = key.fifths, abs(key.fifths)
    others = [fifths for fifths in range(-5, 7) if fifths != home]
    # As many signs as the first key has, then as near to it as can be, sharps first.
    others.sort(
        key=lambda fifths: (abs(abs(fifths) - count), abs(fifths - home), -fifths)
    )
    return tuple(key_of_signature(fifths, key.mode) for fifths in others)


def tune_alone(model: Arrangement, boxes: tuple[Box, ...]) -> SheetPiece:
    """Return a piece that gives the tune alone, with boxes over it."""
    tune = tuple(note for note in model.notes if note.voice is Voice.TUNE)
    return SheetPiece(
        model._replace(notes=tune), boxes=boxes, symbols=False, tune_only=True
    )
