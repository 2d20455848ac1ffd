"""A bass that walks: roots near one another, and scale notes that lead to the next.

Up a fourth C (D E) F, down a fourth C (B A) G, up a tone F (F#) G: common practice. In
a minor key the sixth and seventh degrees are raised on the way up to the keynote; a
letter that the chord has is taken as the chord has it.
"""

from collections.abc import Sequence
from itertools import count, pairwise, takewhile

from harmonise.left_hand.strokes import LeftNote, LeftSlot, SlotPlan
from harmonise.theory.arrangement import LeftHand
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, Mode
from harmonise.theory.limits import LEFT_HAND_GAP, LEFT_HAND_LOWEST, nearest_bass
from harmonise.theory.pitch import Pitch, PitchName


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
        between: list[Pitch] = [Pitch(start.letter, start.alter + 1, start.octave)]
    elif abs(rise) < 3 or abs(rise) >= 12:
        return ()
    else:
        between = _scale_between(start, goal, _names(key, chord, goal, up=rise > 0))
    if not _goes_on([start, *between, goal], 1 if rise > 0 else -1):
        return ()
    return tuple(between[max(0, len(between) - most) :]) if most > 0 else ()


def _goes_on(way: list[Pitch], step: int) -> bool:
    """Return whether a way goes on in one direction, by a tone and a half at most."""
    return all(0 < step * (b.midi - a.midi) <= 3 for a, b in pairwise(way))


def _names(key: Key, chord: Chord, goal: Pitch, *, up: bool) -> dict[int, PitchName]:
    """Return the name of each letter on the way."""
    names = {name.letter: name for name in key.scale}
    if up and key.mode is Mode.MINOR and goal.name == key.tonic:
        names |= {name.letter: name for name in (key.name_at(6, 1), key.name_at(7, 1))}
    return names | {name.letter: name for name in chord.members}


def _scale_between(
    start: Pitch, goal: Pitch, names: dict[int, PitchName]
) -> list[Pitch]:
    step = 1 if goal.staff_step > start.staff_step else -1
    places = takewhile(
        lambda place: place != goal.staff_step, count(start.staff_step + step, step)
    )
    if start.staff_step == goal.staff_step:
        return []
    found = []
    for place in places:
        octave, letter = divmod(place, 7)
        found.append(Pitch(letter, names[letter].alter, octave))
    return found


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
