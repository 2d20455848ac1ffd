"""What each slot asks of both hands once its chord is chosen. Times are ticks.

A bass that walks: roots near one another, and scale notes that lead to the next.
"""

from collections.abc import Sequence
from typing import NamedTuple

from harmonise.choice.choose import Choice
from harmonise.choice.sounding import silent_parts
from harmonise.left_hand.sections import BarStyle
from harmonise.left_hand.strokes import LeftNote, LeftSlot
from harmonise.left_hand.walking import leading_notes
from harmonise.theory.arrangement import LeftHand
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.limits import LEFT_HAND_GAP, LEFT_HAND_LOWEST, nearest_bass
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch
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


def walk(
    ticks: int,
    plans: Sequence[SlotPlan],
    lowest: Sequence[int],
    left: Sequence[LeftSlot],
) -> tuple[LeftSlot, ...]:
    """Return the left hand with the slots that walk put in.

    Args:
        ticks: Ticks per crotchet.
        plans: The slots.
        lowest: Lowest right-hand note of each slot.
        left: The left hand of each slot; of those that walk only the root counts.
    """
    if not any(plan.pattern is LeftHand.WALKING for plan in plans):
        return tuple(left)
    roots = _roots(plans, lowest, left)
    found = list(left)
    for number, plan in enumerate(plans):
        root = roots[number]
        if plan.pattern is LeftHand.WALKING and root is not None:
            last = number + 1 == len(plans)
            goal = None if last else _led_to(plan, root, roots[number + 1])
            found[number] = _walk_on(ticks, plan, root, goal, lowest[number])
    return tuple(found)


def _roots(
    plans: Sequence[SlotPlan], lowest: Sequence[int], left: Sequence[LeftSlot]
) -> list[Pitch | None]:
    """Return the bass of each slot; one that walks lies nearest the one before."""
    found: list[Pitch | None] = []
    before = 0
    for plan, low, own in zip(plans, lowest, left, strict=True):
        midi = _bass(own)
        if plan.pattern is LeftHand.WALKING and before and midi:
            near = nearest_bass(plan.chord.bass.pitch_class, low, before)
            midi = near or midi
        before = midi or before
        found.append(plan.chord.bass.at(midi) if midi else None)
    return found


def _bass(own: LeftSlot) -> int:
    """Return the bass of a slot; 0 where there is none."""
    if own.struck:
        return own.struck[0].pitch.midi
    return max(0, *own.held[:1], 0)


def _led_to(plan: SlotPlan, root: Pitch, goal: Pitch | None) -> Pitch | None:
    """Return the root that the slot leads to; None where the hands let go first."""
    if plan.quiet < plan.end or goal is None or goal.name == root.name:
        return None
    return goal


def _walk_on(
    ticks: int, plan: SlotPlan, root: Pitch, goal: Pitch | None, lowest: int
) -> LeftSlot:
    beat = int(plan.time.beat * ticks)
    most = (plan.end - plan.onset) // beat - 1
    way: tuple[Pitch, ...] = ()
    if goal:
        way = leading_notes(root, goal, plan.key, plan.chord, most)
    room = range(LEFT_HAND_LOWEST, lowest - LEFT_HAND_GAP + 1)
    if not way or any(pitch.midi not in room for pitch in way):
        return LeftSlot((root.midi,))
    onsets = [plan.onset, *(plan.end - beat * n for n in range(len(way), 0, -1))]
    rows = zip(onsets, [*onsets[1:], plan.end], (root, *way), strict=True)
    return LeftSlot((), tuple(LeftNote(*row) for row in rows))
