"""The chord chart: one row a line of the tune, one cell a bar, in plain text."""

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
    bars = _whole_bars(arrangement)
    cells = [_cell(arrangement, parts, numerals=numerals) for parts in bars]
    width = max(map(len, cells), default=1)
    digits = len(str(bars[-1][0].number)) if bars else 1
    rows = []
    for first in range(0, len(cells), _BARS_A_ROW):
        row = " | ".join(
            cell.ljust(width) for cell in cells[first : first + _BARS_A_ROW]
        )
        rows.append(f"{bars[first][0].number:>{digits}}  {row.rstrip()} |")
    return "\n".join(rows)


def _whole_bars(arrangement: Arrangement) -> list[list[Bar]]:
    """Return the bars, the parts of a split bar together; no pickup without chords."""
    found: list[list[Bar]] = []
    for bar in arrangement.tune.bars:
        if bar.number == 0 and not _slots_in(arrangement, bar):
            continue
        if found and bar.offset and found[-1][-1].number == bar.number:
            found[-1].append(bar)
        else:
            found.append([bar])
    return found


def _slots_in(arrangement: Arrangement, bar: Bar) -> list[Slot]:
    return [
        slot
        for slot in arrangement.slots
        if slot.chord and bar.start <= slot.onset < bar.end
    ]


def _cell(arrangement: Arrangement, bars: list[Bar], *, numerals: bool) -> str:
    changes = {slot.onset for slot in arrangement.changes}
    clashes = {r.place for r in arrangement.remarks if r.code == "E18"}
    words = []
    for slot in (slot for bar in bars for slot in _slots_in(arrangement, bar)):
        name = slot.numeral if numerals else str(slot.chord)
        word = name if slot.onset in changes else "-"
        words.append(f"{word}!" if slot.place in clashes else word)
    while len(words) > 1 and words[-1] == "-":
        words.pop()
    return " ".join(words) if words else "-"
