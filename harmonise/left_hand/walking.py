"""A bass that walks: roots near one another, and scale notes that lead to the next.

Up a fourth C (D E) F, down a fourth C (B A) G; between roots a step apart there is
nothing: common practice. The notes are those of the key's scale. In a minor key the
sixth and seventh degrees are raised on the way up to the keynote; a letter that the
chord has is taken as the chord has it.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from harmonise.left_hand.strokes import ChordPlan, LeftNote, LeftSlot
from harmonise.theory.arrangement import LeftHand
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, Mode
from harmonise.theory.motion import parallels
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
    if abs(rise) < 3 or abs(rise) >= 12:
        return ()
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


class Over(NamedTuple):
    """What lies over one chord of the left hand.

    Attributes:
        lowest: MIDI number of the lowest right-hand note.
        first: MIDI number of the tune's first note; None where it rests.
        last: MIDI number of its last note.
    """

    lowest: int
    first: int | None
    last: int | None


def walk(
    ticks: int,
    plans: Sequence[ChordPlan],
    over: Sequence[Over],
    left: Sequence[LeftSlot],
) -> tuple[LeftSlot, ...]:
    """Return the left hand with the chords that walk put in.

    Args:
        ticks: Ticks per crotchet.
        plans: The chords, bar by bar.
        over: What lies over each chord.
        left: The left hand of each chord; of those that walk only the root counts.
    """
    roots = _roots(plans, over, left)
    walked = list(left)
    for number, (root, goal) in enumerate(pairwise([*roots, None])):
        if plans[number].pattern is not LeftHand.WALKING or root is None:
            continue
        unit, way = _way(ticks, plans[number], root, goal)
        clear = all(
            LEFT_HAND_LOWEST <= pitch.midi <= over[number].lowest - LEFT_HAND_GAP
            for pitch in way
        )
        # The last note and the next root must not run in octaves or fifths with the
        # tune: a held root does not.
        if goal and way and clear:
            before = (way[-1].midi, over[number].last)
            clear = not parallels(before, (goal.midi, over[number + 1].first))
        walked[number] = _walked(plans[number], root, way if clear else (), unit)
    return tuple(walked)


def _roots(
    plans: Sequence[ChordPlan], over: Sequence[Over], left: Sequence[LeftSlot]
) -> list[Pitch | None]:
    """Return the bass of each chord; one that walks lies nearest the one before."""
    roots: list[Pitch | None] = []
    before = 0
    for plan, right, slot in zip(plans, over, left, strict=True):
        struck = slot.struck[0].pitch.midi if slot.struck else 0
        midi = max(0, struck or next(iter(slot.held), 0))
        if plan.pattern is LeftHand.WALKING and before and midi:
            near = nearest_bass(plan.chord.bass.pitch_class, right.lowest, before)
            midi = near or midi
        before = midi or before
        roots.append(plan.chord.bass.at(midi) if midi else None)
    return roots


def _way(
    ticks: int, plan: ChordPlan, root: Pitch, goal: Pitch | None
) -> tuple[int, tuple[Pitch, ...]]:
    """Return how long each note lasts that leads on from a root, and the notes.

    A beat each, after a beat at least of the root; under a chord of one beat, as hymns
    have them, its second half is for one, which is a step away or in the chord.
    """
    beat, length = int(plan.time.beat * ticks), plan.end - plan.onset
    # There is nowhere to lead where the hands let go first, or where the root stays.
    if goal is None or goal.name == root.name or plan.quiet < plan.end:
        return beat, ()
    if length != beat or beat % 2:
        most = length // beat - 1
        return beat, leading_notes(root, goal, plan.key, plan.chord, most)
    way = leading_notes(root, goal, plan.key, plan.chord, 1)
    easy = any(
        abs(pitch.staff_step - root.staff_step) == 1 or pitch.name in plan.chord.members
        for pitch in way
    )
    return beat // 2, way if easy else ()


def _walked(
    plan: ChordPlan, root: Pitch, way: tuple[Pitch, ...], unit: int
) -> LeftSlot:
    """Return the root with the notes that lead on in the last beats, or held."""
    if not way:
        return LeftSlot((root.midi,))
    onsets = [plan.onset, *(plan.end - unit * n for n in range(len(way), 0, -1))]
    rows = zip(onsets, [*onsets[1:], plan.end], (root, *way), strict=True)
    return LeftSlot((), tuple(LeftNote(*row) for row in rows))
