"""Tasks of tunes and of drills.

A tune gives itself and leaves the chords to the pupil: every chord that would do is
right, as the explanations say. A drill gives the chords.
"""

from fractions import Fraction

from harmonise.arranging import arrange
from harmonise.drills.score import Exercise
from harmonise.errors import MelodyError
from harmonise.marks.points import Points, read_points
from harmonise.marks.task import Ask, Item, Part, Task, Worth
from harmonise.theory.arrangement import Arrangement, Hand, Slot, Style, Voice
from harmonise.theory.chord import Chord, Inversion
from harmonise.theory.tune import Tune

_GIVEN_TOPS = ("D6", "D7", "D8")
"""Drills whose top line is part of the task."""
_ALL = (Part.NOTES, Part.LEFT, Part.JOINING)


def task_of_tune(
    tune: Tune,
    style: Style,
    asks: tuple[Ask, ...] = (Ask.SYMBOL,),
    points: Points | None = None,
) -> Task:
    """Return the task of arranging a tune: chords of the pupil's choice, then notes.

    Args:
        tune: The tune.
        style: Level and rhythm of the model; its texture is held or block as usual.
        asks: What is written beside the notes.
        points: What chords are worth.

    Raises:
        MelodyError: If the tune has no chord to write.
    """
    return task_of_model(arrange(tune, style), asks, points)


def task_of_model(
    model: Arrangement,
    asks: tuple[Ask, ...] = (Ask.SYMBOL,),
    points: Points | None = None,
) -> Task:
    """Return the task that an arrangement is the model answer of.

    Raises:
        MelodyError: If it has no chord.
    """
    slots = model.changes
    if not slots:
        raise MelodyError("There is no chord in this tune.", None, "Name another tune.")
    parts = (*_ALL, *([Part.LABEL] if asks else []))
    items = items_at(model, slots, parts, points or read_points())
    title = model.tune.title or "Tune"
    return Task(title, model, items, True, False, asks, accepted=accepted_in(model))  # noqa: FBT003


def task_of_exercise(exercise: Exercise, points: Points | None = None) -> Task:
    """Return the task of a drill in one key: the chords are given."""
    model, points = exercise.score, points or read_points()
    title = f"{exercise.drill or 'Drill'}, {exercise.key}, {exercise.label}"
    if exercise.hidden:
        asks = (Ask.SYMBOL, Ask.NUMERAL, Ask.SHAPE)
        parts = (Part.LABEL,) * len(asks)
        items = items_at(model, model.slots, parts, points)
        items = tuple(own._replace(worth=_added(own.worth)) for own in items)
        return Task(title, model, items, asks=asks, notes_given=True)
    items = items_at(model, model.slots, _ALL, points)
    return Task(title, model, items, free=exercise.drill not in _GIVEN_TOPS)


def _added(worth: Worth) -> Worth:
    """Return the worth of several labels as one."""
    return ((Part.LABEL, sum((marks for _, marks in worth), Fraction(0))),)


def items_at(
    model: Arrangement,
    slots: tuple[Slot, ...],
    parts: tuple[Part, ...],
    points: Points,
) -> tuple[Item, ...]:
    """Return an item for each of some slots, worth what the model writes there."""
    ends = [*(slot.onset for slot in slots[1:]), model.tune.end]
    return tuple(
        Item(slot.onset, end, slot.place, _worth(model, slot.onset, end, parts, points))
        for slot, end in zip(slots, ends, strict=True)
    )


def _worth(
    model: Arrangement,
    onset: Fraction,
    end: Fraction,
    parts: tuple[Part, ...],
    points: Points,
) -> Worth:
    """Return the parts that are to be written between two places."""
    inner = bool(heard(model, onset, end, left=False))
    left = bool(heard(model, onset, end, left=True))
    asked = {Part.NOTES: inner, Part.JOINING: inner, Part.LEFT: left, Part.LABEL: True}
    return tuple((part, points.parts[part]) for part in parts if asked[part])


def heard(model: Arrangement, onset: Fraction, end: Fraction, *, left: bool) -> bool:
    """Whether a hand has more than the tune between two places."""
    return any(
        note.onset < end and note.onset + note.length > onset
        for note in model.notes
        if note.voice is not Voice.TUNE and (note.hand is Hand.LEFT) == left
    )


def accepted_in(
    model: Arrangement,
) -> tuple[tuple[Fraction, tuple[Chord, ...]], ...]:
    """Return the chords that are right in each slot: the model's and the others."""
    return tuple(
        (
            slot.onset,
            tuple(
                upright(chord)
                for chord in (slot.chord, *(own.chord for own in slot.alternatives))
                if chord
            ),
        )
        for slot in model.slots
    )


def upright(chord: Chord) -> Chord:
    """Return a chord in root position."""
    return chord._replace(inversion=Inversion.ROOT_POSITION)
