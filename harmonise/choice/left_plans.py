"""Which left hand each chord of each bar gets, before its notes are made.

A chord that goes on over several slots of a bar is one chord for its pattern; the last
one is held. Where a metre does not suit what was asked for, the user is told.
"""

from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise

import numpy as np

from harmonise.choice.choose import Choice
from harmonise.choice.sounding import silent_parts
from harmonise.errors import Place, Remark
from harmonise.left_hand.sections import BarStyle, bar_styles
from harmonise.left_hand.strokes import ChordPlan
from harmonise.theory.arrangement import Arrangement, LeftHand, Texture
from harmonise.theory.tune import Tune


def chord_plans(
    tune: Tune, choice: Choice, bars: Sequence[BarStyle], plain: frozenset[int]
) -> tuple[ChordPlan, ...]:
    """Return the plan of every chord, bar by bar.

    A chord that goes on over several slots of a bar is one chord; after a silence it is
    said anew. The last chord is held, or struck as an octave, so that the close sounds
    ended.

    Args:
        tune: The tune.
        choice: The chosen chords.
        bars: How each bar is played.
        plain: Slots in which the left hand holds the bass whatever was asked for, and
            with them the whole chord.
    """
    grid = choice.grid
    edges = grid.slot_start.tolist()
    # Of several silences in one slot the first counts, so the later ones come first.
    silences = sorted(silent_parts(tune, choice), reverse=True)
    quiet = {int(grid.slot[part]): int(grid.start[part]) for part in silences}
    plans = []
    for first, after in pairwise(_chord_edges(choice, quiet)):
        slots, bar = range(first, after), int(grid.slot_bar[first])
        pattern, closes = bars[bar].left_hand, after == grid.slots
        if plain & {*slots}:
            pattern = LeftHand.HELD
        elif closes:
            pattern = _closing(pattern, bars[bar].texture)
        chord = choice.menu.offer(first, int(choice.columns[first])).chord
        key = choice.menu.keys[int(choice.menu.stretch[first])]
        inside = tuple(edges[first : after + 1])
        silent = quiet.get(after - 1, inside[-1])
        row = (slots, inside, silent, pattern, chord, key, tune.bars[bar].time)
        plans.append(ChordPlan(*row))
    return tuple(plans)


def _closing(pattern: LeftHand, texture: Texture) -> LeftHand:
    """Return what the left hand does with the last chord: it is held.

    Under a light right hand every pattern that moves ends on a whole chord.
    """
    if pattern in (LeftHand.OCTAVE, LeftHand.CHORDS, LeftHand.DRONE):
        return pattern
    light = texture is Texture.LIGHT and pattern is not LeftHand.HELD
    return LeftHand.CHORDS if light else LeftHand.HELD


def _chord_edges(choice: Choice, quiet: Collection[int]) -> list[int]:
    """Return the slots at which a chord or a bar begins, and the number of slots."""
    rows = np.stack((choice.menu.stretch, choice.columns, choice.grid.slot_bar))
    begins = (rows[:, 1:] != rows[:, :-1]).any(axis=0)
    changes = {*(np.flatnonzero(begins) + 1).tolist()}
    slots = choice.grid.slots
    return sorted({0, *changes, *(slot + 1 for slot in quiet), slots})


def fallen_back(arrangement: Arrangement) -> Iterator[Remark]:
    """Yield where a time signature sends the left hand back to the held root."""
    tune, style = arrangement.tune, arrangement.style
    if style.left_hand is LeftHand.HELD and not style.sections:
        return
    before = None
    for bar, bar_style in zip(tune.bars, bar_styles(tune, style), strict=True):
        falls = bar_style.asked is not bar_style.left_hand
        if falls and before != (bar_style.asked, bar.time):
            phrase = bar_style.asked.row.phrase
            what = f"{phrase} does not suit {bar.time}; the left hand holds the root."
            yield Remark("LEFT", what, Place(bar.number))
        before = (bar_style.asked, bar.time) if falls else None
