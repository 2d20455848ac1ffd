"""What a rule finds, and how grave it is."""

from collections.abc import Callable, Iterator
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place, join_sentence
from harmonise.theory.moments import Score


class Grade(Enum):
    """How grave a broken rule is."""

    NEVER = "never"
    """Our own score never breaks it; a marker deducts."""
    AVOID = "avoid"
    """Broken only where something else matters more; a marker comments."""


class Found(NamedTuple):
    """A fault as its rule sees it.

    Attributes:
        onset: Crotchets from the start.
        what: What was found, with the notes named, as one sentence.
        remedy: What to do, as an instruction.
    """

    onset: Fraction
    what: str
    remedy: str


class Fault(NamedTuple):
    """A broken rule and its place.

    Attributes:
        rule: Code of the rule, such as "H12".
        grade: How grave it is.
        place: Bar and beat.
        what: What was found, with the notes named, as one sentence.
        remedy: What to do, as an instruction.
    """

    rule: str
    grade: Grade
    place: Place
    what: str
    remedy: str

    def __str__(self) -> str:
        """Return the sentence with its place in front."""
        return join_sentence(self.what, self.place, self.remedy)


class Rule(NamedTuple):
    """A rule of the trade.

    Attributes:
        code: Its short name, the same in every run.
        grade: How grave it is to break it.
        find: Generator of what breaks it, in score order.
    """

    code: str
    grade: Grade
    find: Callable[[Score], Iterator[Found]]

    @property
    def name(self) -> str:
        """The rule in two or three words."""
        return self.find.__name__.replace("_", " ")
