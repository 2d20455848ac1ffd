"""One slip, one deduction: findings become the lines of a slip.

A fault hides what follows from it in the same chord; the same slip in an exact repeat
is told and costs nothing; no chord loses more than it is worth.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.marks.fault import Blank, Finding
from harmonise.marks.finding import item_at
from harmonise.marks.kinds import BY_KEY, EXCUSED_ONCE
from harmonise.marks.marked import BlankLine, Line
from harmonise.marks.points import MarkingStyle, Points
from harmonise.marks.task import Item, Task
from harmonise.marks.work import Work
from harmonise.theory.arrangement import SoundingNote
from harmonise.theory.tune import Bar

COMMENT = "a comment, which costs nothing"


class Manner(NamedTuple):
    """How work is marked.

    Attributes:
        points: What chords are worth and what faults cost.
        style: Keyboard style or strict style.
    """

    points: Points
    style: MarkingStyle = MarkingStyle.KEYBOARD


def weigh(
    found: Sequence[Finding],
    work: Work,
    task: Task,
    manner: Manner,
) -> tuple[Line, ...]:
    """Return the lines of a slip, in score order, numbered where they cost marks."""
    told: list[Line] = []
    earlier: dict[tuple[object, ...], Line] = {}
    held: set[tuple[str, str]] = set()
    by_item: dict[int, list[Finding]] = defaultdict(list)
    for own in found:
        by_item[item_at(task.items, own.onset)].append(own)
    for number in sorted(by_item):
        rows = _once(by_item[number])
        fresh = [own for own in rows if (own.key, own.what) not in held]
        goes_on = _goes_on(work, task.items, number + 1)
        held = {(own.key, own.what) for own in rows} if goes_on else set()
        for own in fresh:
            line = _line(own, rows, number, task, manner)
            if line is None:
                continue
            mark = _in_repeat(own, work)
            if line.points and mark in earlier:
                before = earlier[mark].place.bar
                note = f"as in bar {before}, where it was counted"
                line = line._replace(points=Fraction(0), note=note)
            elif line.points:
                earlier[mark] = line
            told.append(line)
    return _numbered(told)


def _once(found: Sequence[Finding]) -> list[Finding]:
    """Return what is left of the faults of one chord when each slip counts once."""
    present = {own.key for own in found}
    hidden = {key for own in present for key in BY_KEY[own].hides}
    kept: list[Finding] = []
    for own in found:
        each_note = own.key == EXCUSED_ONCE
        same = [other for other in kept if other.key == own.key]
        again = any(other.what == own.what for other in same) or (
            same and not each_note
        )
        if own.key not in hidden and not again:
            kept.append(own)
    order = list(BY_KEY)
    return sorted(kept, key=lambda own: (own.onset, order.index(own.key)))


def _goes_on(work: Work, items: Sequence[Item], number: int) -> bool:
    """Whether an item has the chord of the one before, so that a slip is the same."""
    if number >= len(items):
        return False
    chords = [
        slot.chord
        for item in items[number - 1 : number + 1]
        for slot in work.judged.slots
        if slot.onset <= item.onset < slot.end
    ]
    return len(chords) == 2 and chords[0] == chords[1]


def _line(
    own: Finding,
    rows: Sequence[Finding],
    number: int,
    task: Task,
    manner: Manner,
) -> Line | None:
    """Return the line of a fault; None if it is not even told."""
    price = manner.points.prices[own.key]
    if price.when == "off":
        return None
    deduct = price.deduct
    if price.beside is not None and any(other.key == "M04" for other in rows):
        deduct = price.beside
    costs = price.costs(manner.style)
    return Line(
        0,
        BY_KEY[own.key],
        number,
        own.onset,
        task.model.tune.place(own.onset),
        own.what,
        own.remedy,
        deduct if costs else Fraction(0),
        "" if costs else COMMENT,
    )


def _in_repeat(own: Finding, work: Work) -> tuple[object, ...]:
    """Return what makes a fault the same as one in an exact repeat of its bar."""
    bar = work.judged.tune.bar_at(own.onset)
    return own.key, own.what, own.onset - bar.start, _content(bar, work)


def _content(bar: Bar, work: Work) -> tuple[object, ...]:
    inside = [n for n in work.judged.notes if bar.start <= n.onset < bar.end]
    chords = [
        (slot.onset - bar.start, slot.chord)
        for slot in work.judged.slots
        if bar.start <= slot.onset < bar.end
    ]
    return (*(_relative(note, bar) for note in inside), *chords)


def _relative(note: SoundingNote, bar: Bar) -> SoundingNote:
    return note._replace(onset=note.onset - bar.start, finger=0)


def _numbered(lines: Iterable[Line]) -> tuple[Line, ...]:
    ordered = sorted(lines, key=lambda own: own.onset)
    found, number = [], 0
    for own in ordered:
        if own.note != COMMENT:
            number += 1
            own = own._replace(number=number)  # noqa: PLW2901 (a value, not the row)
        found.append(own)
    return tuple(found)


def blank_lines(
    blanks: Sequence[Blank], items: Sequence[Item]
) -> tuple[BlankLine, ...]:
    """Return the lines of what was left blank; one line for each chord and part."""
    return tuple(
        BlankLine(own.item, items[own.item].place, own.what, own.marks)
        for own in blanks
        if own.marks
    )


def given_back(
    lines: Sequence[Line], blanks: Sequence[BlankLine], items: Sequence[Item]
) -> tuple[tuple[int, Fraction], ...]:
    """Return what is given back, so that no chord loses more than it is worth."""
    lost: dict[int, Fraction] = defaultdict(Fraction)
    for own in lines:
        lost[own.item] += own.points
    for blank in blanks:
        lost[blank.item] += blank.points
    return tuple(
        (number, lost[number] - items[number].marks)
        for number in sorted(lost)
        if lost[number] > items[number].marks
    )
