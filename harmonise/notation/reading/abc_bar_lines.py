"""Bar lines as ABC writes them, and what they say about repeats and endings.

Books write bar lines in many shapes, so any row of `|`, `:`, `[` and `]` is read:
colons in front end a repeat, colons behind begin one, a doubled or thick line ends a
section. Source: ABC 2.1, sections 4.8 to 4.10.
"""

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from harmonise.notation.reading.abc_faults import UnreadableError

_BAR = r"(\.?)([|:\[\]]+)(.*)"
_THICK = ("||", "|]", "[|", "]")
_INVISIBLE = "[|]"
_MOST_TIMES = 20
_ENDING = r"(\d{1,2})(?:-(\d{1,2}))?"


class BarLine(NamedTuple):
    """What one sign says.

    Attributes:
        ends: How often the music before it is played; 0 for no repeat.
        starts: How often the music after it is played; 0 for no repeat.
        double: Whether it ends a section.
        soft: Whether it is dotted or invisible.
        ending: Numbers of the ending that begins after it.
        odd: Whether its shape is no usual one.
    """

    ends: int = 0
    starts: int = 0
    double: bool = False
    soft: bool = False
    ending: tuple[int, ...] = ()
    odd: bool = False


@lru_cache(maxsize=256)
def parse_bar_line(text: str) -> BarLine:
    """Return what a bar line says.

    Raises:
        UnreadableError: If it is only a colon, or more than two of them.

    >>> parse_bar_line(":|2")
    BarLine(ends=2, starts=0, double=False, soft=False, ending=(2,), odd=False)
    """
    found = re.fullmatch(_BAR, text)
    dot, shape, numbers = found.groups() if found else ("", "", "")
    ending = parse_ending(numbers) if numbers else ()
    if not shape.strip(":"):
        if shape != "::":
            raise UnreadableError(
                f'"{text}" is no bar line.', "Write |: or :| for a repeat, :: for both."
            )
        return BarLine(2, 2, ending=ending)
    before = len(shape) - len(shape.lstrip(":"))
    after = len(shape) - len(shape.rstrip(":"))
    odd = ":" in shape.strip(":")
    if odd:
        # "|:|" closes a tune in old books: a slip of ":|".
        before, after = (before, after or 1) if before else (1, after)
    return BarLine(
        _times(before),
        _times(after),
        double=shape != _INVISIBLE and any(thick in shape for thick in _THICK),
        soft=bool(dot) or shape == _INVISIBLE,
        ending=ending,
        odd=odd,
    )


def _times(colons: int) -> int:
    return min(colons + 1, _MOST_TIMES) if colons else 0


@lru_cache(maxsize=256)
def parse_ending(text: str) -> tuple[int, ...]:
    """Return the numbers of an ending: "1,3" or "1-3".

    Raises:
        UnreadableError: If it is no list of numbers and ranges that rise.

    >>> parse_ending("1,3,5-7")
    (1, 3, 5, 6, 7)
    """
    numbers: list[int] = []
    for part in text.split(","):
        found = re.fullmatch(_ENDING, part)
        first = int(found.group(1)) if found else 0
        last = int(found.group(2) or first) if found else 0
        if not 0 < first <= last <= _MOST_TIMES:
            raise UnreadableError(
                f'"[{text}" numbers no ending.', "Write [1, [2, [1,3 or [1-3."
            )
        numbers += range(first, last + 1)
    return tuple(dict.fromkeys(numbers))


class Mark:
    """All bar lines at one place.

    Attributes:
        onset: Crotchets from the start.
        ends: How often the music before is played; 0 for no repeat.
        starts: How often the music after is played; 0 for no repeat.
        double: Whether a section ends.
        soft: Whether all its lines are dotted or invisible.
        ending: Numbers of the ending that begins.
        inside: Whether an ending begins here in the middle of a bar.
        implied: Whether the line is left out at the end of a line of text.
    """

    def __init__(self, onset: Fraction, line: BarLine = BarLine()) -> None:  # noqa: B008 (a constant)
        """Begin with one bar line; without one, with the edge of the tune."""
        self.onset = onset
        self.ends, self.starts = line.ends, line.starts
        self.double, self.soft = line.double, line.soft
        self.ending = line.ending
        self.inside = False
        self.implied = False

    @property
    def is_section(self) -> bool:
        """Whether a section ends or begins."""
        return bool(self.ends or self.starts or self.double)

    @property
    def may_split(self) -> bool:
        """Whether a bar may go on behind it: at repeats, and where no line is seen."""
        return self.is_section or self.soft or self.inside

    def add(self, line: BarLine) -> None:
        """Put another line at the same place."""
        self.ends = max(self.ends, line.ends)
        self.starts = max(self.starts, line.starts)
        self.double = self.double or line.double
        self.soft = self.soft and line.soft
        self.ending = self.ending or line.ending
        self.inside = self.implied = False
