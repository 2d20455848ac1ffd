"""Faults and remarks of ABC, gathered while a tune is read, placed when it has bars.

A sentence reads "Bar 3, beat 2: what. What to do. (line 5: "^/c")": the place as a
player counts it, the fault, the remedy, then where the eye finds it in the text. Faults
wait for the end of the tune, because only then is it known whether the first bar is a
pickup; the first of them is raised.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place, RemarkList

_SHOWN = 24
"""So many letters of a word are shown."""


class AbcCode(Enum):
    """Short names of the remarks of this door."""

    CHORD_NOTES = "A01"
    VOICES = "A02"
    FREE_METRE = "A03"
    LINE_ENDS = "A04"
    BAR_LENGTH = "A05"
    TIE = "A06"
    OCTAVES = "A07"
    SLUR = "A08"
    MODE = "A09"
    KEY_GUESSED = "A10"
    SYMBOL = "A11"
    SYMBOLS_SPREAD = "A12"
    ORNAMENT = "A13"
    WORDS = "A14"
    REPEAT = "A15"
    TEMPO = "A16"
    PARTS = "A17"
    FIELD = "A18"
    EMPTY_LINE = "A19"
    BROKEN = "A20"
    RESERVED = "A21"
    TRANSPOSED = "A22"
    BAR_LINE = "A23"
    LETTER = "A24"


class UnreadableError(Exception):
    """Something in the text that this door does not know.

    Attributes:
        what: What it is, as a sentence without its place.
        remedy: What to do.
    """

    def __init__(self, what: str, remedy: str = "") -> None:
        """Keep both parts."""
        super().__init__(what)
        self.what = what
        self.remedy = remedy


class AbcFault(NamedTuple):
    """A fault with its place.

    Attributes:
        what: What it is.
        remedy: What to do.
        line: Number of its line.
        word: The word that shows it.
        onset: Crotchets from the start; None in a header.
    """

    what: str
    remedy: str
    line: int
    word: str
    onset: Fraction | None = None

    def error(self, place: Place | None) -> NotationError:
        """Return the error that says so, with a capital where no place comes first."""
        seen = seen_at(self.line, self.word)
        what = self.what if place else f"{self.what[0].upper()}{self.what[1:]}"
        return NotationError(what, place, f"{self.remedy} {seen}".strip())


def seen_at(line: int, word: str = "") -> str:
    """Return where the eye finds a fault.

    >>> seen_at(5, "^/c")
    '(line 5: "^/c")'
    """
    shown = word if len(word) <= _SHOWN else f"{word[:_SHOWN]}…"
    return f'(line {line}: "{shown}")' if word else f"(line {line})"


_WHOLE_BAR: frozenset[Enum] = frozenset(
    {
        AbcCode.BAR_LENGTH,
        AbcCode.LINE_ENDS,
        AbcCode.MODE,
        AbcCode.KEY_GUESSED,
        AbcCode.TEMPO,
    }
)
"""Remarks that mean a bar, not a beat."""


class AbcRemarks(RemarkList):
    """What a reader of ABC tells; those that say the same are told as one."""

    likewise = "Likewise in"
    of_a_bar = _WHOLE_BAR

    def add(
        self,
        code: Enum,
        what: str,
        onset: Fraction | None = None,
        remedy: str = "",
        kind: str = "",
    ) -> None:
        """Keep a remark; without a kind, those that say the same are of one kind."""
        super().add(code, what, onset, remedy, kind or what)
