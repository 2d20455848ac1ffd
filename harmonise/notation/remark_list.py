"""Remarks gathered while a file is read, before its bars are known."""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Remark
from harmonise.theory.tune import Tune


class Entry(NamedTuple):
    """A remark whose place is still kept in crotchets.

    Attributes:
        code: What it is about; the value is its short name.
        what: One sentence, with a small first letter where it has a place.
        onset: Crotchets from the start of the tune; None for the whole of it.
        remedy: What the user may do.
    """

    code: Enum
    what: str
    onset: Fraction | None
    remedy: str


class RemarkList:
    """A growing list of remarks."""

    def __init__(self) -> None:
        """Begin with none."""
        self._entries: list[Entry] = []

    def add(
        self, code: Enum, what: str, onset: Fraction | None = None, remedy: str = ""
    ) -> None:
        """Keep a remark; the arguments are the fields of an `Entry`."""
        self._entries.append(Entry(code, what, onset, remedy))

    def told(self, tune: Tune) -> tuple[Remark, ...]:
        """Return the remarks with the tune's own places, in the order they came in."""
        return tuple(
            Remark(
                str(entry.code.value),
                entry.what,
                None if entry.onset is None else tune.place(entry.onset),
                entry.remedy,
            )
            for entry in self._entries
        )
