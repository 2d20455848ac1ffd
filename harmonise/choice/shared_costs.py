"""Slots that must have one chord, and their costs shared out evenly.

To share changes no sum of a way that has equal chords under bars alike; and a section
that comes again is then the same chain again, in which the cheapest path has the same
chords without being told.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.grid import Flags, Grid, Ints, in_ticks
from harmonise.theory.alike import Groups
from harmonise.theory.tune import Tune


def alike_slots(tune: Tune, grid: Grid, bars: Sequence[int], locked: Flags) -> Ints:
    """Return, for each slot, the first one whose chord it must have.

    A slot that a bar lacks (after the last note of the tune, say) has the chord that is
    there already. Locked slots have what was asked for.

    Args:
        tune: The tune.
        grid: Its slots.
        bars: For each bar the first one whose chords it must have.
        locked: Whether a lock covers each slot.
    """
    groups = Groups(grid.slots)
    begins = [in_ticks(bar.start, grid.ticks) for bar in tune.bars]
    # The places of a bar's slots in the bar, and the slots.
    places: list[tuple[list[int], list[int]]] = [([], []) for _ in bars]
    starts = zip(grid.slot_start.tolist(), grid.slot_bar.tolist(), strict=False)
    for slot, (start, bar) in enumerate(starts):
        places[bar][0].append(start - begins[bar])
        places[bar][1].append(slot)
    for bar, model in enumerate(bars):
        for one, other in _together(places[model], places[bar]) if model != bar else ():
            if not locked[one] and not locked[other]:
                groups.join(one, other)
    return np.array(groups.least())


def _together(
    one: tuple[list[int], list[int]], other: tuple[list[int], list[int]]
) -> Iterator[tuple[int, int]]:
    """Yield which slots of two bars are there at the same times."""
    if one[0] == other[0]:
        yield from zip(one[1], other[1], strict=True)
        return
    for place in sorted({*one[0], *other[0]}):
        pair = [bisect_right(places, place) - 1 for places, _ in (one, other)]
        if min(pair) >= 0:
            yield one[1][pair[0]], other[1][pair[1]]


_Number = TypeVar("_Number", bound=np.number[Any])


def shared(costs: NDArray[_Number], groups: Ints) -> NDArray[_Number]:
    """Return costs of which each is the mean of its group; whole ones rounded down.

    Args:
        costs: Shape (slots, ...).
        groups: Shape (slots,): number of each slot's group.
    """
    order = np.argsort(groups, kind="stable")
    first = np.flatnonzero(np.diff(groups[order], prepend=-1))
    size = np.diff(first, append=len(groups))
    if len(size) == len(groups):
        return costs
    sums = np.add.reduceat(costs[order].astype(np.float64), first, axis=0)
    means = sums / size.reshape(-1, *[1] * (costs.ndim - 1))
    if issubclass(costs.dtype.type, np.integer):
        means = np.floor(means)
    found = np.empty_like(costs)
    found[order] = np.repeat(means, size, axis=0)
    return found


def alike_steps(alike: Ints, fresh: Flags) -> Ints:
    """Number the steps into slots so that those between slots alike have one number.

    Args:
        alike: For each slot the first one whose chord it must have.
        fresh: Slots into which there is no step, for a section begins.
    """
    pairs: dict[tuple[int, int], int] = {}
    steps = [0] + [
        pairs.setdefault(pair, slot)
        for slot, pair in enumerate(pairwise(alike.tolist()), 1)
    ]
    return np.where(fresh, np.arange(len(alike)), steps)


def kept_alike(alike: Ints, kept: Flags) -> Ints:
    """Return which slots are alike, of those that are kept.

    Args:
        alike: For each slot the first one whose chord it must have.
        kept: Whether each slot stays.
    """
    number = np.cumsum(kept) - 1
    model = np.where(kept[alike], number[alike], number)
    found: Ints = model[kept]
    return found
