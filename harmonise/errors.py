"""What can go wrong, and where: every failure names its place and the way out.

The tree, from the general to the particular:

    HarmoniseError
    ├── NotationError      the input cannot be read (a word, a line, a file)
    ├── MelodyError        it was read, but it holds no usable tune
    ├── NoHarmonyError     no permitted chord or voicing fits the tune
    ├── OutputError        the result cannot be written where it was asked for
    └── BrokenPromiseError the result breaks our own promise: always a bug of ours

A `Remark` is not a failure: the job goes on and the user is told.
"""

from fractions import Fraction
from typing import NamedTuple


class Place(NamedTuple):
    """A place in the score as a player counts it.

    Attributes:
        bar: Number of the bar; a pickup is bar 0.
        beat: Beat in the bar, from 1; a fraction between beats; None for a whole bar.
    """

    bar: int
    beat: Fraction | None = None

    def __str__(self) -> str:
        """Return the words a player uses.

        >>> print(Place(3, Fraction(5, 2)))
        bar 3, beat 2 1/2
        >>> print(Place(0))
        bar 0
        """
        if self.beat is None:
            return f"bar {self.bar}"
        return f"bar {self.bar}, beat {format_beat(self.beat)}"


def format_beat(beat: Fraction) -> str:
    """Return a beat as a mixed number: 2, 2 1/2, 1 3/4.

    >>> format_beat(Fraction(7, 4))
    '1 3/4'
    """
    whole, part = divmod(beat, 1)
    if not part:
        return str(whole)
    return f"{whole} {part}" if whole else str(part)


class Remark(NamedTuple):
    """Something the user should know although the job goes on.

    Attributes:
        code: Short name of the remark, the same in every run (such as "E15" or "H10").
        what: What was found, in one sentence.
        place: Where; None when it concerns the whole tune.
        remedy: What the user may do about it; may be empty.
    """

    code: str
    what: str
    place: Place | None = None
    remedy: str = ""

    def __str__(self) -> str:
        """Return the sentence with its place in front.

        >>> print(Remark("E16", "G8 is very high.", Place(2), "Put it lower."))
        Bar 2: G8 is very high. Put it lower.
        """
        return join_sentence(self.what, self.place, self.remedy)


class HarmoniseError(Exception):
    """A failure with its place and its remedy.

    Attributes:
        what: What was wrong, with the notes named.
        place: Bar and beat; None where the whole input is meant.
        remedy: What to do, as an instruction.
    """

    def __init__(self, what: str, place: Place | None = None, remedy: str = "") -> None:
        """Keep the three fields and join them into the one sentence users see."""
        super().__init__(join_sentence(what, place, remedy))
        self.what = what
        self.place = place
        self.remedy = remedy


class NotationError(HarmoniseError):
    """The input cannot be read."""


class MelodyError(HarmoniseError):
    """The input was read, but holds no usable tune."""


class NoHarmonyError(HarmoniseError):
    """No permitted chord or voicing fits the tune."""


class OutputError(HarmoniseError):
    """The result cannot be written where it was asked for."""


class BrokenPromiseError(HarmoniseError):
    """The result breaks what we promise of every arrangement; the fault is ours."""


def join_sentence(what: str, place: Place | None, remedy: str) -> str:
    """Join place, fault and remedy: "Bar 3, beat 2: what. remedy".

    A sentence that begins with its own bar ("Bar 5 has 5 beats") is told no bar twice.
    """
    text = f"{what} {remedy}".strip()
    if place is None or text.startswith(f"Bar {place.bar} "):
        return text
    where = str(place)
    return f"{where[0].upper()}{where[1:]}: {text}"
