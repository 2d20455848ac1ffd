"""A bass that walks: roots near one another, and scale notes that lead to the next."""

from collections.abc import Sequence

from harmonise.choice.left_slot import LeftNote, LeftSlot
from harmonise.choice.slot_plan import SlotPlan
from harmonise.theory.arrangement import LeftHand
from harmonise.theory.limits import LEFT_HAND_GAP, LEFT_HAND_LOWEST, nearest_bass
from harmonise.theory.pitch import Pitch
from harmonise.theory.walking import leading_notes


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
