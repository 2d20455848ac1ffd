"""The bars of a printed score: their numbers, and where lines of print begin.

Numbering follows MusicXML 4.0 and TRADE N09: a pickup is number 0 and implicit; the
second part of a split bar is implicit with a number of its own, X1, X2 and so on.
"""

from bisect import bisect_left
from collections.abc import Sequence

from harmonise.theory.tune import Bar, Tune

_LONG_LINE = 20
"""Crotchets that fit on one line of print; a longer phrase is broken every 4 bars."""


def number_bars(bars: Sequence[Bar]) -> list[str]:
    """Return the numbers of all bars; a pickup is 0."""
    numbers: list[str] = []
    parts = 0
    before: int | None = None
    for bar in bars:
        again = bar.number == before
        parts += again
        numbers.append(f"X{parts}" if again else str(bar.number))
        before = bar.number
    return numbers


def new_lines(tune: Tune) -> set[int]:
    """Return the numbers, from 0, of the bars that begin a new line of print.

    Lines end where phrases end, or after the bar in which they end (TRADE N12), if they
    hold two full bars; phrases too long for one line are broken every four bars.
    """
    bars = tune.bars
    starts = [bar.start for bar in bars]
    ends = [bisect_left(starts, onset) for onset in sorted(tune.phrases)]
    lines: set[int] = set()
    first = 0
    for end in [*(end for end in ends if 0 < end < len(bars)), len(bars)]:
        # Neither a pickup nor the second part of a split bar fills a line.
        full = [at for at in range(first, end) if not bars[at].offset]
        if len(full) < 2 and end < len(bars):
            continue
        if bars[end - 1].end - bars[first].start > _LONG_LINE:
            lines.update(full[at] for at in range(4, len(full) - 1, 4))
        lines.add(end)
        first = end
    lines.discard(len(bars))
    return lines


def is_sign(text: str) -> bool:
    """Whether jump words are a sign that opens a bar: segno or coda."""
    return text.strip().lower() in ("segno", "coda")
