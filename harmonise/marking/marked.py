"""A marked work as plain values: one slip, one deduction, and a sum to recount.

A fault hides what follows from it in the same chord; the same slip in an exact repeat
is told and costs nothing; no chord loses more than it is worth.
"""

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate
from typing import NamedTuple

from harmonise.errors import Place, bars_called, format_beat
from harmonise.marking.finding import item_at
from harmonise.marking.labels import slot_at
from harmonise.marking.task import Blank, Finding, MarkingStyle, Points, Task, TaskItem
from harmonise.marking.work import Work
from harmonise.rules.table import BY_KEY, FaultKind


class SlipLine(NamedTuple):
    """One line of a slip.

    Attributes:
        number: Its number in the score; 0 for a comment that costs nothing.
        kind: The fault.
        item: Number of the chord that it belongs to.
        onset: Crotchets from the start.
        place: Bar and beat.
        what: What is there, in one sentence.
        remedy: What is right, as an instruction.
        points: What it costs; 0 for comments and exact repeats.
        note: Why it costs nothing; or "".
    """

    number: int
    kind: FaultKind
    item: int
    onset: Fraction
    place: Place
    what: str
    remedy: str
    points: Fraction
    note: str = ""


class Marking(NamedTuple):
    """A marked work.

    Attributes:
        name: Whose it is.
        task: What was asked.
        work: What was written.
        lines: Faults and comments, in score order.
        blanks: What was left blank, in score order.
        back: Marks given back because no chord loses more than it is worth, by the
            number of the chord.
        praise: What went well, in one true sentence.
        notes: What the reader of the slip should know besides.
    """

    name: str
    task: Task
    work: Work
    lines: tuple[SlipLine, ...]
    blanks: tuple[Blank, ...]
    back: tuple[tuple[int, Fraction], ...]
    praise: str = ""
    notes: tuple[str, ...] = ()

    @property
    def worth(self) -> Fraction:
        """What the work is worth in all, without parts that could not be marked."""
        return self.task.marks

    @property
    def lost(self) -> Fraction:
        """What was deducted or left blank, less what was given back."""
        rows = [*(line.points for line in self.lines), *(b.points for b in self.blanks)]
        return sum((*rows, *(-marks for _, marks in self.back)), Fraction(0))

    @property
    def got(self) -> Fraction:
        """What was earned."""
        return self.worth - self.lost

    def deducted(self, code: str) -> Fraction:
        """Return what faults of a code cost in all."""
        rows = (line.points for line in self.lines if line.kind.code == code)
        return sum(rows, Fraction(0))


def format_marks(marks: Fraction) -> str:
    """Return marks as teachers write them.

    >>> format_marks(Fraction(7, 2)), format_marks(Fraction(1, 2))
    ('3 1/2', '1/2')
    """
    return format_beat(marks)


_HALF = Fraction(1, 2)


def scaled_to(got: Fraction, worth: Fraction, out_of: int) -> Fraction:
    """Return what was earned of another total, to the nearest half."""
    if not worth:
        return Fraction(0)
    return Fraction(int(got * out_of / worth / _HALF + _HALF)) * _HALF


COMMENT = "a comment, which costs nothing"


class MarkingManner(NamedTuple):
    """How work is marked.

    Attributes:
        points: What chords are worth and what faults cost.
        style: Keyboard style or strict style.
    """

    points: Points
    style: MarkingStyle = MarkingStyle.KEYBOARD


def weigh(
    faults: Sequence[Finding], work: Work, task: Task, manner: MarkingManner
) -> tuple[SlipLine, ...]:
    """Return the lines of a slip, in score order, numbered where they cost marks."""
    lines: list[SlipLine] = []
    earlier: dict[tuple[object, ...], SlipLine] = {}
    held: set[tuple[str, str]] = set()
    by_item: dict[int, list[Finding]] = defaultdict(list)
    for finding in faults:
        by_item[item_at(task.items, finding.onset)].append(finding)
    for number in sorted(by_item):
        rows = _once(by_item[number], by_item.get(number - 1, ()), task, manner)
        fresh = [finding for finding in rows if (finding.key, finding.what) not in held]
        # Under a chord that goes on a slip is the same one, and not told again.
        chords = {
            slot_at(work.judged.slots, item.onset).chord
            for item in task.items[number : number + 2]
        }
        goes_on = number + 1 < len(task.items) and len(chords) == 1
        held = {(finding.key, finding.what) for finding in rows} if goes_on else set()
        for finding in fresh:
            line = _line(finding, rows, number, task, manner)
            if line is None:
                continue
            mark = _in_repeat(finding, work)
            if line.points and mark in earlier:
                before = bars_called([earlier[mark].place.bar])
                note = f"as in {before}, where it was counted"
                line = line._replace(points=Fraction(0), note=note)
            elif line.points:
                earlier[mark] = line
            lines.append(line)
    # What shifts or moves all the rest is read before the rest.
    lines.sort(key=lambda line: (not line.kind.of_all, line.onset))
    numbers = accumulate(int(line.note != COMMENT) for line in lines)
    return tuple(
        line if line.note == COMMENT else line._replace(number=number)
        for line, number in zip(lines, numbers, strict=True)
    )


def _once(
    faults: Sequence[Finding],
    before: Sequence[Finding],
    task: Task,
    manner: MarkingManner,
) -> list[Finding]:
    """Return what is left of the faults of one chord when each slip counts once.

    Args:
        faults: Those of the chord.
        before: Those of the chord before it.
        task: What was asked.
        manner: How work is marked: a mere comment hides nothing that costs.
    """
    grave = (finding.key for finding in faults if _costs(finding, task, manner))
    hidden = {key for fault in grave for key in BY_KEY[fault].hides}
    hidden |= {key for finding in before for key in BY_KEY[finding.key].hides_after}
    kept: list[Finding] = []
    for finding in faults:
        alike = [other.what for other in kept if other.key == finding.key]
        again = finding.what in alike or (alike and not BY_KEY[finding.key].each_note)
        if finding.key not in hidden and not again:
            kept.append(finding)
    order = list(BY_KEY)
    return sorted(kept, key=lambda finding: (finding.onset, order.index(finding.key)))


def _line(
    finding: Finding,
    rows: Sequence[Finding],
    number: int,
    task: Task,
    manner: MarkingManner,
) -> SlipLine | None:
    """Return the line of a fault; None if it is not even told."""
    price = manner.points.prices[finding.key]
    if price.when == "off":
        return None
    deduct = price.deduct
    if price.beside is not None and any(other.key == "M04" for other in rows):
        deduct = price.beside
    costs = _costs(finding, task, manner)
    return SlipLine(
        0,
        BY_KEY[finding.key],
        number,
        finding.onset,
        task.model.tune.place(finding.onset),
        finding.what,
        finding.remedy,
        deduct if costs else Fraction(0),
        "" if costs else COMMENT,
    )


def _costs(finding: Finding, task: Task, manner: MarkingManner) -> bool:
    """Whether a fault costs marks; else it is a comment, or not even told."""
    when = manner.points.prices[finding.key].when
    strict = manner.style is MarkingStyle.STRICT
    # A drill about contrary motion has no other question.
    strict |= task.contrary and finding.key == "M17"
    return when == "always" or (strict and when == "strict")


def _in_repeat(finding: Finding, work: Work) -> tuple[object, ...]:
    """Return what makes a fault the same as one in an exact repeat of its bar."""
    bar = work.judged.tune.bar_at(finding.onset)
    content = [
        note._replace(onset=note.onset - bar.start, finger=0)
        for note in work.judged.notes
        if bar.start <= note.onset < bar.end
    ]
    chords = [
        (slot.onset - bar.start, slot.chord)
        for slot in work.judged.slots
        if bar.start <= slot.onset < bar.end
    ]
    return finding.key, finding.what, finding.onset - bar.start, *content, *chords


def given_back(
    lines: Sequence[SlipLine], blanks: Sequence[Blank], items: Sequence[TaskItem]
) -> tuple[tuple[int, Fraction], ...]:
    """Return what is given back, so that no chord loses more than it is worth."""
    lost: dict[int, Fraction] = defaultdict(Fraction)
    for line in lines:
        lost[line.item] += line.points
    for blank in blanks:
        lost[blank.item] += blank.points
    return tuple(
        (number, lost[number] - items[number].marks)
        for number in sorted(lost)
        if lost[number] > items[number].marks
    )
