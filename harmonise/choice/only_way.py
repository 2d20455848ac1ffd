"""Where the rules leave one answer under a tune, it comes out.

With the primary triads alone many a beginner's tune can be harmonised in one way only:
every note is in its chord, the first and the last chord are the tonic, and the dominant
never goes to the subdominant (common practice). No habit of arrangers has a say then.

Ways need no counting. A chord is *open* in a slot if some lawful way passes through it;
there is one way if every slot has one open chord. Sets of chords are bits of a number:
1 for the tonic, 2 for the subdominant, 4 for the dominant.
"""

from itertools import accumulate

import numpy as np

from harmonise.choice.grid import Grid, Ints
from harmonise.choice.palette import Menu
from harmonise.theory.chord import Quality
from harmonise.theory.key import Mode
from harmonise.theory.numerals import Role

MOST_LEVEL = 2
"""The law speaks of the levels that have the primary triads alone (V7 is a V)."""
_BITS = np.array([1, 2, 4])
_TONIC, _ANY = 1, 7
_NONE, _DOMINANT = -1, 2
_NUMBER = np.array([_NONE, 0, 1, _NONE, _DOMINANT, _NONE, _NONE, _NONE])
"""Which primary chord, as the palette numbers them, a set of one chord is."""
_AFTER = (0, 7, 7, 7, 5, 7, 7, 7)
_BEFORE = (0, 7, 3, 7, 7, 7, 7, 7)
"""What may follow, or lead to, some chord of a set: all but the dominant to the
subdominant."""


def with_only_way(grid: Grid, menu: Menu) -> Menu:
    """Return a menu in which the only way, where there is one, alone is allowed.

    Locked slots keep their chords, and a dominant may have its seventh.

    Args:
        grid: The parts.
        menu: What is on offer, at one of the first two levels.
    """
    # In modes other chords are primary, and no dominant must lead on.
    if any(key.mode not in (Mode.MAJOR, Mode.MINOR) for key in menu.keys):
        return menu
    way = only_way(grid, menu)
    if way is None:
        return menu
    lawful = np.arange(menu.real.shape[1]) == way[:, None]
    with_seventh = menu.each(
        lambda offer: (
            offer.role is Role.DOMINANT
            and offer.chord.quality is Quality.DOMINANT_SEVENTH
        )
    )
    lawful |= (way == _DOMINANT)[:, None] & (with_seventh > 0)[menu.stretch]
    allowed = menu.allowed & (lawful | menu.locked[:, None])
    return menu._replace(allowed=allowed, forced=~menu.locked)


def only_way(grid: Grid, menu: Menu) -> Ints | None:
    """Return the primary chord (0, 1 or 2) of each slot; None if not one way is lawful.

    First every note must be in its chord; if no way is lawful then, those that open a
    slot or last a beat, for the others can pass. If several ways are, those no longer
    count that change the chord while a held note fills the slot: longer slots would
    not know them.
    """
    # The palette of every key begins with the primary triads.
    stretch = menu.stretch[grid.slot]
    inside = menu.member[stretch, : len(_BITS), grid.midi % 12]
    sets = np.where(grid.midi >= 0, inside @ _BITS, _ANY)
    if not sets.all():
        return None
    passes = (grid.order > 0) | grid.slot_spare[grid.slot]
    passes &= grid.length < grid.beat
    for heard in (sets, np.where(passes, _ANY, sets)):
        holding = np.bitwise_and.reduceat(heard, np.flatnonzero(grid.order == 0))
        if holding.all() and (way := _way_through(grid, holding)) is not None:
            return way
    return None


def _way_through(grid: Grid, holding: Ints) -> Ints | None:
    """Return the only lawful way; None if there are several or none.

    Args:
        grid: The parts.
        holding: The set of chords that may stand in each slot.
    """
    held = grid.held[grid.order == 0] & (np.bincount(grid.slot) == 1)
    held[0] = False
    # Spare slots are no places of their own here: a close may do without them.
    spare = grid.slot_spare
    for group in (np.cumsum(~spare) - 1, np.cumsum(~(spare | held)) - 1):
        # What is one group has one chord, which must hold all of its notes.
        first = np.flatnonzero(np.diff(group, prepend=_NONE))
        way = _NUMBER[_open(np.bitwise_and.reduceat(holding, first).tolist())]
        if (way != _NONE).all():
            chords: Ints = way[group]
            return chords
    return None


def _open(holding: list[int]) -> list[int]:
    """Return, for each slot, the set of chords that some lawful way passes through."""
    reached = accumulate(
        holding[1:],
        lambda before, here: _AFTER[before] & here,
        initial=holding[0] & _TONIC,
    )
    leading = accumulate(
        holding[-2::-1],
        lambda after, here: _BEFORE[after] & here,
        initial=holding[-1] & _TONIC,
    )
    return [a & b for a, b in zip(reached, reversed([*leading]), strict=True)]
