"""What can go wrong, and where: every failure names its place and the way out.

The tree, from the general to the particular:

    HarmoniseError
    ├── NotationError      the input cannot be read (a word, a line, a file)
    ├── MelodyError        it was read, but it holds no usable tune
    ├── NoHarmonyError     no permitted chord or voicing fits the tune
    ├── OutputError        the result cannot be written where it was asked for
    ├── LibraryError       a library that the job needs is not installed
    └── BrokenPromiseError the result breaks our own promise: always a bug of ours

A `Remark` is not a failure: the job goes on and the user is told. A `RemarkList`
gathers them while a file is read.
"""

import re
from collections.abc import Callable, Sequence
from enum import Enum
from fractions import Fraction
from typing import ClassVar, NamedTuple

_NAMED = 8
"""So many bars are named before the rest is counted."""
_UNSEEN = re.compile(r"'\\.+?'")
"""A sign that the reader of TOML can only tell by its number."""
_SHOWN = 24
"""So many letters of a word are shown."""
SAMPLE_LINE = "C E G E | F A G - |"
"""A line of a tune as it is typed, for those who typed none."""


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
        >>> print(Place(0, Fraction(4)))
        the pickup, beat 4
        """
        bar = bars_called([self.bar])
        return bar if self.beat is None else f"{bar}, beat {format_beat(self.beat)}"


def bars_called(bars: Sequence[int]) -> str:
    """Return bars as one says them; nobody counts a pickup.

    >>> bars_called([4]), bars_called([0, 2, 5])
    ('bar 4', 'the pickup and bars 2 and 5')
    """
    counted = [str(bar) for bar in bars if bar]
    names = ["the pickup"] if 0 in bars else []
    if counted:
        names.append(f"bar{'s' * (len(counted) > 1)} {listed(counted)}")
    return " and ".join(names)


def format_beat(beat: Fraction) -> str:
    """Return a beat as a mixed number: 2, 2 1/2, 1 3/4.

    >>> format_beat(Fraction(7, 4))
    '1 3/4'
    """
    whole, part = divmod(beat, 1)
    if not part:
        return str(whole)
    return f"{whole} {part}" if whole else str(part)


def listed(names: Sequence[str]) -> str:
    """Return names as one says them.

    >>> listed(["F#", "C#", "G#"]), listed(["F#"])
    ('F#, C# and G#', 'F#')
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


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


class _Entry(NamedTuple):
    """A remark whose place is still kept in crotchets."""

    code: Enum
    what: str
    onset: Fraction | None
    remedy: str
    kind: str


class RemarkList:
    """Remarks gathered while a file is read, before its bars are known.

    Remarks of one kind are told once, in the order of the page, with the bars of the
    others; a list that says nothing of `likewise` tells each as it came in.

    Attributes:
        likewise: How the bars of the others are told: "The same in".
        here_again: What is told where they all stand in the bar of the first.
        of_a_bar: Codes of what concerns a bar; the rest has a beat too.
        alone: Codes of what says something else each time.
        by_words: Whether remarks without a kind are of one kind if they say the same.
    """

    likewise: ClassVar[str] = ""
    here_again: ClassVar[str] = ""
    of_a_bar: ClassVar[frozenset[Enum]] = frozenset()
    alone: ClassVar[frozenset[Enum]] = frozenset()
    by_words: ClassVar[bool] = False

    def __init__(self) -> None:
        """Begin with none."""
        self._entries: list[_Entry] = []

    def add(
        self,
        code: Enum,
        what: str,
        onset: Fraction | None = None,
        remedy: str = "",
        kind: str = "",
    ) -> None:
        """Keep a remark.

        Args:
            code: What it is about; the value is its short name.
            what: One sentence, with a small first letter where it has a place.
            onset: Crotchets from the start; None when the whole tune is meant.
            remedy: What the user may do.
            kind: What tells it from other remarks of its code, if anything.
        """
        self._entries.append(_Entry(code, what, onset, remedy, kind))

    def told(self, place: Callable[[Fraction], Place]) -> tuple[Remark, ...]:
        """Return the remarks, given what tells the place of an onset."""
        if not self.likewise:
            return tuple(self._remark([entry], place) for entry in self._entries)
        alike: dict[object, list[_Entry]] = {}
        for entry in sorted(dict.fromkeys(self._entries), key=_page_order):
            kind: object = entry.kind or (entry.what if self.by_words else "")
            key = entry if entry.code in self.alone else (entry.code, kind)
            alike.setdefault(key, []).append(entry)
        return tuple(self._remark(entries, place) for entries in alike.values())

    def _remark(
        self, entries: Sequence[_Entry], place: Callable[[Fraction], Place]
    ) -> Remark:
        first, code = entries[0], str(entries[0].code.value)
        if first.onset is None:
            what = f"{first.what[:1].upper()}{first.what[1:]}"
            return Remark(code, what, None, first.remedy)
        places = [place(entry.onset) for entry in entries if entry.onset is not None]
        what = first.what + self._others([own.bar for own in places])
        where = places[0]
        if first.code in self.of_a_bar:
            where = where._replace(beat=None)
        return Remark(code, what, where, first.remedy)

    def _others(self, bars: Sequence[int]) -> str:
        """Return " The same in bars 3 and 5." or the like; "" for no other place."""
        told = same_in(bars, self.likewise)
        return told or (self.here_again if len(bars) > 1 else "")


def same_in(bars: Sequence[int], likewise: str = "The same in") -> str:
    """Return in which bars a remark holds beside the first of them; "" for none.

    >>> same_in([2, 5, 5, 7])
    ' The same in bars 5 and 7.'
    """
    others = list(dict.fromkeys(bars))[1:]
    if not others:
        return ""
    if len(others) <= _NAMED:
        return f" {likewise} {bars_called(others)}."
    named = [*map(str, others[:_NAMED]), f"{len(others) - _NAMED} more"]
    return f" {likewise} bars {listed(named)}."


def _page_order(entry: _Entry) -> tuple[Fraction, str]:
    return (Fraction(-1) if entry.onset is None else entry.onset, str(entry.code.value))


def shorten(word: str) -> str:
    """Return a word as it is shown in a sentence: an endless one is cut."""
    return word if len(word) <= _SHOWN else f"{word[:_SHOWN]}…"


def table_fault(error: Exception) -> str:
    """Return in words why a table in TOML cannot be read.

    Its reader has words for what is badly written, and none for what is too large.

    >>> table_fault(RecursionError("maximum recursion depth exceeded"))
    'brackets stand too deep in each other'
    """
    if isinstance(error, RecursionError):
        return "brackets stand too deep in each other"
    # Python itself refuses to make an integer of more than 4,300 digits.
    if type(error) is ValueError:
        return "a number has too many digits"
    return _UNSEEN.sub("that cannot be seen", str(error))


def seen_at(line: int, word: str = "") -> str:
    """Return where the eye finds a fault in a text.

    >>> seen_at(5, "^/c"), seen_at(7)
    ('(line 5: "^/c")', '(line 7)')
    """
    return f'(line {line}: "{shorten(word)}")' if word else f"(line {line})"


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


class LibraryError(HarmoniseError):
    """A library that is needed is not installed."""

    def __init__(self, need: str, *libraries: str) -> None:
        """Say what to install.

        Args:
            need: Who needs it, with its verb: "Engraving needs".
            libraries: The names by which they are installed.
        """
        few = len(libraries) == 1
        which, them = ("which is", "it") if few else ("which are", "them")
        super().__init__(
            f"{need} {' and '.join(libraries)}, {which} not installed.",
            remedy=f"Install {them}: pip install {' '.join(libraries)}.",
        )


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
