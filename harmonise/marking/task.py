"""What is asked for: a model, and what each chord of it is worth.

The kinds of fault: their names, what they hide, what to practise.

One slip costs once: a fault hides those that follow from it in the same chord. Codes
and what hides what are those of the trade's table of faults; besides, the joining of
two chords is judged only where the notes of the second are right.

What a marker finds at a place, before it is weighed.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import Chord


class ChordPart(Enum):
    """What a chord's marks are given for."""

    NOTES = "notes"
    LEFT = "left hand"
    JOINING = "joining"
    LABEL = "label"


class Ask(Enum):
    """What a pupil writes beside the notes."""

    SYMBOL = "symbols"
    NUMERAL = "numerals"
    SHAPE = "shapes"
    FIGURES = "figures"


Worth = tuple[tuple[ChordPart, Fraction], ...]


class TaskItem(NamedTuple):
    """One chord to be marked.

    Attributes:
        onset: Crotchets from the start.
        end: Where the next one begins.
        place: Bar and beat.
        worth: What its parts are worth; () for one that is given.
    """

    onset: Fraction
    end: Fraction
    place: Place
    worth: Worth

    @property
    def marks(self) -> Fraction:
        """What it is worth in all."""
        return sum((marks for _, marks in self.worth), Fraction(0))


class Task(NamedTuple):
    """What a pupil was asked for.

    Attributes:
        title: What it is called on the slip.
        model: The model answer.
        items: What is marked, in score order.
        chosen: Whether the pupil chooses the chords.
        free: Whether the top of the right hand is the pupil's own, not a given tune.
        asks: What is written beside the notes.
        notes_given: Whether all notes are given and only labels are asked for.
        tune_only: Whether a tune is written and nothing else.
        accepted: By onset of a slot, the chords that are right there, inversions aside.
    """

    title: str
    model: Arrangement
    items: tuple[TaskItem, ...]
    chosen: bool = False
    free: bool = False
    asks: tuple[Ask, ...] = ()
    notes_given: bool = False
    tune_only: bool = False
    accepted: tuple[tuple[Fraction, tuple[Chord, ...]], ...] = ()

    @property
    def marks(self) -> Fraction:
        """What it is worth in all."""
        return sum((item.marks for item in self.items), Fraction(0))


class FaultKind(NamedTuple):
    """A kind of fault.

    Attributes:
        key: Its name in the table of points: "M03.third".
        name: The fault in a few words.
        part: Which part of a chord's worth it belongs to.
        hides: Keys of the faults of the same chord that follow from it.
        drill: Name of the drill to practise, such as "D1"; "" for none.
        how: How to practise it, in a few words.
    """

    key: str
    name: str
    part: ChordPart
    hides: tuple[str, ...] = ()
    drill: str = ""
    how: str = ""

    @property
    def code(self) -> str:
        """The trade's code, such as "M03"."""
        return self.key.partition(".")[0]


_JOINING = ("M04", "M05")
MISSING_KEYS = ("M03.third", "M03.root", "M03.fifth")
"""Members of the chord that do not sound."""
_N, _L, _J, _B = ChordPart.NOTES, ChordPart.LEFT, ChordPart.JOINING, ChordPart.LABEL

KINDS: tuple[FaultKind, ...] = (
    FaultKind(
        "M20", "tune altered", _N,
        ("M01", "M13", *MISSING_KEYS, *_JOINING), "",
        "play the tune alone",
    ),
    FaultKind("M01", "tune not on top", _N, _JOINING, "D7", "the scale on top"),
    FaultKind(
        "M12", "seventh not raised", _N, ("M02", *MISSING_KEYS, *_JOINING), "D3",
        "the raised seventh in minor",
    ),
    FaultKind(
        "M13", "chord does not fit the tune", _B,
        ("M02", *MISSING_KEYS, *_JOINING), "D8", "two chords under one note",
    ),
    FaultKind(
        "M02", "wrong note in the chord", _N, ("M09", *MISSING_KEYS, *_JOINING), "D1",
        "right hand alone",
    ),
    FaultKind("M03.third", "third missing", _N, _JOINING, "D6", "one chord, complete"),
    FaultKind("M03.root", "root missing", _N, _JOINING, "D6", "one chord, complete"),
    FaultKind("M03.fifth", "fifth missing", _N, _JOINING, "D6", "one chord, complete"),
    FaultKind("M11", "wrong spelling", _N, (), "D11", "name what you play"),
    FaultKind(
        "M06", "wrong root in the left hand", _L, ("M02.left", "M03.root"), "D1",
        "left hand alone",
    ),
    FaultKind("M02.left", "wrong note in the left hand", _L, (), "D9", "slowly"),
    FaultKind(
        "M07", "stretch over an octave", _N, _JOINING, "D6", "close shapes"
    ),
    FaultKind("M08", "hands crossed", _L, (), "D1", "left hand alone"),
    FaultKind("M04", "common tone not kept", _J, (), "D1", "hold the common tone"),
    FaultKind("M05", "voice moved too far", _J, (), "D5", "the nearest shape"),
    FaultKind("M09", "wrong shape named", _B, (), "D6", "name the shapes"),
    FaultKind("M10", "wrong name of the chord", _B, (), "D11", "name what you play"),
    FaultKind("M14", "syncopated harmony", _B, (), "D7", "change on strong beats"),
    FaultKind("M15", "no proper close", _B, (), "D1", "end on the tonic"),
    FaultKind("M16", "V goes back to IV", _B, (), "D4", "IV before V"),
    FaultKind(
        "M17", "parallel fifths or octaves", _J, (), "D4", "against the left hand"
    ),
    FaultKind(
        "M18", "leading note doubled or seventh not resolved", _J, _JOINING, "D10",
        "the seventh falls",
    ),
    FaultKind("M19", "rhythm", _N, (), "D1", "count aloud"),
)  # fmt: skip
"""All kinds, the gravest slip of a chord first."""

BY_KEY = {kind.key: kind for kind in KINDS}

KEY_OF_RULE = {
    "M20": "M20", "M01": "M01", "M08": "M08", "M07": "M07", "M02": "M02",
    "M11": "M11", "M03": "M03.third", "M03r": "M03.root", "M03f": "M03.fifth",
    "M06": "M06", "M18": "M18", "H13": "M18", "H02": "M15", "H07": "M14",
    "H12": "M16", "H05": "M13", "H23": "M13", "M13": "M13", "M17": "M17",
    "M12": "M12", "M04": "M04", "M05": "M05",
}  # fmt: skip
"""Which fault each rule of the theory finds; rules that are not here are let be."""
CHOICE_KEYS = ("M13", "M14", "M15", "M16")
"""Faults of chords that the pupil chose: no pupil answers for chords that are given."""
EXCUSED_ONCE = "M02"
"""The one fault that counts for each note."""


class Finding(NamedTuple):
    """A fault in a pupil's work.

    Attributes:
        key: Key of its kind, such as "M03.third".
        onset: Crotchets from the start.
        what: What is there, with the notes named, as one sentence.
        remedy: What is right, as an instruction.
    """

    key: str
    onset: Fraction
    what: str
    remedy: str


class Blank(NamedTuple):
    """Something that was left blank: it earns nothing and is no fault.

    Attributes:
        item: Number of the item.
        marks: What it would have earned.
        what: What is blank, in a few words: "right hand".
    """

    item: int
    marks: Fraction
    what: str
