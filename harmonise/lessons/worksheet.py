"""What a worksheet is: what is given, what is to be written, and every right answer.

A `Worksheet` is a plain value made from a tune and a `SheetOrder`; it knows no page.
Sheet and answer key are two views of it, so bars and numbering are always the same. The
kinds and their marks are those of school practice in keyboard harmony: each chord is
worth notes 2, left hand 1, joining 1 and label 1, as far as a sheet asks for them.
"""

from collections.abc import Callable
from enum import Enum
from typing import NamedTuple, Self

from harmonise.lessons.aural import AuralItem, AuralKind
from harmonise.lessons.sheet_parts import Diagram, Planted, SheetItem, SheetPiece
from harmonise.theory.arrangement import PLAIN, Arrangement, Labels, Style
from harmonise.theory.key import Key
from harmonise.theory.tune import Tune

_ANY_OCTAVE = "The root is right in any octave below the right hand."
_FIRST = "The first one is done, as an example."


class WorksheetRow(NamedTuple):
    """What sets one kind of worksheet apart.

    Attributes:
        word: The word by which a teacher asks for it.
        title: What pupils do, as an instruction.
        marking: How a marker goes about it.
        slips: What pupils usually get wrong, a line each.
        example: What the sheet says of its example.
        bars: How many bars of a tune it has where nobody says.
        chosen: Whether pupils choose the chords.
        free: Whether they write the top of the right hand too.
        heard: Whether recordings go with it, from which pupils write.
    """

    word: str
    title: str
    marking: str
    slips: str
    example: str = _FIRST
    bars: int = 8
    chosen: bool = False
    free: bool = False
    heard: bool = False


class SheetKind(Enum):
    """The kinds of worksheet; the value is the word by which a teacher asks for one.

    A kind is its row here and its maker, which `makes` hangs on it.
    """

    _value_: str
    row: WorksheetRow

    def __new__(cls, *fields: object) -> Self:
        """Return a kind that has its row beside its word."""
        kind = object.__new__(cls)
        kind.row = WorksheetRow._make(fields)
        kind._value_ = kind.row.word
        return kind

    VOICES = WorksheetRow(
        "voices",
        "Write the chords that numerals name",
        "Each chord: notes of the right hand 2, left hand 1, joining 1. Judge each "
        "chord from the one that the pupil has before it. " + _ANY_OCTAVE,
        """\
A note that both chords share is moved; it stays in its voice (the line in the key) \
where a close shape allows it.
The whole hand slides in one shape, which makes parallel fifths.
In a minor key the raised seventh of V is missing.""",
        free=True,
    )
    LABELS = WorksheetRow(
        "labels",
        "Name given chords",
        "Each box: 1.",
        """\
The shape of the right hand is taken for the inversion of the chord: with the root in \
the left hand the chord is in root position.
The tune note is taken for the root of the chord.
A capital numeral is written for a minor chord, or a small one for a major chord.""",
    )
    ACCOMPANY = WorksheetRow(
        "accompany",
        "Write chords under the tune",
        "Each chord: notes of the right hand 2, left hand 1, joining 1. Chords may be "
        "struck again within a bar, as the model does. " + _ANY_OCTAVE,
        """\
The tune ends up in the middle: no note of the right hand may lie above it.
The lowest note of the right hand is written in the left hand instead of the root.
A note that both chords share is moved although it could stay.""",
    )
    CHOOSE = WorksheetRow(
        "choose",
        "Choose chords and write them",
        "Each box: chord 1, notes of the right hand 2, left hand 1, joining 1. Judge "
        "the notes by the chord that the pupil chose. " + _ANY_OCTAVE,
        """\
The chord does not have the tune note on the strong beat.
V goes back to IV.
The chord changes on a weak beat and stays over the bar line.
The last chord is not the tonic.""",
        chosen=True,
    )
    FAULTS = WorksheetRow(
        "faults",
        "Find the faults",
        "Each fault: place 1, name 1, what is right 1.",
        """\
The place is right but the fault is only called "wrong": its name earns the second mark.
The shape of the right hand is taken for a wrong inversion of the chord.
A passing note of the tune is taken for a wrong note.""",
        "The first fault is told in the table, as an example.",
    )
    KEYBOARDS = WorksheetRow(
        "keyboards",
        "Shade keyboards",
        "Each keyboard: keys and letters 2, left-hand note 1.",
        """\
The tune note is not the highest key.
A key next to the right one is shaded, mostly beside a black key.
A black key is lettered by its other name.""",
    )
    TRANSPOSE = WorksheetRow(
        "transpose",
        "Write a phrase in other keys",
        "Each bar: 1.",
        """\
One note is left where it was in the first key.
An accidental is copied as it stands: a raised note is raised in every key, by a sharp \
or by a natural.
A leap is a third or a fifth out.""",
        "The first bar is done in every key, as an example.",
        bars=4,
    )
    SYMBOLS = WorksheetRow(
        "symbols",
        "Choose chords for a tune",
        "Each box: chord symbol 1.",
        """\
The chord does not have the tune note on the strong beat.
The symbol names the tune note and not a chord that holds it.
V goes back to IV.
The last chord is not the tonic.""",
        chosen=True,
    )
    TUNE = WorksheetRow(
        "tune",
        "Arrange a whole tune",
        "Each change of chord: chord 1, notes of the right hand 2, left hand 1, "
        "joining 1. Judge the notes by the chord that the pupil chose. " + _ANY_OCTAVE,
        """\
The chord changes with every note of the tune.
The chord does not have the tune note on the strong beat.
A note that both chords share is moved although it could stay.
The last chord is not the tonic.""",
        "",
        bars=64,
        chosen=True,
    )
    HEAR = WorksheetRow(
        "hear",
        "Write the chords that are heard",
        "Each box: Roman numeral 1. Play the recordings, or play the key: each line "
        "three times, with pauses to write.",
        """\
The tune note is taken for the bass: let the bass line be sung first.
IV is written for V, or V for IV: IV keeps the keynote, V has the leading note.
V is written for V7: the seventh is heard to fall.""",
        heard=True,
    )
    AURAL = WorksheetRow(
        "aural",
        "Answer by ear",
        "Each question: 1; a bass line: 1 a note, the first aside. Play the "
        "recordings, or what stands below, as often as the sheet says.",
        "\n".join(f"{kind.row.title}. {kind.row.slip}" for kind in AuralKind),
        "",
        bars=64,
        heard=True,
    )

    BASS = WorksheetRow(
        "bass",
        "Write the bass that is heard",
        "Each bass note: 1. Play the recordings, or play the key: each line three "
        "times. " + _ANY_OCTAVE,
        """\
The fifth of the chord is written for its root: sing the root first.
The tune note is doubled in the bass.
The bass moves a beat late: mark where it moves before its notes are written.""",
        heard=True,
    )

    @property
    def code(self) -> str:
        """Short name that is printed on the sheet: W1, W2 and so on, by row."""
        return f"W{list(SheetKind).index(self) + 1}"


class Depth(Enum):
    """How much a sheet gives: three depths of one tune share a key.

    Support gives every second answer. Stretch gives none, not even an example, and asks
    for numerals too where pupils write chords.
    """

    SUPPORT = "support"
    CORE = "core"
    STRETCH = "stretch"


class SheetOrder(NamedTuple):
    """What a teacher asks for.

    Attributes:
        kind: Kind of worksheet.
        style: Level, harmonic rhythm and reach; the texture is always held notes.
        labels: How shapes are named.
        bars: Full bars of the tune at most; the sheet ends where a line ends.
        faults: Planted faults on a sheet of that kind.
        seed: Changes where the faults are planted, and which questions are asked.
        keys: Keys of the versions, or those to transpose to; () leaves the choice.
        codes: Codes of the faults to plant, one a fault; () takes the usual ones.
        depth: How much is given.
        step: Step of questions by ear, from 1.
        about: The only kind of those questions; None for all of the step.
        questions: How many of them.
    """

    kind: SheetKind
    style: Style = PLAIN
    labels: Labels = Labels.WORDS
    bars: int = 8
    faults: int = 4
    seed: int = 1
    keys: tuple[Key, ...] = ()
    codes: tuple[str, ...] = ()
    depth: Depth = Depth.CORE
    step: int = 1
    about: AuralKind | None = None
    questions: int = 8


class Worksheet(NamedTuple):
    """A worksheet with all that its key needs.

    Attributes:
        order: What was asked for.
        tune: The tune in the key of this version.
        instruction: What to do, in one sentence.
        items: What is to be done, in order, the worked example among them.
        pieces: The music; () where there is none.
        diagrams: The keyboards; () where there are none.
        planted: The planted faults in score order.
        comments: What a marker may remark on besides, such as parallels in the model.
        version: "A", "B" and so on.
        home: The tune as all versions are made of it; None for the version's own.
        asked: Questions by ear, one an item; () for other sheets.
        drill: Name of the drill that it is, such as "D12"; "" for a tune's sheet.
    """

    order: SheetOrder
    tune: Tune
    instruction: str
    items: tuple[SheetItem, ...]
    pieces: tuple[SheetPiece, ...] = ()
    diagrams: tuple[Diagram, ...] = ()
    planted: tuple[Planted, ...] = ()
    comments: tuple[str, ...] = ()
    version: str = "A"
    home: Tune | None = None
    asked: tuple[AuralItem, ...] = ()
    drill: str = ""

    @property
    def marks(self) -> int:
        """What the sheet is worth in all."""
        return sum(item.marks for item in self.items)

    @property
    def is_list(self) -> bool:
        """Whether a list is handed in, of faults or of answers, and no music."""
        return bool(self.planted or self.asked)

    @property
    def key(self) -> Key:
        """Key of this version."""
        return self.tune.key

    @property
    def footer(self) -> str:
        """Sheet number and version, the same on sheet and key."""
        kind, depth = self.order.kind, self.order.depth
        if self.drill:
            return (
                f"Drill {self.drill} · step {self.order.step} · sheet {self.order.seed}"
            )
        name = f"Sheet {kind.code}-{self.order.seed} {kind.value}"
        deep = f" · {depth.value}" if depth is not Depth.CORE else ""
        return f"{name} · version {self.version}{deep}"

    @property
    def example(self) -> str:
        """What the sheet says of what is done already; "" if nothing is."""
        depth = self.order.depth
        if depth is Depth.CORE:
            return self.order.kind.row.example
        return "Every second one is done." if depth is Depth.SUPPORT else ""


Maker = Callable[[Arrangement, SheetOrder], Worksheet]
"""Makes the sheet of a model answer."""
MAKERS: dict[SheetKind, Maker] = {}
"""The makers by their kinds."""


def makes(kind: SheetKind) -> Callable[[Maker], Maker]:
    """Return what hangs a maker on its kind."""

    def hang(maker: Maker) -> Maker:
        MAKERS[kind] = maker
        return maker

    return hang
