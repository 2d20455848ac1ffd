"""What a marker finds at a place, before it is weighed."""

from fractions import Fraction
from typing import NamedTuple


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
