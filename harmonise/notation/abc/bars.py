"""Bar lines and bars of ABC, both ways: repeats, endings, numbers, pickups.

Books write bar lines in many shapes, so any row of `|`, `:`, `[` and `]` is read:
colons in front end a repeat, colons behind begin one, a doubled or thick line ends a
section. A pickup is bar 0. Bars that a repeat sign splits keep one number, and the
second part is told how much of the bar lies before it. Other bars that hold too little
or too much stay as they are written, with a remark. In free metre each bar gets the
time signature that it holds. Source: ABC 2.1, sections 3.1.6, 4.8 to 4.10; common
practice.
"""

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import OutputError, Place, format_beat
from harmonise.notation.abc.abc_text import AbcCode, AbcRemarks, UnreadableError
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tune

_BAR = r"(\.?)([|:\[\]]+)(.*)"
_THICK = ("||", "|]", "[|", "]")
_INVISIBLE = "[|]"
_MOST_TIMES = 20
_ENDING = r"(\d{1,2})(?:-(\d{1,2}))?"
_BEAT_TYPES = (4, 8, 16, 32, 64, 128, 256, 512)


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
    match = re.fullmatch(_BAR, text)
    dot, shape, numbers = match.groups() if match else ("", "", "")
    ending = parse_ending(numbers) if numbers else ()
    # "::" ends one repeat and begins another (4.8); other rows of colons mean nothing.
    if not shape.strip(":"):
        if shape != "::":
            what = f'"{text}" is no bar line.'
            raise UnreadableError(what, "Write |: or :| for a repeat, :: for both.")
        return BarLine(2, 2, ending=ending)
    # ":::" or more colons play a part three times or more (4.8).
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
        match = re.fullmatch(_ENDING, part)
        first = int(match.group(1)) if match else 0
        last = int(match.group(2) or first) if match else 0
        if not 0 < first <= last <= _MOST_TIMES:
            what = f'"[{text}" numbers no ending.'
            raise UnreadableError(what, "Write [1, [2, [1,3 or [1-3.")
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
        # A dotted line beside a plain one is a plain one.
        self.soft = self.soft and line.soft
        self.ending = self.ending or line.ending
        self.inside = self.implied = False


class Times(NamedTuple):
    """A metre from a place on; None is free metre."""

    onset: Fraction
    time: TimeSignature | None


class EndingSpan(NamedTuple):
    """An ending bracket from one place to another."""

    start: Fraction
    end: Fraction
    numbers: tuple[int, ...]


class _BarPiece(NamedTuple):
    """The music between two marks."""

    first: Mark
    last: Mark
    time: TimeSignature
    ends_tune: bool

    @property
    def start(self) -> Fraction:
        return self.first.onset

    @property
    def length(self) -> Fraction:
        return self.last.onset - self.first.onset

    @property
    def missing(self) -> Fraction:
        """What it lacks to a full bar; less than 0 if it holds more."""
        return self.time.bar_length - self.length

    @property
    def closes(self) -> bool:
        """Whether a section, an ending or the tune ends with it."""
        return self.ends_tune or self.last.is_section or bool(self.last.ending)


def free_time(length: Fraction) -> TimeSignature:
    """Return the plainest time signature whose bar has a length, else 4/4.

    >>> str(free_time(Fraction(3))), str(free_time(Fraction(7, 2)))
    ('3/4', '7/8')
    """
    for beat_type in _BEAT_TYPES:
        beats = length * beat_type / 4
        if beats.denominator == 1:
            return TimeSignature(beats.numerator, beat_type)
    return TimeSignature(4, 4)


def lay_bars(
    marks: Sequence[Mark], times: Sequence[Times], sections: dict[Fraction, str]
) -> tuple[Bar, ...]:
    """Return the bars between marks.

    Args:
        marks: At least two, the first at 0, the last at the end, none at one place.
        times: Metres, the first at 0.
        sections: Labels by the onset of the bar that they stand over.
    """
    pieces = list(_pieces(marks, times))
    endings = find_endings(marks, sections)
    bars: list[Bar] = []
    for index, piece in enumerate(pieces):
        number, offset = _number(index, pieces, bars)
        bars.append(Bar(number, piece.start, piece.length, piece.time, offset=offset))
    return tuple(_marked(bars, pieces, endings, sections))


def _pieces(marks: Sequence[Mark], times: Sequence[Times]) -> Iterator[_BarPiece]:
    waiting = list(reversed(times))
    time = waiting.pop().time
    for first, last in pairwise(marks):
        while waiting and waiting[-1].onset <= first.onset:
            time = waiting.pop().time
        # In free metre the bar itself tells its time.
        metre = time or free_time(last.onset - first.onset)
        yield _BarPiece(first, last, metre, ends_tune=last is marks[-1])


def _number(
    index: int, pieces: list[_BarPiece], bars: list[Bar]
) -> tuple[int, Fraction]:
    """Return the number of a bar and what it lacks at the front."""
    piece = pieces[index]
    if index == 0:
        # A tune of one bar that is too short has no pickup; it is short.
        pickup = piece.missing > 0 and len(pieces) > 1
        if pickup and not _completes(piece.length, pieces[1], piece):
            return 0, piece.missing
        return 1, Fraction(0)
    before = bars[-1]
    # A bar that a repeat sign parts is counted once (4.8).
    if _completes(before.offset + before.length, piece, pieces[index - 1]):
        return before.number, before.offset + before.length
    # A short bar after a repeat sign is the pickup of what follows.
    leads = piece.missing > 0 and piece.first.is_section and not piece.closes
    other = _other_ending(index, pieces, bars)
    return before.number + 1, other or (piece.missing if leads else Fraction(0))


def _completes(there: Fraction, piece: _BarPiece, before: _BarPiece) -> bool:
    """Whether a piece is the rest of a bar of which so much lies before it."""
    full, first = before.time.bar_length, piece.first
    # A change of metre begins a new bar.
    if piece.time != before.time or there >= full:
        return False
    if first.inside:
        return there + piece.length <= full
    at_sign = first.may_split and not first.ending
    return at_sign and there + piece.length == full


def _other_ending(index: int, pieces: list[_BarPiece], bars: list[Bar]) -> Fraction:
    """Return where in its bar a later ending begins, if the first is in one."""
    piece = pieces[index]
    if not piece.first.ending or piece.missing <= 0:
        return Fraction(0)
    for earlier in range(index - 1, -1, -1):
        if pieces[earlier].first.inside:
            offset = bars[earlier].offset
            # The second ending begins where the first did, in the middle of its bar
            # (4.9).
            fits = offset + piece.length <= piece.time.bar_length
            return offset if fits else Fraction(0)
        if pieces[earlier].first.starts:
            break
    return Fraction(0)


def find_endings(
    marks: Sequence[Mark], sections: dict[Fraction, str]
) -> tuple[EndingSpan, ...]:
    """Return the endings; each lasts to a double bar, repeat, ending or label."""
    spans: list[EndingSpan] = []
    opened: Mark | None = None
    for mark in marks:
        # A bracket ends at a double bar, a repeat sign or the next bracket (4.9).
        stops = mark.is_section or mark.ending or mark.onset in sections
        if opened is not None and (stops or mark is marks[-1]):
            if mark.onset > opened.onset:
                spans.append(EndingSpan(opened.onset, mark.onset, opened.ending))
            opened = None
        if mark.ending:
            opened = mark
    return tuple(spans)


def _marked(
    bars: list[Bar],
    pieces: list[_BarPiece],
    endings: tuple[EndingSpan, ...],
    sections: dict[Fraction, str],
) -> Iterator[Bar]:
    """Yield the bars with their repeats, endings, double bars and labels."""
    waiting = list(reversed(endings))
    times = 0
    for bar, piece in zip(bars, pieces, strict=True):
        while waiting and waiting[-1].end <= bar.start:
            waiting.pop()
        inside = waiting and waiting[-1].start <= bar.start
        # Colons at the beginning of a repeat count as those at its end do.
        times = piece.first.starts or times
        ends = piece.last.ends
        plain = not (ends or piece.last.starts or piece.ends_tune)
        yield bar._replace(
            repeat_start=piece.first.starts > 0,
            repeat_end=max(ends, times) if ends else 1,
            ending=waiting[-1].numbers if inside else (),
            double=piece.last.double and plain,
            section=sections.get(bar.start, ""),
        )
        times = 0 if ends else times


def tell_bars(
    bars: tuple[Bar, ...], marks: Sequence[Mark], remarks: AbcRemarks
) -> None:
    """Tell which bars do not hold what their time signature says."""
    pickups = {bar.length for bar in bars if bar.offset}
    at = {mark.onset: mark for mark in marks}
    for bar, after in zip(bars, (*bars[1:], None), strict=True):
        missing = bar.time.bar_length - bar.offset - bar.length
        # The parts of a split bar are short by nature.
        if missing == 0 or (after and after.number == bar.number):
            continue
        mark = at[bar.end]
        closes = after is None or mark.is_section or mark.ending
        # The last bar of a section gives back what its pickup took.
        if missing in pickups and closes:
            continue
        beats = bar.length / bar.time.unit
        counted = f"{format_beat(beats)} beat{'' if beats <= 1 else 's'}"
        remarks.add(
            AbcCode.BAR_LENGTH,
            f"it holds {counted} where {bar.time} has {bar.time.beats}; it was kept as "
            "written.",
            bar.start,
            "Check its notes and bar lines.",
        )


def tell_repeats(marks: Sequence[Mark], remarks: AbcRemarks) -> None:
    """Tell of repeats that never end, and of endings that do not fit together."""
    opened: Mark | None = None
    endings: set[int] = set()
    for mark in marks:
        if mark.ends:
            opened = None
        if mark.starts:
            if opened is not None:
                _tell_unended(opened, remarks)
            opened, endings = mark, set()
        if mark.ending:
            if min(mark.ending) > 1 and not endings:
                remarks.add(
                    AbcCode.REPEAT,
                    f"ending {mark.ending[0]} begins here, but there is no ending 1 "
                    "before it.",
                    mark.onset,
                )
            endings |= set(mark.ending)
    if opened is not None:
        _tell_unended(opened, remarks)


def _tell_unended(mark: Mark, remarks: AbcRemarks) -> None:
    what = "a repeat begins here that no later bar line ends; it is played once."
    remarks.add(AbcCode.REPEAT, what, mark.onset, "Write :| where it ends.")


def is_section(bar: Bar, after: Bar | None) -> bool:
    """Whether a section ends with a bar: at a repeat sign, a double bar or the end."""
    starts = after is None or after.repeat_start
    return bar.repeat_end > 1 or bar.double or starts


def closing(bar: Bar, after: Bar | None, *, ends_line: bool) -> str:
    """Return the bar line after a bar; "" where none is seen.

    Args:
        bar: The bar.
        after: The next bar; None after the last.
        ends_line: Whether a line of music ends with it.
    """
    if bar.repeat_end > 1:
        return ":" * (bar.repeat_end - 1) + "|"
    if after is None:
        return "|]"
    # The next bar writes its own |: ; two bar lines in a row would be an empty bar.
    if after.repeat_start:
        return "|" if ends_line else ""
    if bar.double:
        return "||"
    # The next bar is the rest of the same one: a dotted line at most is seen.
    if (after.number, after.offset) == (bar.number, bar.offset + bar.length):
        return "" if opens_ending(bar, after) else ".|"
    return "|"


def opening(before: Bar | None, bar: Bar) -> list[str]:
    """Return the signs at the beginning of a bar: a repeat, an ending."""
    words = ["|:"] if bar.repeat_start else []
    if opens_ending(before, bar):
        words.append(f"[{','.join(map(str, bar.ending))}")
    return words


def opens_ending(before: Bar | None, bar: Bar) -> bool:
    """Whether the bracket of an ending begins with a bar."""
    if not bar.ending:
        return False
    goes_on = before is not None and before.ending == bar.ending
    return before is None or not goes_on or is_section(before, bar)


def assert_endings_close(tune: Tune) -> None:
    """Do nothing if every ending stops where ABC lets it stop.

    Raises:
        OutputError: If one stops before a plain bar line.
    """
    for bar, after in pairwise(tune.bars):
        goes_on = not bar.ending or after.ending or after.section
        if not (goes_on or is_section(bar, after)):
            what = "ABC cannot end an ending before a plain bar line."
            remedy = "Put a double bar or a repeat sign there."
            raise OutputError(what, Place(bar.number), remedy)
