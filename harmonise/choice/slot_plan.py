"""What each slot asks of both hands once its chord is chosen. Times are ticks."""

from collections.abc import Sequence
from typing import NamedTuple

from harmonise.choice.choose import Choice
from harmonise.choice.sounding import silent_parts
from harmonise.theory.arrangement import LeftHand
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.sections import BarStyle
from harmonise.theory.tune import Tune


class SlotPlan(NamedTuple):
    """One slot before its pattern is made.

    Attributes:
        number: Its number.
        onset: Where it begins.
        end: Where it ends.
        quiet: Where both hands let go; the end if they do not.
        pattern: What the left hand does.
        chord: The chord.
        key: Key in force.
        time: Metre in force.
    """

    number: int
    onset: int
    end: int
    quiet: int
    pattern: LeftHand
    chord: Chord
    key: Key
    time: TimeSignature


def slot_plans(
    tune: Tune, choice: Choice, bars: Sequence[BarStyle], plain: frozenset[int]
) -> tuple[SlotPlan, ...]:
    """Return the plan of every slot.

    The last chord is held, or struck as an octave, so that the close sounds ended.

    Args:
        tune: The tune.
        choice: The chosen chords.
        bars: How each bar is played.
        plain: Slots in which the left hand holds the bass whatever was asked for.
    """
    grid = choice.grid
    edges = grid.slot_start.tolist()
    quiet = _quiet(tune, choice)
    final = _final_slots(choice)
    found = []
    for slot, bar in enumerate(grid.slot_bar.tolist()):
        pattern = bars[bar].left_hand
        closes = slot in final and pattern is not LeftHand.OCTAVE
        if closes or slot in plain:
            pattern = LeftHand.HELD
        begin, end = edges[slot : slot + 2]
        chord = choice.board.offer(slot, int(choice.columns[slot])).chord
        key = choice.board.keys[int(choice.board.stretch[slot])]
        time = tune.bars[bar].time
        row = (slot, begin, end, quiet.get(slot, end), pattern, chord, key, time)
        found.append(SlotPlan(*row))
    return tuple(found)


def _quiet(tune: Tune, choice: Choice) -> dict[int, int]:
    """Return, by slot, where both hands let go before its end."""
    grid = choice.grid
    parts = sorted(silent_parts(tune, choice), reverse=True)
    return {int(grid.slot[part]): int(grid.start[part]) for part in parts}


def _final_slots(choice: Choice) -> frozenset[int]:
    """Return the slots of the last bar that follow the last change of chord."""
    rows = list(
        zip(
            choice.board.stretch.tolist(),
            choice.columns.tolist(),
            choice.grid.slot_bar.tolist(),
            strict=True,
        )
    )
    first = len(rows) - 1
    while first and rows[first - 1] == rows[-1]:
        first -= 1
    return frozenset(range(first, len(rows)))
