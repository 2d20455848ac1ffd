"""What is asked for: a model, and what each chord of it is worth."""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import Chord


class Part(Enum):
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


Worth = tuple[tuple[Part, Fraction], ...]


class Item(NamedTuple):
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
    items: tuple[Item, ...]
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
