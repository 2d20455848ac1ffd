"""One typed bar, and how bars are numbered."""

from fractions import Fraction
from typing import NamedTuple

from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar


class Word(NamedTuple):
    """One typed beat.

    Attributes:
        text: As typed.
        passage: Number of its passage, from 0.
    """

    text: str
    passage: int


class TypedBar:
    """A bar while it is being read.

    Attributes:
        time: Time signature in force.
        words: Its beats.
        close: The bar line that closes it; "" for none.
        repeat_start: Whether a repeat begins at its start.
        repeat_end: How often the music up to its end is played.
        ending: Numbers of its ending.
        number: As printed; 0 for a pickup.
        offset: Beats that it lacks at its front.
        start: Crotchets from the start of the tune.
    """

    __slots__ = (
        "close",
        "ending",
        "number",
        "offset",
        "repeat_end",
        "repeat_start",
        "start",
        "time",
        "words",
    )

    def __init__(self, time: TimeSignature) -> None:
        """Begin an empty bar."""
        self.time = time
        self.words: list[Word] = []
        self.close = ""
        self.repeat_start = False
        self.repeat_end = 1
        self.ending: tuple[int, ...] = ()
        self.number = 0
        self.offset = 0
        self.start = Fraction(0)

    @property
    def beats(self) -> int:
        """Number of its beats."""
        return len(self.words)

    @property
    def is_short(self) -> bool:
        """Whether beats are missing."""
        return len(self.words) < self.time.beats

    @property
    def last_line(self) -> int:
        """Number of the passage that holds its last beat."""
        return self.words[-1].passage

    def finished(self) -> Bar:
        """Return the bar as the tune keeps it."""
        unit = self.time.unit
        return Bar(
            self.number,
            self.start,
            unit * len(self.words),
            self.time,
            repeat_start=self.repeat_start,
            repeat_end=self.repeat_end,
            ending=self.ending,
            double=self.close == "||",
            offset=unit * self.offset,
        )


def number_bars(bars: list[TypedBar]) -> None:
    """Give every bar its number, its start and the beats that it lacks in front.

    A short first bar is the pickup, number 0. After a double bar line or a repeat sign
    a short bar is either the rest of the short bar before it, or, up to half a bar
    long, a pickup of its own; both carry the number of the bar before.
    """
    number = 0
    start = Fraction(0)
    for index, bar in enumerate(bars):
        bar.offset = _lacks(bars, index)
        if not bar.offset:
            number += 1
        bar.number = number
        bar.start = start
        start += bar.time.unit * bar.beats


def _lacks(bars: list[TypedBar], index: int) -> int:
    bar = bars[index]
    missing = bar.time.beats - bar.beats
    if missing <= 0:
        return 0
    if index == 0:
        return missing if len(bars) > 1 else 0
    before = bars[index - 1]
    breaks = before.close in ("||", ":|") or bar.repeat_start
    if not breaks or (bar.ending and bar.ending != before.ending):
        return 0
    if before.beats == missing and before.time == bar.time and not before.offset:
        return missing
    is_last = index == len(bars) - 1
    return missing if 2 * bar.beats <= bar.time.beats and not is_last else 0
