"""What is asked for: a model, and what each chord of it is worth.

What a marker finds at a place, before it is weighed.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.rules.table import ChordPart
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import Chord


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
        place: Bar and beat.
        what: What is blank, in a few words: "right hand".
        points: What it would have earned.
    """

    item: int
    place: Place
    what: str
    points: Fraction
