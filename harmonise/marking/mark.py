"""Marking a pupil's work, as a teacher would: place, fault, reason, points.

    marking = mark(parse_script(data, task.model.tune), task)
    print(format_slip(marking))

The faults are found by the rules that our own arrangements keep, so that a model
answer gets full marks. What went well is said besides, in one sentence that is worked
out from facts and is therefore true. The sheet of planted faults is no music to be
marked: its pupils hand in a list, which `mark_list` weighs.
"""

import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import NotationError, Place, shorten
from harmonise.lessons.sheet_parts import Planted
from harmonise.lessons.worksheet import Worksheet
from harmonise.marking.finding import findings
from harmonise.marking.labels import unlabelled
from harmonise.marking.marked import Marking, MarkingManner, given_back, weigh
from harmonise.marking.script import Script, placed, typed_beat
from harmonise.marking.scripts import read_script
from harmonise.marking.task import Task, TaskItem, Worth, read_points
from harmonise.marking.work import work_of
from harmonise.rules.table import KINDS, ChordPart

_NUMBERS = (
    "no", "one", "two", "three", "four", "five", "six",
    "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip


def praise(marking: Marking) -> str:
    """Return what went well, the greatest thing that did."""
    return next(_facts(marking))


def _facts(marking: Marking) -> Iterator[str]:
    """Yield what is true and good, the best first; there is always something."""
    codes = {line.kind.key for line in marking.lines if line.number}
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
    if not marking.got and not codes:
        yield "The sheet is still yours to fill: begin with the first chord."
    if not marking.blanks:
        yield "You wrote something in every place, so there is work to build on."
    yield "You have begun, and there is work to build on."


def _written(marking: Marking, part: ChordPart) -> int:
    """Return in how many chords a part was asked for and written."""
    work = marking.work
    return sum(
        part in dict(item.worth)
        and (number, part) not in work.blanks
        and not work.aligned.left_out(item.onset)
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
    lost = {line.item for line in marking.lines if line.number}
    lost |= {blank.item for blank in marking.blanks}
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
_GOES_ON = "There is music after the end of what was asked; it was not marked."
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
    notes = [_GOES_ON] if work.aligned.goes_on else []
    notes += [_NO_NAMES] if not script.spelled else []
    if unlabelled(work, task):
        task = _without_labels(task)
        notes.append(_NO_LABELS)
    faults, blanks = findings(work, task)
    lines = weigh(faults, work, task, manner)
    empty = tuple(blanks)
    back = given_back(lines, empty, task.items)
    marking = Marking(name or script.title, task, work, lines, empty, back)
    remarks = tuple(str(remark) for remark in script.remarks)
    return marking._replace(
        praise=praise(marking), notes=(*work.aligned.assumed, *notes, *remarks)
    )


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
        TaskItem(item.onset, item.end, item.place, _notes_only(item))
        for item in task.items
    )
    return task._replace(items=items, asks=())


def _notes_only(item: TaskItem) -> Worth:
    return tuple(row for row in item.worth if row[0] is not ChordPart.LABEL)


_NOTE = re.compile(r"\b[A-G][#b]*(?:maj|m|dim|aug)?\d?(?![a-z])")
PLACE, NAME, RIGHT = Fraction(1), Fraction(1), Fraction(1)


class Named(NamedTuple):
    """A fault that a pupil found on the sheet, as the pupil's list names it.

    Attributes:
        place: Bar and beat.
        name: What is said to be wrong.
        right: What is said to be right.
    """

    place: Place
    name: str
    right: str


class FoundFault(NamedTuple):
    """One planted fault, and what a pupil earned for it.

    Attributes:
        planted: The fault.
        marks: 0 to 3.
        missing: What was not earned, in words.
    """

    planted: Planted
    marks: Fraction
    missing: tuple[str, ...]


def parse_list(text: str) -> tuple[Named, ...]:
    """Return the faults that a pupil found, from a list of one a line.

        # bar and beat: what is wrong | what is right
        3.1: wrong root in the left hand | C3 in the left hand
        5:   M11 | G#4

    Every fault is worth its place, its name (or code), and the notes that are right.

    Raises:
        NotationError: If a line has no place.
    """
    return tuple(_named(line.strip()) for line in text.splitlines() if _counts(line))


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _named(line: str) -> Named:
    match = placed(line)
    if not match:
        raise NotationError(
            f'"{shorten(line)}" has no bar.',
            None,
            "Write lines such as: 3.1: third missing | E4",
        )
    name, _, right = match[3].partition("|")
    place = Place(int(match[1]), typed_beat(match[2] or "1"))
    # Without a bar in between the one sentence says both.
    return Named(place, name.strip(), right.strip() or name.strip())


def mark_list(named: tuple[Named, ...], sheet: Worksheet) -> tuple[FoundFault, ...]:
    """Return what a list earns for each planted fault but the example."""
    rows = zip(sheet.planted, sheet.items, strict=True)
    return tuple(_judged(fault, named) for fault, item in rows if item.marks)


def _judged(fault: Planted, named: tuple[Named, ...]) -> FoundFault:
    # No two planted faults share a bar, so what is named in the bar is meant for this.
    here = [entry for entry in named if entry.place.bar == fault.place.bar]
    if not here:
        return FoundFault(fault, Fraction(0), ("place", "name", "what is right"))
    earned = {
        "place": any(entry.place == fault.place for entry in here),
        "name": any(_names(entry.name, fault) for entry in here),
        "what is right": any(_rights(entry.right, fault) for entry in here),
    }
    marks = [PLACE, NAME, RIGHT]
    got = sum(
        (mark for mark, fine in zip(marks, earned.values(), strict=True) if fine),
        Fraction(0),
    )
    return FoundFault(
        fault, got, tuple(name for name, fine in earned.items() if not fine)
    )


_SAID = {
    "M01": r"\b(tune|melody|on top|above)\b",
    "M02": r"\b(wrong note|instead|should be|not in the chord)\b",
    "M03": r"\b(missing|no (third|root|fifth)|left out|lacks?)\b",
    "M06": r"\b(bass|root|left hand)\b",
    "M07": r"\b(stretch|too wide|too far apart|octave)\b",
    "M08": r"\bcross",
    "M11": r"\bspel",
    "M12": r"\b(raised|sharpened|leading note)\b",
    "M13": r"\b(wrong chord|not fit|clash)",
    "M15": r"\b(close|cadence|ends?|tonic)\b",
    "M16": r"\b(V|five|dominant)\b.*\b(IV|four|subdominant)\b",
}
"""Words by which pupils name a fault without its usual name."""


def _names(name: str, fault: Planted) -> bool:
    """Whether a name, a code or a pupil's own words are those of a fault."""
    said = name.casefold()
    names = {fault.name, *(kind.name for kind in KINDS if kind.code == fault.code)}
    if fault.code.casefold() in said or any(n.casefold() in said for n in names):
        return True
    words = _SAID.get(fault.code)
    return bool(words and re.search(words, name, re.IGNORECASE))


def _rights(right: str, fault: Planted) -> bool:
    """Whether the note or chord that the key wants is among those named as right.

    A letter without its octave is enough: C for C3.
    """
    wanted = _right_names(fault)
    named = _NOTE.findall(right)
    return bool(wanted) and all(
        one in named or one.rstrip("0123456789") in named for one in wanted
    )


def _right_names(fault: Planted) -> list[str]:
    """Return what must be named: the first note or chord of the key's remedy."""
    return _NOTE.findall(fault.remedy)[:1]


def format_found(judged: tuple[FoundFault, ...], sheet: Worksheet) -> str:
    """Return the slip of a list: each planted fault, what it earned, and the sum."""
    lines = []
    for number, fault in enumerate(judged, 1):
        where = str(fault.planted.place)
        missing = f" Missing: {', '.join(fault.missing)}." if fault.missing else ""
        answer = (
            f" {fault.planted.what} {fault.planted.remedy}" if fault.missing else ""
        )
        lines.append(
            f"{number}. {where[:1].upper()}{where[1:]}: {fault.planted.name}."
            f"{missing}{answer}  [{fault.marks}]"
        )
    terms = " + ".join(str(fault.marks) for fault in judged)
    got = sum((fault.marks for fault in judged), Fraction(0))
    return "\n".join([*lines, "", f"Sum: {terms} = {got} of {sheet.marks}"]) + "\n"
