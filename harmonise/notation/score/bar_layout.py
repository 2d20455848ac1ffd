"""The bars of a printed score: their numbers, and where lines of print begin.

Numbering follows MusicXML 4.0 and TRADE N09: a pickup is number 0 and implicit; the
second part of a split bar is implicit with a number of its own, X1, X2 and so on.
"""

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
    ends = _phrase_ends(tune)
    lines: set[int] = set()
    first = 0
    for end in ends:
        full = _full_bars(tune.bars, first, end)
        if len(full) < 2 and end < len(tune.bars):
            continue
        length = tune.bars[end - 1].end - tune.bars[first].start
        if length > _LONG_LINE:
            lines.update(full[at] for at in range(4, len(full) - 1, 4))
        lines.add(end)
        first = end
    lines.discard(len(tune.bars))
    return lines


def _phrase_ends(tune: Tune) -> list[int]:
    """Return the numbers of the bars after each phrase's last; the end comes last."""
    ends = []
    at = 0
    for onset in sorted(tune.phrases):
        while at < len(tune.bars) and tune.bars[at].start < onset:
            at += 1
        ends.append(at)
    return [*(end for end in ends if 0 < end < len(tune.bars)), len(tune.bars)]


def _full_bars(bars: Sequence[Bar], first: int, end: int) -> list[int]:
    """Return the bars of a line that count: neither pickups nor second parts."""
    return [at for at in range(first, end) if not bars[at].offset]


def is_sign(text: str) -> bool:
    """Whether jump words are a sign that opens a bar: segno or coda."""
    return text.strip().lower() in ("segno", "coda")
