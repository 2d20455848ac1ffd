"""The chord chart: one row a line of the tune, one cell a bar, in plain text."""

from bisect import bisect_left

from harmonise.theory.arrangement import Arrangement, Slot
from harmonise.theory.tune import Bar

_BARS_A_ROW = 4


def format_chart(arrangement: Arrangement, *, numerals: bool = False) -> str:
    """Return the chords bar by bar; a dash holds the chord before.

    A locked chord that clashes with its tune note is marked with "!".

    Args:
        arrangement: What was arranged.
        numerals: Whether Roman numerals stand in place of chord symbols.

    Returns:
        Rows of at most four bars, the number of the first bar in front, without a
        line end after the last.
    """
    chorded = _Chorded([slot for slot in arrangement.slots if slot.chord])
    bars = _whole_bars(arrangement, chorded)
    write = _Writer(arrangement, chorded, numerals=numerals)
    cells = [write.cell(parts) for parts in bars]
    width = max(map(len, cells), default=1)
    digits = len(str(bars[-1][0].number)) if bars else 1
    rows = []
    for first in range(0, len(cells), _BARS_A_ROW):
        row = " | ".join(
            cell.ljust(width) for cell in cells[first : first + _BARS_A_ROW]
        )
        rows.append(f"{bars[first][0].number:>{digits}}  {row.rstrip()} |")
    return "\n".join(rows)


class _Chorded:
    """The slots that have a chord, found by bar."""

    def __init__(self, slots: list[Slot]) -> None:
        self._slots, self._onsets = slots, [slot.onset for slot in slots]

    def inside(self, bar: Bar) -> list[Slot]:
        """Return the slots that begin in a bar."""
        first = bisect_left(self._onsets, bar.start)
        return self._slots[first : bisect_left(self._onsets, bar.end, lo=first)]


def _whole_bars(arrangement: Arrangement, chorded: _Chorded) -> list[list[Bar]]:
    """Return the bars, the parts of a split bar together; no pickup without chords."""
    found: list[list[Bar]] = []
    for bar in arrangement.tune.bars:
        if bar.number == 0 and not chorded.inside(bar):
            continue
        if found and bar.offset and found[-1][-1].number == bar.number:
            found[-1].append(bar)
        else:
            found.append([bar])
    return found


class _Writer:
    """Writes the cells of an arrangement."""

    def __init__(
        self, arrangement: Arrangement, chorded: _Chorded, *, numerals: bool
    ) -> None:
        self._chorded, self._numerals = chorded, numerals
        self._changes = {slot.onset for slot in arrangement.changes}
        self._clashes = {r.place for r in arrangement.remarks if r.code == "E18"}

    def cell(self, bars: list[Bar]) -> str:
        """Return the chords of a bar; a dash holds the one before."""
        words = []
        for slot in (slot for bar in bars for slot in self._chorded.inside(bar)):
            name = slot.numeral if self._numerals else str(slot.chord)
            word = name if slot.onset in self._changes else "-"
            words.append(f"{word}!" if slot.place in self._clashes else word)
        while len(words) > 1 and words[-1] == "-":
            words.pop()
        return " ".join(words) if words else "-"
