"""Faults and remarks of ABC, gathered while a tune is read, placed when it has bars.

A sentence reads "Bar 3, beat 2: what. What to do. (line 5: "^/c")": the place as a
player counts it, the fault, the remedy, then where the eye finds it in the text. Faults
wait for the end of the tune, because only then is it known whether the first bar is a
pickup; the first of them is raised.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place, Remark
from harmonise.theory.tune import Tune

_SHOWN = 24
_NAMED = 8
"""So many letters of a word and so many bars of a remark are named."""


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


_WHOLE_BAR = frozenset(
    {
        AbcCode.BAR_LENGTH,
        AbcCode.LINE_ENDS,
        AbcCode.MODE,
        AbcCode.KEY_GUESSED,
        AbcCode.TEMPO,
    }
)
"""Remarks that mean a bar, not a beat."""


class _AbcEntry(NamedTuple):
    code: AbcCode
    what: str
    onset: Fraction | None
    remedy: str
    kind: str


class AbcRemarks:
    """A growing list of remarks; those of one kind are told once."""

    def __init__(self) -> None:
        """Begin with none."""
        self._entries: list[_AbcEntry] = []

    def add(
        self,
        code: AbcCode,
        what: str,
        onset: Fraction | None = None,
        remedy: str = "",
        kind: str = "",
    ) -> None:
        """Keep a remark.

        Args:
            code: Its short name.
            what: One sentence.
            onset: Crotchets from the start; None when the whole tune is meant.
            remedy: What the user may do.
            kind: Remarks of one code and kind are told as one, with the sentence of
                the first and the bars of the others; if empty, those that say the same.
        """
        entry = _AbcEntry(code, what, onset, remedy, kind or what)
        if not (self._entries and self._entries[-1] == entry):
            self._entries.append(entry)

    def told(self, tune: Tune) -> tuple[Remark, ...]:
        """Return them in the order of the page, with the tune's own places."""
        alike: dict[tuple[AbcCode, str], list[_AbcEntry]] = {}
        for entry in sorted(self._entries, key=_page_order):
            alike.setdefault((entry.code, entry.kind), []).append(entry)
        return tuple(_remark(entries, tune) for entries in alike.values())


def _page_order(entry: _AbcEntry) -> tuple[Fraction, str]:
    return (Fraction(-1) if entry.onset is None else entry.onset, entry.code.value)


def _remark(entries: list[_AbcEntry], tune: Tune) -> Remark:
    first = entries[0]
    places = [tune.place(e.onset) for e in entries if e.onset is not None]
    place = places[0] if places else None
    if place is not None and first.code in _WHOLE_BAR:
        place = place._replace(beat=None)
    what = first.what + _likewise(places)
    return Remark(first.code.value, what, place, first.remedy)


def _likewise(places: list[Place]) -> str:
    """Return " Likewise in bars 3 and 5." or ""; each further bar is named once."""
    bars = list(dict.fromkeys(place.bar for place in places))[1:]
    if not bars:
        return ""
    named = [str(bar) for bar in bars[:_NAMED]]
    if len(bars) > _NAMED:
        return f" Likewise in bars {', '.join(named)} and {len(bars) - _NAMED} more."
    if len(named) == 1:
        return f" Likewise in bar {named[0]}."
    return f" Likewise in bars {', '.join(named[:-1])} and {named[-1]}."
