"""Marking a pupil's work, as a teacher would: place, fault, reason, points.

    script = parse_script(data, task.model.tune)
    print(format_slip(mark(script, task)))

The faults are found by the rules that our own arrangements keep, so that a model
answer gets full marks; `harmonise.marks` is the room where the work is done.
"""

from pathlib import Path

from harmonise.marks.finding import findings
from harmonise.marks.labels import unlabelled
from harmonise.marks.marked import Marking
from harmonise.marks.points import read_points
from harmonise.marks.praise import praise
from harmonise.marks.task import Item, Part, Task, Worth
from harmonise.marks.weighing import Manner, blank_lines, given_back, weigh
from harmonise.marks.work import work_of
from harmonise.notation.reading.scripts import Script, read_script

_NO_NAMES = (
    "MIDI knows keys and no names of notes: spelling was not marked, and notes that "
    "were cut short were not counted."
)
_NO_LABELS = "This kind of file has no chord names, so they were not marked."


def mark(
    script: Script, task: Task, manner: Manner | None = None, name: str = ""
) -> Marking:
    """Return a pupil's work, marked.

    Args:
        script: What the pupil wrote.
        task: What was asked.
        manner: Points and style; the table that comes along, in keyboard style.
        name: Whose it is; "" for the title of the script.
    """
    manner = manner or Manner(read_points())
    work = work_of(script, task)
    notes = [_NO_NAMES] if not script.spelled else []
    if unlabelled(work, task):
        task = _without_labels(task)
        notes.append(_NO_LABELS)
    found, blanks = findings(work, task)
    lines = weigh(found, work, task, manner)
    empty = blank_lines(blanks, task.items)
    back = given_back(lines, empty, task.items)
    done = Marking(name or script.title, task, work, lines, empty, back)
    told = tuple(str(remark) for remark in script.remarks)
    return done._replace(praise=praise(done), notes=(*notes, *told))


def mark_file(
    path: Path, task: Task, manner: Manner | None = None, name: str = ""
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
        Item(own.onset, own.end, own.place, _notes_only(own)) for own in task.items
    )
    return task._replace(items=items, asks=())


def _notes_only(item: Item) -> Worth:
    return tuple(row for row in item.worth if row[0] is not Part.LABEL)
