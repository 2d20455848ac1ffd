"""Copies of drills: all notes, the first chord and numerals only, or the answers.

Exercises are joined into one score, numbered through, with words above each and a new
line for each.
"""

from collections.abc import Sequence
from enum import Enum
from fractions import Fraction
from functools import partial
from typing import NamedTuple

from harmonise.form import splicing
from harmonise.form.splicing import Slice, with_bars
from harmonise.lessons.drill_makers import Exercise
from harmonise.notation.score.copies import change_signs, without_symbols
from harmonise.notation.score.note_values import Value
from harmonise.notation.score.placed_signs import PlacedSign
from harmonise.notation.score.printed_labels import format_position
from harmonise.notation.score.score_plan import Plan, plan_score
from harmonise.theory.arrangement import Arrangement, Labels, Style
from harmonise.theory.key import printed
from harmonise.theory.tune import KeyChange, Syllable


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
    notes = []
    for note, slot in zip(whole.tune.notes, whole.slots, strict=True):
        text = ""
        if slot.chord and slot.position:
            text = format_position(slot.position, labels, len(slot.chord.members))
        notes.append(note._replace(syllables=(Syllable(text),)) if text else note)
    return whole._replace(tune=whole.tune._replace(notes=tuple(notes), verses=1))


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


def joined(
    exercises: Sequence[Exercise], title: str, copy: DrillCopy = PLAIN_COPY
) -> Arrangement:
    """Return exercises as one score.

    Args:
        exercises: At least one.
        title: Title of the score.
        copy: Which copy of them.
    """
    several = len({exercise.drill for exercise in exercises}) > 1
    slices = []
    for exercise in exercises:
        words = f"{printed(exercise.key)}, {exercise.label}"
        if several and exercise.drill:
            words = f"{exercise.drill}: {words}"
        printed_copy = copy_of(exercise, copy)
        bars = list(printed_copy.tune.bars)
        bars[0] = bars[0]._replace(section=words)
        # A double bar parts the exercises; the last one ends the score.
        bars[-1] = bars[-1]._replace(double=exercise is not exercises[-1])
        slices.append(Slice(with_bars(printed_copy, bars)))
    row = splicing.joined(slices)
    # Every exercise says its key, even if it is that of the one before.
    starts = (Fraction(0), *row.tune.phrases)
    keys = map(KeyChange, starts, (exercise.key for exercise in exercises))
    return row._replace(tune=row.tune._replace(title=title, keys=tuple(keys)))


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
