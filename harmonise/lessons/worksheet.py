"""What a worksheet is: what is given, what is to be written, and every right answer.

A `Sheet` is a plain value made from a tune and an `Order`; it knows no page. Sheet and
answer key are two views of it, so bars and numbering are always the same. The kinds
and their marks are those of school practice in keyboard harmony: each chord is worth
notes 2, left hand 1, joining 1 and label 1, as far as a sheet asks for them.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.theory.arrangement import PLAIN, Arrangement, Labels, Style
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch


class SheetKind(Enum):
    """The kinds of worksheet; the value is the word by which a teacher asks for one."""

    VOICES = "voices"
    LABELS = "labels"
    ACCOMPANY = "accompany"
    CHOOSE = "choose"
    FAULTS = "faults"
    KEYBOARDS = "keyboards"
    TRANSPOSE = "transpose"

    @property
    def code(self) -> str:
        """Short name that is printed on the sheet, W1 to W7."""
        return f"W{list(SheetKind).index(self) + 1}"


def usual_bars(kind: SheetKind) -> int:
    """Return how many bars of a tune a sheet has where nobody says."""
    return 4 if kind is SheetKind.TRANSPOSE else 8


class SheetOrder(NamedTuple):
    """What a teacher asks for.

    Attributes:
        kind: Kind of worksheet.
        style: Level, harmonic rhythm and reach; the texture is always held notes.
        labels: How shapes are named.
        bars: Full bars of the tune at most; the sheet ends where a line ends.
        faults: Planted faults on a sheet of that kind.
        seed: Changes where the faults are planted.
        keys: Keys of the versions, or those to transpose to; () leaves the choice.
    """

    kind: SheetKind
    style: Style = PLAIN
    labels: Labels = Labels.WORDS
    bars: int = 8
    faults: int = 4
    seed: int = 1
    keys: tuple[Key, ...] = ()


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
    """

    place: Place
    onset: Fraction
    piece: int
    answers: tuple[Answer, ...]
    marks: int
    given: str = ""


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


class Worksheet(NamedTuple):
    """A worksheet with all that its key needs.

    Attributes:
        order: What was asked for.
        version: "A", "B" and so on.
        title: Title of the tune.
        origin: Where the tune comes from; or "".
        key: Key of this version.
        instruction: What to do, in one sentence.
        items: What is to be done, in order, the worked example among them.
        pieces: The music; () where there is none.
        diagrams: The keyboards; () where there are none.
        planted: The planted faults in score order.
        comments: What a marker may remark on besides, such as parallels in the model.
    """

    order: SheetOrder
    version: str
    title: str
    origin: str
    key: Key
    instruction: str
    items: tuple[SheetItem, ...]
    pieces: tuple[SheetPiece, ...] = ()
    diagrams: tuple[Diagram, ...] = ()
    planted: tuple[Planted, ...] = ()
    comments: tuple[str, ...] = ()

    @property
    def marks(self) -> int:
        """What the sheet is worth in all."""
        return sum(item.marks for item in self.items)

    @property
    def footer(self) -> str:
        """Sheet number and version, the same on sheet and key."""
        kind = self.order.kind
        return (
            f"Sheet {kind.code}-{self.order.seed} {kind.value} · version {self.version}"
        )
