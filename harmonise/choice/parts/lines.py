"""Where the lines of a tune end among its slots, and how one slot follows another.

A line ends where its last note is struck; slots into which the tune holds that note
belong to the end. Where that note is said again on a beat no stronger, as in
"C5 B | A A", the close is reached with the first of them.
"""

from typing import NamedTuple

import numpy as np

from harmonise.choice.grid import Grid, in_ticks
from harmonise.choice.parts.laws import (
    BAR_LINE,
    CLOSES,
    FALLS,
    LEVEL,
    RISES,
    Join,
)
from harmonise.theory.tune import Tune


class LineEnd(NamedTuple):
    """The slots that the last note of a line fills.

    Attributes:
        reached: The slot in which the close is reached: that one, or one before it.
        struck: The slot in which it is struck.
        last: The last slot into which it is held.
    """

    reached: int
    struck: int
    last: int


def line_ends(tune: Tune, grid: Grid) -> tuple[LineEnd, ...]:
    """Return where the lines of a tune end, the last line too."""
    edges = [in_ticks(end, grid.ticks) for end in tune.phrases]
    ends: list[LineEnd] = []
    for edge in (*edges, int(grid.slot_start[-1])):
        end = _line_end(grid, edge)
        if end and not (ends and ends[-1].last >= end.struck):
            begins = ends[-1].last + 1 if ends else 0
            ends.append(end._replace(reached=max(begins, end.reached)))
    return tuple(ends)


def _line_end(grid: Grid, edge: int) -> LineEnd | None:
    """Return the end of the line that ends at a tick; None before the first note."""
    before = np.flatnonzero((grid.start < edge) & (grid.midi >= 0))
    if not len(before):
        return None
    parts = np.flatnonzero(grid.note == grid.note[before[-1]])
    struck, last = int(grid.slot[parts[0]]), int(grid.slot[parts[-1]])
    # A note struck inside a slot comes to its own chord with the next one, if it lasts.
    if last > struck and grid.order[parts[0]] > 0:
        struck += 1
    return LineEnd(_reached(grid, struck, int(grid.midi[parts[0]])), struck, last)


def _reached(grid: Grid, struck: int, midi: int) -> int:
    """Return the first slot from which on the tune has nothing but its last note."""
    weight, reached = grid.slot_weight, struck
    for slot in range(struck - 1, -1, -1):
        if (grid.midi[grid.slot == slot] != midi).any():
            break
        if weight[slot] >= weight[struck]:
            reached = slot
    return reached


def joins_of(tune: Tune, grid: Grid, ends: tuple[LineEnd, ...]) -> tuple[Join, ...]:
    """Return where in bar and line each slot follows the one before.

    Where a line begins, after the first pickup, and once the close of a line is reached
    a chord may be said again on a stronger beat.
    """
    lines = {in_ticks(end, grid.ticks) for end in tune.phrases}
    opens = {slot for slot, at in enumerate(grid.slot_start.tolist()) if at in lines}
    closes = {slot for end in ends for slot in range(end.reached, end.struck + 1)}
    held = {slot for end in ends for slot in range(end.struck + 1, end.last + 1)}
    said = {slot for end in ends for slot in range(end.reached + 1, end.last + 1)}
    closing = closes | held | {end.reached - 1 for end in ends}
    weight, bar = grid.slot_weight.tolist(), grid.slot_bar.tolist()
    first = np.searchsorted(grid.slot, np.arange(grid.slots))
    tied = grid.held[first].tolist()
    joins = [Join()]
    for slot in range(1, grid.slots):
        if weight[slot] < weight[slot - 1]:
            goes = CLOSES if slot in closing else FALLS
        elif slot in opens | said or tune.bars[bar[slot - 1]].number < 1:
            goes = LEVEL
        elif bar[slot] != bar[slot - 1]:
            goes = BAR_LINE
        else:
            goes = RISES if weight[slot] > weight[slot - 1] else LEVEL
        joins.append(
            Join(goes, slot in opens, slot in closes, slot in held, tied[slot])
        )
    return tuple(joins)
