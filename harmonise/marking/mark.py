"""Marking a pupil's work, as a teacher would: place, fault, reason, points.

    script = parse_script(data, task.model.tune)
    print(format_slip(mark(script, task)))

The faults are found by the rules that our own arrangements keep, so that a model
answer gets full marks. One encouraging sentence is worked out from facts besides, and
is therefore true.
"""

from collections.abc import Iterator
from pathlib import Path

from harmonise.marking.finding import findings
from harmonise.marking.labels import unlabelled
from harmonise.marking.marked import Marking, MarkingManner, given_back, weigh
from harmonise.marking.script import Script
from harmonise.marking.scripts import read_script
from harmonise.marking.task import Task, TaskItem, Worth, read_points
from harmonise.marking.work import work_of
from harmonise.rules.table import ChordPart

_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six",
    "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def praise(marking: Marking) -> str:
    """Return what went well, the greatest thing that did."""
    return next(_facts(marking))


def _facts(marking: Marking) -> Iterator[str]:
    """Yield what is true and good, the best first; there is always something."""
    codes = {own.kind.key for own in marking.lines if own.number}
    if not marking.lost and not codes:
        yield "Every chord is right: full marks."
    yield from _roots(marking, codes)
    yield from _chords(marking)
    yield from _tune(marking, codes)
    if _written(marking, ChordPart.JOINING) > 2 and not codes & {"M04", "M05"}:
        yield "Every chord moves smoothly on from the one before it."
    if _written(marking, ChordPart.LEFT) and not codes & {"M08"}:
        yield "The hands never cross."
    if _written(marking, ChordPart.NOTES) and "M07" not in codes:
        yield "Every chord that you wrote lies well under the hand."
    if not marking.work.aligned.notes:
        yield "The sheet is still yours to fill: begin with the first chord."
    yield "You wrote something in every place named here, so there is work to build on."


def _written(marking: Marking, part: ChordPart) -> int:
    """Return in how many chords a part was asked for and written."""
    return sum(
        part in dict(item.worth) and (number, part) not in marking.work.blanks
        for number, item in enumerate(marking.task.items)
    )


def _roots(marking: Marking, codes: set[str]) -> Iterator[str]:
    count = _written(marking, ChordPart.LEFT)
    if count < 2 or codes & {"M06", "M02.left"}:
        return
    asked = sum(ChordPart.LEFT in dict(item.worth) for item in marking.task.items)
    if count == asked:
        yield f"All {_number(count)} left-hand roots are right."
    else:
        yield f"All {_number(count)} left-hand roots that you wrote are right."


def _chords(marking: Marking) -> Iterator[str]:
    """Yield how many chords are wholly right, or the longest row of them."""
    lost = {own.item for own in marking.lines if own.number}
    lost |= {own.item for own in marking.blanks}
    worth = [n for n, item in enumerate(marking.task.items) if item.marks]
    fine = [number for number in worth if number not in lost]
    if len(fine) > 1 and 2 * len(fine) >= len(worth):
        count, every = _number(len(fine)), _number(len(worth))
        yield f"{count.capitalize()} of {every} chords are wholly right."
    elif fine:
        place = marking.task.items[fine[0]].place
        yield f"The chord at {place} is wholly right."


def _tune(marking: Marking, codes: set[str]) -> Iterator[str]:
    written = _written(marking, ChordPart.NOTES)
    if written and marking.work.tune and not codes & {"M01", "M20"}:
        yield "The tune is on top from beginning to end."


def _number(count: int) -> str:
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


_NO_NAMES = (
    "MIDI knows keys and no names of notes: spelling was not marked, and notes that "
    "were cut short were not counted."
)
_NO_LABELS = "This kind of file has no chord names, so they were not marked."


def mark(
    script: Script, task: Task, manner: MarkingManner | None = None, name: str = ""
) -> Marking:
    """Return a pupil's work, marked.

    Args:
        script: What the pupil wrote.
        task: What was asked.
        manner: Points and style; the table that comes along, in keyboard style.
        name: Whose it is; "" for the title of the script.
    """
    manner = manner or MarkingManner(read_points())
    work = work_of(script, task)
    notes = [_NO_NAMES] if not script.spelled else []
    if unlabelled(work, task):
        task = _without_labels(task)
        notes.append(_NO_LABELS)
    found, blanks = findings(work, task)
    lines = weigh(found, work, task, manner)
    empty = tuple(blanks)
    back = given_back(lines, empty, task.items)
    done = Marking(name or script.title, task, work, lines, empty, back)
    told = tuple(str(remark) for remark in script.remarks)
    return done._replace(praise=praise(done), notes=(*notes, *told))


def mark_file(
    path: Path, task: Task, manner: MarkingManner | None = None, name: str = ""
) -> Marking:
    """Read a pupil's work and mark it.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    script = read_script(path, task.model.tune)
    return mark(script, task, manner, name or path.stem)


def _without_labels(task: Task) -> Task:
    """Return a task without the marks for labels."""
    items = tuple(
        TaskItem(own.onset, own.end, own.place, _notes_only(own)) for own in task.items
    )
    return task._replace(items=items, asks=())


def _notes_only(item: TaskItem) -> Worth:
    return tuple(row for row in item.worth if row[0] is not ChordPart.LABEL)
