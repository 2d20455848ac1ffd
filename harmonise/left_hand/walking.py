"""A bass that walks: roots near one another, and scale notes that lead to the next.

Up a fourth C (D E) F, down a fourth C (B A) G, up a tone F (F#) G: common practice. In
a minor key the sixth and seventh degrees are raised on the way up to the keynote; a
letter that the chord has is taken as the chord has it.
"""

from collections.abc import Sequence
from itertools import pairwise

from harmonise.left_hand.strokes import LeftNote, LeftSlot, SlotPlan
from harmonise.theory.arrangement import LeftHand
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import LEFT_HAND_GAP, LEFT_HAND_LOWEST, nearest_bass


def leading_notes(
    start: Pitch, goal: Pitch, key: Key, chord: Chord, most: int
) -> tuple[Pitch, ...]:
    """Return the notes between two roots, in order; at most so many, the last ones.

    Args:
        start: The root that sounds.
        goal: The next root.
        key: Key in force.
        chord: Chord in force.
        most: How many there is time for.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.theory.pitch import parse_pitch
    >>> found = leading_notes(
    ...     parse_pitch("E3"), parse_pitch("A3"), parse_key("A minor"),
    ...     parse_symbol("E"), 2,
    ... )
    >>> " ".join(map(str, found))
    'F#3 G#3'
    """
    rise = goal.midi - start.midi
    if rise == 2 and start.alter < 1 and goal.letter != start.letter:
        # Up a tone the scale has nothing between: the lower root is raised.
        between = [Pitch(start.letter, start.alter + 1, start.octave)]
    elif abs(rise) < 3 or abs(rise) >= 12:
        return ()
    else:
        names = {name.letter: name for name in key.scale}
        if rise > 0 and key.mode is Mode.MINOR and goal.name == key.tonic:
            raised = (key.name_at(6, 1), key.name_at(7, 1))
            names |= {name.letter: name for name in raised}
        names |= {name.letter: name for name in chord.members}
        step = 1 if goal.staff_step > start.staff_step else -1
        between = [
            Pitch(place % 7, names[place % 7].alter, place // 7)
            for place in range(start.staff_step + step, goal.staff_step, step)
        ]
    # The way goes on in one direction, by a tone and a half at most.
    sign = 1 if rise > 0 else -1
    way = pairwise([start, *between, goal])
    if not all(0 < sign * (after.midi - before.midi) <= 3 for before, after in way):
        return ()
    return tuple(between[max(0, len(between) - most) :]) if most > 0 else ()


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
    roots = _roots(plans, lowest, left)
    walked = list(left)
    rows = zip(plans, roots, [*roots[1:], None], lowest, strict=True)
    for number, (plan, root, goal, low) in enumerate(rows):
        if plan.pattern is LeftHand.WALKING and root is not None:
            walked[number] = _walk_on(ticks, plan, (root, goal), low)
    return tuple(walked)


def _roots(
    plans: Sequence[SlotPlan], lowest: Sequence[int], left: Sequence[LeftSlot]
) -> list[Pitch | None]:
    """Return the bass of each slot; one that walks lies nearest the one before."""
    roots: list[Pitch | None] = []
    before = 0
    for plan, low, slot in zip(plans, lowest, left, strict=True):
        struck = slot.struck[0].pitch.midi if slot.struck else 0
        midi = max(0, struck or next(iter(slot.held), 0))
        if plan.pattern is LeftHand.WALKING and before and midi:
            near = nearest_bass(plan.chord.bass.pitch_class, low, before)
            midi = near or midi
        before = midi or before
        roots.append(plan.chord.bass.at(midi) if midi else None)
    return roots


def _walk_on(
    ticks: int, plan: SlotPlan, roots: tuple[Pitch, Pitch | None], lowest: int
) -> LeftSlot:
    """Return what walks from a root to the next one, or the root held."""
    root, goal = roots
    beat = int(plan.time.beat * ticks)
    most = (plan.end - plan.onset) // beat - 1
    way: tuple[Pitch, ...] = ()
    # There is nowhere to lead where the hands let go first, or where the root stays.
    if goal and goal.name != root.name and plan.quiet >= plan.end:
        way = leading_notes(root, goal, plan.key, plan.chord, most)
    room = range(LEFT_HAND_LOWEST, lowest - LEFT_HAND_GAP + 1)
    if not way or any(pitch.midi not in room for pitch in way):
        return LeftSlot((root.midi,))
    # The root keeps its place, and the others take the last beats, one each.
    onsets = [plan.onset, *(plan.end - beat * n for n in range(len(way), 0, -1))]
    rows = zip(onsets, [*onsets[1:], plan.end], (root, *way), strict=True)
    return LeftSlot((), tuple(LeftNote(*row) for row in rows))
