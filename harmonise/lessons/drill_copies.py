"""Copies of drills to print, and several exercises in one score.

A copy shows all notes, or the first chord and numerals, or everything with answers.
"""

from collections.abc import Sequence
from enum import Enum
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from harmonise.lessons.drill_score import Exercise
from harmonise.lessons.drills import START
from harmonise.notation.midi.writing import AS_WRITTEN, Playing
from harmonise.notation.score.copies import change_signs, without_symbols
from harmonise.notation.score.note_values import Value
from harmonise.notation.score.placed_signs import PlacedSign
from harmonise.notation.score.printed_labels import format_position
from harmonise.notation.score.score_plan import Plan, plan_score
from harmonise.theory.arrangement import Arrangement, Labels, Slot, Style
from harmonise.theory.key import printed
from harmonise.theory.tune import KeyChange, Syllable, TuneNote

if TYPE_CHECKING:
    from harmonise.notation.paper.blocks import Page


class Version(Enum):
    """Which copy of a drill is printed."""

    EXERCISE = "exercise"
    BLANK = "blank"
    ANSWER = "answer"


class DrillCopy(NamedTuple):
    """What is printed of an exercise.

    Attributes:
        version: All notes; the first chord only and numerals; or all notes, numerals,
            positions and fingers.
        labels: How positions are named in answers.
        fingering: Whether copies without answers have fingers too.
    """

    version: Version = Version.EXERCISE
    labels: Labels = Labels.WORDS
    fingering: bool = False


PLAIN_COPY = DrillCopy()


def copy_of(exercise: Exercise, copy: DrillCopy) -> Arrangement:
    """Return one copy of an exercise, as it is printed."""
    whole = exercise.score
    answer = copy.version is Version.ANSWER
    hidden = exercise.hidden and not answer
    style = Style(
        numerals=answer or (copy.version is Version.BLANK and not hidden),
        fingering=answer or (copy.fingering and not hidden),
    )
    whole = whole._replace(style=style)
    if answer:
        return _with_labels(whole, copy.labels)
    if hidden:
        slots = tuple(slot._replace(chord=None, numeral="") for slot in whole.slots)
        return whole._replace(slots=slots)
    return _with_first_only(whole) if copy.version is Version.BLANK else whole


def _with_labels(whole: Arrangement, labels: Labels) -> Arrangement:
    """Return a score with the positions as words under the treble staff."""
    notes = tuple(
        _labelled(note, slot, labels)
        for note, slot in zip(whole.tune.notes, whole.slots, strict=True)
    )
    tune = whole.tune._replace(notes=notes, verses=1)
    return whole._replace(tune=tune)


def _labelled(note: TuneNote, slot: Slot, labels: Labels) -> TuneNote:
    if slot.chord is None or slot.position is None:
        return note
    text = format_position(slot.position, labels, len(slot.chord.members))
    return note._replace(syllables=(Syllable(text),)) if text else note


def _with_first_only(whole: Arrangement) -> Arrangement:
    """Return a score of which only the first chord is given."""
    until = whole.slots[0].end
    tune_notes = tuple(
        note if note.onset < until else note._replace(pitch=None)
        for note in whole.tune.notes
    )
    return whole._replace(
        tune=whole.tune._replace(notes=tune_notes),
        notes=tuple(note for note in whole.notes if note.onset < until),
    )


class CopyRow(Arrangement):
    """Exercises one after the other in one score."""

    __slots__ = ()

    @property
    def changes(self) -> tuple[Slot, ...]:
        """The slots where a chord is printed: each exercise prints its first anew."""
        starts = {Fraction(0), *self.tune.phrases}
        found: list[Slot] = []
        for slot in self.slots:
            again = found and found[-1].chord == slot.chord
            if slot.chord and (slot.onset in starts or not again):
                found.append(slot)
        return tuple(found)


def join(parts: Sequence[tuple[str, Arrangement]], title: str) -> CopyRow:
    """Return several scores as one, one after the other with double bars between.

    Args:
        parts: What stands above each, and the score; at least one.
        title: Title of the whole.
    """
    moved: list[Arrangement] = []
    start, number = Fraction(0), 0
    for words, part in parts:
        moved.append(_moved(part, start, number, words))
        start, number = moved[-1].tune.end, number + len(part.tune.bars)
    tunes = [part.tune for part in moved]
    bars = [bar for tune in tunes for bar in tune.bars]
    bars[-1] = bars[-1]._replace(double=False)
    tune = tunes[0]._replace(
        title=title,
        notes=tuple(note for tune in tunes for note in tune.notes),
        bars=tuple(bars),
        keys=tuple(tune.keys[0] for tune in tunes),
        phrases=tuple(tune.end for tune in tunes),
        verses=max(tune.verses for tune in tunes),
    )
    return CopyRow(
        tune,
        moved[0].style,
        tuple(slot for part in moved for slot in part.slots),
        tuple(note for part in moved for note in part.notes),
    )


def _moved(part: Arrangement, start: Fraction, bars: int, words: str) -> Arrangement:
    """Return a score that begins later, after some bars, with words above it."""
    tune = part.tune
    own = [
        bar._replace(number=bar.number + bars, start=bar.start + start)
        for bar in tune.bars
    ]
    own[0] = own[0]._replace(section=words)
    own[-1] = own[-1]._replace(double=True)
    tune = tune._replace(
        notes=tuple(note._replace(onset=note.onset + start) for note in tune.notes),
        bars=tuple(own),
        keys=(KeyChange(start, tune.key),),
    )
    return part._replace(
        tune=tune,
        slots=tuple(_moved_slot(slot, start, bars) for slot in part.slots),
        notes=tuple(note._replace(onset=note.onset + start) for note in part.notes),
    )


def _moved_slot(slot: Slot, start: Fraction, bars: int) -> Slot:
    place = slot.place._replace(bar=slot.place.bar + bars)
    return slot._replace(onset=slot.onset + start, place=place)


def joined(
    exercises: Sequence[Exercise],
    title: str,
    copy: DrillCopy = PLAIN_COPY,
) -> Arrangement:
    """Return exercises as one score.

    Args:
        exercises: At least one.
        title: Title of the score.
        copy: Which copy of them.
    """
    several = len({own.drill for own in exercises}) > 1
    parts = []
    for own in exercises:
        words = f"{printed(own.key)}, {own.label}"
        if several and own.drill:
            words = f"{own.drill}: {words}"
        parts.append((words, copy_of(own, copy)))
    return join(parts, title)


def plan_copy(score: Arrangement, version: Version) -> Plan:
    """Return a copy of exercises, ready to write or to engrave.

    A blank copy has no chord symbols and shows no rests: the pupil writes over the
    numerals. Numerals of rests are words under the staff, for engravers drop the lyrics
    of rests; where a pupil writes over them, all are.
    """
    plan = plan_score(score)
    if version is Version.BLANK:
        return change_signs(without_symbols(plan), partial(_to_write, plan.divisions))
    return change_signs(plan, lambda sign: sign._replace(numeral_apart=not sign.notes))


class DrillOutput(NamedTuple):
    """How exercises go into a file.

    Attributes:
        copy: Which copy of them is printed.
        tempo: Crotchets a minute that the practice plan starts from.
        playing: How they are played.
        page: The page of a booklet; None for A4 upright.
    """

    copy: DrillCopy = PLAIN_COPY
    tempo: int = START
    playing: Playing = AS_WRITTEN
    page: "Page | None" = None


def _to_write(divisions: int, sign: PlacedSign) -> PlacedSign:
    """Return a sign of a blank copy: rests are not shown; notes stay as they are.

    A rest for the whole bar gets a value, or what hangs on it is set at the bar's end.
    """
    if sign.notes:
        return sign._replace(numeral_apart=True)
    value = sign.sign.value
    if value is None:
        # Drills are in 4/4, 3/4 or 6/8: a bar lasts four crotchets, or three.
        triple = (sign.end - sign.start) % (3 * divisions) == 0
        value = Value("half", 1) if triple else Value("whole")
    shown = sign.sign._replace(value=value)
    return sign._replace(sign=shown, numeral_apart=True, hidden=True)
