"""A marked work as plain values: every deduction, and a sum that can be recounted."""

from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place, format_beat
from harmonise.marks.kinds import FaultKind
from harmonise.marks.task import Task
from harmonise.marks.work import Work


class Line(NamedTuple):
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


class BlankLine(NamedTuple):
    """Something left blank.

    Attributes:
        item: Number of the chord.
        place: Bar and beat.
        what: What is blank, in a few words.
        points: What it would have earned.
    """

    item: int
    place: Place
    what: str
    points: Fraction


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
    lines: tuple[Line, ...]
    blanks: tuple[BlankLine, ...]
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
        rows = [*(own.points for own in self.lines), *(b.points for b in self.blanks)]
        return sum(rows, Fraction(0)) - sum((n for _, n in self.back), Fraction(0))

    @property
    def got(self) -> Fraction:
        """What was earned."""
        return self.worth - self.lost

    def deducted(self, code: str) -> Fraction:
        """Return what faults of a code cost in all."""
        rows = (own.points for own in self.lines if own.kind.code == code)
        return sum(rows, Fraction(0))


def format_marks(marks: Fraction) -> str:
    """Return marks as teachers write them.

    >>> format_marks(Fraction(7, 2)), format_marks(Fraction(1, 2))
    ('3 1/2', '1/2')
    """
    return format_beat(marks)
