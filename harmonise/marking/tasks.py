"""Tasks of tunes, drills and worksheets.

A tune gives itself and leaves the chords to the pupil: every chord that would do is
right, as the explanations say. A drill gives the chords. A worksheet is worth what its
key says, and may be several tasks: a phrase in three keys is three. The sheet of
planted faults is no music to be marked but a list: see `mark_list`; so is one of
answers by ear.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import accumulate

from harmonise.arranging.job import arrange
from harmonise.errors import MelodyError
from harmonise.form import splicing
from harmonise.form.splicing import Slice
from harmonise.lessons.drill_copies import joined
from harmonise.lessons.drill_makers import START_TEMPO, DrillStep, Exercise, score
from harmonise.lessons.drills import find_drill, title_of
from harmonise.lessons.model import JOIN, LABEL, LEFT, NOTES
from harmonise.lessons.worksheet import Worksheet
from harmonise.marking.task import Ask, Points, Task, TaskItem, Worth, read_points
from harmonise.rules.table import ChordPart
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Labels,
    LeftHand,
    Slot,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.numerals import NumberedChord, numeral
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.tune import Tune, is_quick
from harmonise.theory.voicing import Voicing

_ALL = (ChordPart.NOTES, ChordPart.LEFT, ChordPart.JOINING)
_CONTRARY = ("D4", "D7")
"""The drills that are about contrary motion."""


def task_of_tune(
    tune: Tune,
    style: Style,
    asks: tuple[Ask, ...] = (Ask.SYMBOL,),
    points: Points | None = None,
) -> Task:
    """Return the task of arranging a tune: chords of the pupil's choice, then notes.

    Args:
        tune: The tune.
        style: Level and rhythm of the model; its texture is held or block, for in a
            light one there is little for a pupil to write.
        asks: What is written beside the notes.
        points: What chords are worth.

    Raises:
        MelodyError: If the tune has no chord to write.
    """
    if style.texture is Texture.AUTO and is_quick(tune):
        style = style._replace(texture=Texture.HELD)
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
    parts = (*_ALL, *([ChordPart.LABEL] if asks else []))
    items = items_at(model, slots, parts, points or read_points())
    title = model.tune.title or "Tune"
    return Task(title, model, items, True, False, asks, accepted=accepted_in(model))  # noqa: FBT003


def task_of_exercise(
    exercise: Exercise, points: Points | None = None, *, begun: bool = False
) -> Task:
    """Return the task of a drill in one key: the chords are given.

    Args:
        exercise: The exercise.
        points: What chords are worth.
        begun: Whether the notes of the first chord are given too, as on a blank copy.
    """
    model, points = exercise.score, points or read_points()
    title = f"{exercise.drill or 'Drill'}, {exercise.key}, {exercise.label}"
    if exercise.hidden:
        asks = (Ask.SYMBOL, Ask.NUMERAL, Ask.SHAPE)
        worth = ((ChordPart.LABEL, len(asks) * points.parts[ChordPart.LABEL]),)
        items = items_at(model, model.slots, (), points)
        items = tuple(item._replace(worth=worth) for item in items)
        return Task(title, model, items, asks=asks, notes_given=True)
    items = items_at(model, model.slots, _ALL, points)[begun:]
    # Where the drill gives the top line, another one is a fault and not a choice.
    given = exercise.drill and find_drill(exercise.drill).given_top
    contrary = exercise.drill in _CONTRARY
    return Task(title, model, items, free=not given, contrary=contrary)


def task_of_exercises(
    exercises: Sequence[Exercise], points: Points | None = None, *, begun: bool = False
) -> Task:
    """Return the task of all exercises of a drill, one after the other.

    Args:
        exercises: The exercises.
        points: What chords are worth.
        begun: Whether each gives the notes of its first chord, as on a blank copy.

    Raises:
        MelodyError: If there is none.
    """
    if not exercises:
        raise MelodyError("There is no exercise in this drill.", None, "Name another.")
    tasks = [task_of_exercise(each, points, begun=begun) for each in exercises]
    if len(tasks) == 1:
        return tasks[0]
    names = list(dict.fromkeys(each.drill for each in exercises if each.drill))
    keys = dict.fromkeys(str(each.key) for each in exercises)
    title = f"{title_of(names) if names else 'Drill'}, {', '.join(keys)}"
    return _in_a_row(tasks, joined(exercises, title), title)


def _in_a_row(tasks: Sequence[Task], model: Arrangement, title: str) -> Task:
    """Return tasks as one, over a model that holds theirs one after the other."""
    lengths = (task.model.tune.end for task in tasks)
    starts = accumulate(lengths, initial=Fraction(0))
    items = tuple(
        item._replace(
            onset=start + item.onset,
            end=start + item.end,
            place=model.tune.place(start + item.onset),
        )
        for task, start in zip(tasks, starts, strict=False)
        for item in task.items
    )
    free = all(task.free for task in tasks)
    return tasks[0]._replace(title=title, model=model, items=items, free=free)


def items_at(
    model: Arrangement,
    slots: tuple[Slot, ...],
    parts: tuple[ChordPart, ...],
    points: Points,
) -> tuple[TaskItem, ...]:
    """Return an item for each of some slots, worth what the model writes there."""
    ends = [*(slot.onset for slot in slots[1:]), model.tune.end]
    return tuple(
        TaskItem(
            slot.onset, end, slot.place, _worth(model, slot.onset, end, parts, points)
        )
        for slot, end in zip(slots, ends, strict=True)
    )


def _worth(
    model: Arrangement,
    onset: Fraction,
    end: Fraction,
    parts: tuple[ChordPart, ...],
    points: Points,
) -> Worth:
    """Return the parts that are to be written between two places."""
    inner = bool(heard(model, onset, end, left=False))
    left = bool(heard(model, onset, end, left=True))
    asked = {
        ChordPart.NOTES: inner,
        ChordPart.JOINING: inner,
        ChordPart.LEFT: left,
        ChordPart.LABEL: True,
    }
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
                chord.upright
                for chord in (slot.chord, *(other.chord for other in slot.alternatives))
                if chord
            ),
        )
        for slot in model.slots
    )


_BAR = Fraction(4)
_SHARES = {
    ChordPart.NOTES: NOTES,
    ChordPart.LEFT: LEFT,
    ChordPart.JOINING: JOIN,
    ChordPart.LABEL: LABEL,
}


def tasks_of_sheet(sheet: Worksheet) -> tuple[Task, ...]:
    """Return the tasks of a worksheet, one for each piece that pupils write.

    The sheet itself says what is asked, so that no kind needs a task of its own.

    Raises:
        MelodyError: If a list is handed in, such as one of planted faults.
    """
    if sheet.is_list:
        what = "Faults that were found are" if sheet.planted else "Answers by ear are"
        raise MelodyError(
            f"{what} a list, not music.",
            None,
            "Hand in a list, one a line.",
        )
    if sheet.diagrams:
        tasks = [_keyboards(sheet)]
    elif sheet.pieces[0].tune_only:
        tasks = list(_symbols_or_phrases(sheet))
    elif not sheet.pieces[0].hidden:
        tasks = [_labels(sheet)]
    else:
        tasks = [_chords(sheet)]
    return tuple(task for task in tasks if task.marks)


def task_of_whole_sheet(sheet: Worksheet) -> Task:
    """Return all that pupils write on a worksheet as one task.

    Raises:
        MelodyError: If a list is handed in, such as one of planted faults.
    """
    tasks = tasks_of_sheet(sheet)
    if len(sheet.pieces) < 2:
        return tasks[0]
    given = [Slice(piece.arrangement, numbered=True) for piece in sheet.pieces]
    first = sheet.pieces[0].arrangement
    empty = tasks[0]._replace(model=first, items=())
    model = splicing.joined(given)
    return _in_a_row((empty, *tasks), model, _title(sheet))


def _chords(sheet: Worksheet) -> Task:
    """Return the task of writing the notes of chords, or of choosing them too."""
    row, model = sheet.order.kind.row, sheet.pieces[0].arrangement
    # Where the chord goes on it belongs to the item in which it began.
    listed = [item for item in sheet.items if not item.stays]
    onsets = [item.onset for item in listed]
    rows = zip(onsets, [*onsets[1:], model.tune.end], listed, strict=True)
    # Where the sheet gives one hand all marks are for the other.
    hands = {model.notes[number].hand for number in sheet.pieces[0].hidden}
    asked = model._replace(notes=tuple(n for n in model.notes if n.hand in hands))
    items = tuple(
        TaskItem(onset, end, item.place, _worth_of_marks(asked, onset, item.marks, end))
        for onset, end, item in rows
    )
    task = Task(_title(sheet), model, items, chosen=row.chosen, free=row.free)
    if not row.chosen:
        return task._replace(asks=_named(sheet))
    return task._replace(asks=(Ask.SYMBOL,), accepted=accepted_in(model))


def _named(sheet: Worksheet) -> tuple[Ask, ...]:
    """Return what a sheet asks for beside the notes of given chords."""
    boxes = [box for box in sheet.pieces[0].boxes if box.ruled and not box.key_only]
    if not boxes:
        return ()
    return (Ask.SYMBOL,) if boxes[0].above else (Ask.NUMERAL,)


def _symbols(sheet: Worksheet) -> Task:
    """Return the task of choosing chords for a tune, without any notes of theirs."""
    model = sheet.pieces[0].arrangement
    items = _items(sheet, 0, ChordPart.LABEL)
    task = Task(_title(sheet), model, items, chosen=True, asks=(Ask.SYMBOL,))
    return task._replace(accepted=accepted_in(model))


def _symbols_or_phrases(sheet: Worksheet) -> Iterator[Task]:
    """Yield the tasks of a sheet with one staff."""
    row = sheet.order.kind.row
    if row.chosen:
        yield _symbols(sheet)
    elif row.heard:
        yield _heard(sheet)
    else:
        yield from _phrases(sheet)


def _heard(sheet: Worksheet) -> Task:
    """Return the task of naming chords that are heard and not seen."""
    return _labels(sheet)._replace(asks=(Ask.NUMERAL,))


def _labels(sheet: Worksheet) -> Task:
    model = sheet.pieces[0].arrangement
    # Between two chords that are asked for there may be one that the sheet names.
    ends = [slot.onset for slot in model.changes]
    items = tuple(
        item._replace(end=min([at for at in ends if at > item.onset] + [item.end]))
        for item in _items(sheet, 0, ChordPart.LABEL)
    )
    asks = [Ask.SYMBOL, Ask.NUMERAL, Ask.SHAPE, Ask.FIGURES]
    if sheet.order.labels is Labels.FIGURES:
        asks.remove(Ask.SHAPE)
    return Task(_title(sheet), model, items, asks=tuple(asks), notes_given=True)


def _phrases(sheet: Worksheet) -> Iterator[Task]:
    """Yield a task for each key that a phrase is written in."""
    for number, piece in enumerate(sheet.pieces):
        if any(item.piece == number for item in sheet.items):
            title = f"{_title(sheet)}, {piece.arrangement.tune.key}"
            items = _items(sheet, number, ChordPart.NOTES)
            yield Task(title, piece.arrangement, items, tune_only=True)


def _keyboards(sheet: Worksheet) -> Task:
    model = _on_bars(sheet)
    onsets = [slot.onset for slot in model.slots]
    items = tuple(
        TaskItem(
            onset,
            onset + _BAR,
            model.tune.place(onset),
            _worth_of_marks(model, onset, item.marks),
        )
        for onset, item in zip(onsets, sheet.items, strict=True)
    )
    return Task(_title(sheet), model, items)


def _title(sheet: Worksheet) -> str:
    return f"{sheet.tune.title or 'Worksheet'}: {sheet.footer}"


def _items(sheet: Worksheet, piece: int, part: ChordPart) -> tuple[TaskItem, ...]:
    """Return the items of a piece, all of whose marks are for one part."""
    items = [item for item in sheet.items if item.piece == piece]
    last = sheet.pieces[piece].arrangement.tune.end
    ends = [*(item.onset for item in items[1:]), last]
    return tuple(
        TaskItem(
            item.onset,
            end,
            item.place,
            ((part, Fraction(item.marks)),) if item.marks else (),
        )
        for item, end in zip(items, ends, strict=True)
    )


def _worth_of_marks(
    model: Arrangement, onset: Fraction, marks: int, end: Fraction | None = None
) -> Worth:
    """Return the marks of an item, part by part, as the key tells them.

    What a hand need not write there goes to the other one.
    """
    if not marks:
        return ()
    end = end or onset + _BAR
    order = [ChordPart.NOTES, ChordPart.LEFT, ChordPart.JOINING, ChordPart.LABEL]
    worth: dict[ChordPart, Fraction] = {}
    left = Fraction(marks)
    for part in order[:-1]:
        worth[part] = min(left, Fraction(_SHARES[part]))
        left -= worth[part]
    # A sheet may ask for more than one name of a chord.
    worth[ChordPart.LABEL] = left
    lacks = {
        ChordPart.NOTES: not heard(model, onset, end, left=False),
        ChordPart.LEFT: not heard(model, onset, end, left=True),
    }
    if lacks[ChordPart.NOTES]:
        worth[ChordPart.LEFT] += worth.pop(ChordPart.NOTES) + worth.pop(
            ChordPart.JOINING
        )
    elif lacks[ChordPart.LEFT]:
        worth[ChordPart.NOTES] += worth.pop(ChordPart.LEFT)
    return tuple((part, share) for part, share in worth.items() if share)


def _on_bars(sheet: Worksheet) -> Arrangement:
    """Return the keyboards of a sheet as music, a bar for each."""
    steps = []
    for item, diagram in zip(sheet.items, sheet.diagrams, strict=True):
        chord = parse_symbol(item.given.partition(" ")[0])
        left = tuple(parse_pitch(w) for w in diagram.left.split() if w != "rests")
        voicing = Voicing(left, tuple(pitch for pitch, _ in diagram.presses))
        numbered = NumberedChord(chord, numeral(chord, sheet.key))
        steps.append(DrillStep(numbered, voicing, _BAR))
    return score(sheet.key, steps, LeftHand.HELD, START_TEMPO)
