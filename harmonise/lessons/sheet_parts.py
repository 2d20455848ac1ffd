"""What a worksheet is made of: things to do, music with boxes, keyboards, faults."""

from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.pitch import Pitch


class Answer(NamedTuple):
    """A right answer.

    Attributes:
        text: What the pupil may write.
        reason: Why, in a sentence; "" where there is nothing to explain.
    """

    text: str
    reason: str = ""


class SheetItem(NamedTuple):
    """One thing to do.

    Attributes:
        place: Bar and beat.
        onset: Crotchets from the start of its piece.
        piece: Number of the piece that it stands in, from 0.
        answers: Every accepted answer, the model first.
        marks: What it is worth; 0 for the worked example.
        given: What the sheet tells of it, such as the chord.
        stays: Whether the chord before it merely goes on, which is worth nothing.
    """

    place: Place
    onset: Fraction
    piece: int
    answers: tuple[Answer, ...]
    marks: int
    given: str = ""
    stays: bool = False


class Box(NamedTuple):
    """A box in the music, empty for the pupil and filled in the key.

    Attributes:
        onset: Crotchets from the start.
        text: What is right to write in it.
        above: Whether it stands over the treble staff and not under the bass staff.
        given: Whether it is filled on the sheet too.
        key_only: Whether it stands in the key alone.
        ruled: Whether it has a frame; else it is a mere word.
    """

    onset: Fraction
    text: str
    above: bool = False
    given: bool = False
    key_only: bool = False
    ruled: bool = True


class SheetPiece(NamedTuple):
    """One stretch of music on a sheet.

    Attributes:
        arrangement: All of it, as the key shows it.
        hidden: Numbers, among the arrangement's notes, of those the pupil writes.
        boxes: Boxes, in score order; those at one place from the top down.
        ties: Pairs of numbers of notes that are joined by a line: held tones.
        symbols: Whether chord symbols are given.
        tune_only: Whether only the treble staff is printed.
        heading: What stands over it; "" for nothing.
    """

    arrangement: Arrangement
    hidden: frozenset[int] = frozenset()
    boxes: tuple[Box, ...] = ()
    ties: tuple[tuple[int, int], ...] = ()
    symbols: bool = True
    tune_only: bool = False
    heading: str = ""

    def shows_symbols(self, *, answers: bool) -> bool:
        """Whether chord symbols are printed; in the key where no box has them."""
        boxed = bool(self.boxes) or self.tune_only
        return self.symbols or (answers and not boxed)


class Diagram(NamedTuple):
    """A keyboard to shade.

    Attributes:
        label: What stands above it, on sheet and key.
        presses: Keys and fingers, lowest first, as the key shows them.
        left: Left-hand note, as the key tells it.
        given: Whether it is solved on the sheet too.
    """

    label: str
    presses: tuple[tuple[Pitch, int], ...]
    left: str
    given: bool = False


class Planted(NamedTuple):
    """A fault that was planted; a marker can look it up again.

    Attributes:
        code: The trade's code, such as "M06".
        name: The fault in a few words.
        place: Bar and beat.
        onset: Crotchets from the start.
        what: What is there, in one sentence.
        remedy: What is right, in one sentence.
        deduct: What the fault costs in a pupil's work.
    """

    code: str
    name: str
    place: Place
    onset: Fraction
    what: str
    remedy: str
    deduct: Fraction
