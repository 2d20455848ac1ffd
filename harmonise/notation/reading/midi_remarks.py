"""What the MIDI reader has to say, gathered while it reads.

Places are kept as crotchets until the bars are known.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Remark
from harmonise.theory.tune import Tune


class Code(Enum):
    """What a remark is about; the value is its short name."""

    PART = "Q01"
    CHORD = "Q02"
    NO_TIME = "Q03"
    SILENCE = "Q04"
    MOVED = "Q05"
    FAR = "Q06"
    GRACE = "Q07"
    KEY = "Q08"
    TEMPO = "Q09"
    WORDS = "Q10"


class _Entry(NamedTuple):
    code: Code
    what: str
    onset: Fraction | None
    remedy: str


class Remarks:
    """A growing list of remarks."""

    def __init__(self) -> None:
        """Begin with none."""
        self._entries: list[_Entry] = []

    def add(
        self, code: Code, what: str, onset: Fraction | None = None, remedy: str = ""
    ) -> None:
        """Keep a remark.

        Args:
            code: What it is about.
            what: One sentence, with a small first letter where it has a place.
            onset: Crotchets from the start of the tune; None for the whole of it.
            remedy: What the user may do.
        """
        self._entries.append(_Entry(code, what, onset, remedy))

    def told(self, tune: Tune) -> tuple[Remark, ...]:
        """Return the remarks with the tune's own places."""
        return tuple(
            Remark(
                entry.code.value,
                entry.what,
                None if entry.onset is None else tune.place(entry.onset),
                entry.remedy,
            )
            for entry in self._entries
        )


def count(number: int, noun: str) -> str:
    """Return a number with its noun: "1 note", "2 notes"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"
