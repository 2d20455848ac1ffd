"""The left hand at work: patterns put on the chosen chords, and what gave way.

The chords stand when this begins: patterns never change them. Under a pattern that
doubles notes of the chord the right hand keeps two notes, or the tune alone. So that
the same tune gets the same notes in every key, a pattern is made where the tune's
lowest note is C4 and then moved with the tune; low tunes are taken where they are.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice, manner_of
from harmonise.choice.grid import Flags
from harmonise.choice.palette import chosen_menu
from harmonise.choice.shapes import (
    ABSENT,
    FULL_FROM,
    HandNotes,
    Notes,
    RightHandManner,
    play,
)
from harmonise.choice.sounding import silent_parts, sounding_notes
from harmonise.errors import Place, Remark
from harmonise.left_hand.patterns import strokes
from harmonise.left_hand.sections import BarStyle, bar_styles
from harmonise.left_hand.strokes import (
    LeftNote,
    LeftSlot,
    PatternRoom,
    SlotPlan,
    Stroke,
    placed,
    room_of,
)
from harmonise.left_hand.walking import walk
from harmonise.rules.players import PLAYERS, left_leaps
from harmonise.theory.arrangement import (
    Arrangement,
    LeftHand,
    RightHand,
    SoundingNote,
    Style,
    Texture,
)
from harmonise.theory.numerals import leading_note, tendency_notes
from harmonise.theory.pitch import PitchClass
from harmonise.theory.reach import window_note
from harmonise.theory.tune import Tune

_HIGHEST = 127


class RightSlot(NamedTuple):
    """What the right hand may play in one slot.

    Attributes:
        inner: Inner notes of each part.
        struck: Whether they are struck there.
        lowest: Lowest note, the tune among them.
        classes: Pitch classes that sound.
    """

    inner: list[list[int]]
    struck: list[bool]
    lowest: int
    classes: frozenset[int]


def accompanied(
    tune: Tune, choice: Choice, style: Style, plain: frozenset[int] = frozenset()
) -> Choice:
    """Return a choice with its left-hand patterns and a right hand that fits them.

    Args:
        tune: The tune.
        choice: The chosen chords.
        style: The style, settled.
        plain: Slots in which the left hand holds the bass whatever was asked for.

    Raises:
        HarmoniseError: If a pattern suits no bar that it is asked for.
    """
    if style.left_hand is LeftHand.HELD and not style.sections:
        return choice
    bars = bar_styles(tune, style)
    # The chooser has already put a held bass under every chord.
    wanted = {(bar.left_hand, bar.texture) for bar in bars}
    if wanted == {(LeftHand.HELD, style.texture)}:
        return choice
    manner = _manner(tune, choice, style, bars)
    accompanist = _Accompanist(choice, manner, fingered=style.fingering)
    return accompanist.play_along(slot_plans(tune, choice, bars, plain))


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
    # Of several silences in one slot the first counts, so the later ones come first.
    silences = sorted(silent_parts(tune, choice), reverse=True)
    quiet = {int(grid.slot[part]): int(grid.start[part]) for part in silences}
    final = _final_slots(choice)
    plans = []
    for slot, bar in enumerate(grid.slot_bar.tolist()):
        pattern = bars[bar].left_hand
        closes = slot in final and pattern is not LeftHand.OCTAVE
        if closes or slot in plain:
            pattern = LeftHand.HELD
        begin, end = edges[slot : slot + 2]
        chord = choice.menu.offer(slot, int(choice.columns[slot])).chord
        key = choice.menu.keys[int(choice.menu.stretch[slot])]
        time = tune.bars[bar].time
        row = (slot, begin, end, quiet.get(slot, end), pattern, chord, key, time)
        plans.append(SlotPlan(*row))
    return tuple(plans)


def _final_slots(choice: Choice) -> frozenset[int]:
    """Return the slots of the last bar that follow the last change of chord."""
    rows = np.stack((choice.menu.stretch, choice.columns, choice.grid.slot_bar))
    changes = np.flatnonzero((rows[:, 1:] != rows[:, :-1]).any(axis=0)) + 1
    return frozenset(range(int(changes[-1]) if len(changes) else 0, rows.shape[1]))


def _manner(
    tune: Tune, choice: Choice, style: Style, bars: Sequence[BarStyle]
) -> RightHandManner:
    """Return how the right hand goes along, block or held slot by slot."""
    of_slots = choice.grid.slot_bar.tolist()
    block = [bars[bar].texture is Texture.BLOCK for bar in of_slots]
    flags = np.array(block, np.bool_)[:, None, None]
    return manner_of(tune, style)._replace(block=flags)


class _Accompanist:
    """Fits both hands to a pattern, slot by slot, once the chords stand."""

    def __init__(
        self, choice: Choice, manner: RightHandManner, *, fingered: bool
    ) -> None:
        self._choice, self._fingered = choice, fingered
        self._ticks = choice.grid.ticks
        midi = choice.grid.note_midi
        # How far the tune lies above the place in which patterns are made.
        self._shift = max(0, int(midi[midi >= 0].min()) - FULL_FROM)
        self._manner = manner
        self._menu = chosen_menu(choice.menu, choice.columns)

    @cached_property
    def _full(self) -> HandNotes:
        return play(self._choice.grid, self._menu, self._manner)

    @cached_property
    def _two(self) -> HandNotes:
        return play(self._choice.grid, self._menu, self._manner._replace(two=True))

    def play_along(self, plans: Sequence[SlotPlan]) -> Choice:
        """Return the choice with what both hands play under the patterns."""
        fitted = [self._fit(plan) for plan in plans]
        pairs = zip(plans, fitted, strict=True)
        left = [self._left(plan, played) for plan, (_, played) in pairs]
        left_slots = walk(
            self._ticks, plans, [right.lowest for right, _ in fitted], left
        )
        # In the chosen places, slot by slot the one column of chords and the kind that
        # was chosen, the hands get what was fitted.
        choice, old = self._choice, self._choice.hands
        chosen = (np.arange(len(fitted)), 0, choice.kinds)
        inner, struck, bass = old.inner.copy(), old.struck.copy(), old.bass.copy()
        inner[chosen] = [right.inner for right, _ in fitted]
        struck[chosen] = [right.struck for right, _ in fitted]
        bass[chosen] = [played[0].midi if played else ABSENT for _, played in fitted]
        hands = old._replace(inner=inner, struck=struck, bass=bass)
        return choice._replace(hands=hands, left=left_slots)

    def _fit(self, plan: SlotPlan) -> tuple[RightSlot, tuple[Stroke, ...]]:
        """Return the fullest right hand that a pattern leaves room for.

        A light pattern is the chord itself: where the inner notes squeeze it down to
        a bass alone they give way, and the left hand has the chord.
        """
        wanted = plan.pattern.row.right
        tried = []
        for right in self._rights(plan, wanted):
            played = strokes(plan.pattern, self._room(plan, right))
            tried.append((right, played))
            together = len({stroke.at for stroke in played}) < len(played)
            whole = together or len(played) < 2
            if played and (whole or wanted is not RightHand.LIGHT):
                return tried[-1]
        return next((pair for pair in tried if pair[1]), tried[0])

    def _rights(self, plan: SlotPlan, wanted: RightHand) -> Iterator[RightSlot]:
        """Yield the right hands to try, the best first."""
        full = wanted is RightHand.FULL
        # With one inner note the two kinds of shape are the same, so the first will do.
        hands = self._full if full else self._two
        kind = int(self._choice.kinds[plan.number]) if full else 0
        at = (plan.number, 0, kind)
        inner, struck = hands.inner[at], hands.struck[at]
        yield self._right(plan.number, self._without_double(plan, inner), struck)
        if not full:
            silent = np.full_like(inner, ABSENT)
            yield self._right(plan.number, silent, np.zeros_like(struck))

    def _without_double(self, plan: SlotPlan, inner: Notes) -> Notes:
        """Return the inner notes, the leading note let go where the tune has it."""
        leading = leading_note(plan.chord, plan.key)
        if leading is None:
            return inner
        tune = self._choice.hands.tune[plan.number]
        leads = (tune >= 0) & (tune % 12 == leading.pitch_class)
        double = leads[:, None] & (inner % 12 == leading.pitch_class)
        return np.where(double, ABSENT, inner).astype(np.int16)

    def _right(self, slot: int, inner: Notes, struck: Flags) -> RightSlot:
        every = np.concatenate((inner.ravel(), self._choice.hands.tune[slot]))
        notes = every[every != ABSENT].tolist()
        classes = frozenset(note % 12 for note in notes)
        lowest = min(notes, default=_HIGHEST)
        return RightSlot(inner.tolist(), struck.tolist(), lowest, classes)

    def _room(self, plan: SlotPlan, right: RightSlot) -> PatternRoom:
        """Return what the pattern stands on where the tune's lowest note is C4.

        What one voice has alone the left hand leaves to the right where it is there.
        """
        length = Fraction(plan.end - plan.onset, self._ticks)
        spare = tendency_notes(plan.chord, plan.key) & right.classes
        room = room_of(plan.chord, length, plan.time, right.lowest, spare)
        down = self._shift_of(plan)
        return room._replace(
            bass=window_note((room.bass - down) % 12), lowest=room.lowest - down
        )

    def _shift_of(self, plan: SlotPlan) -> int:
        """Return how far a pattern is moved; a root, or its octave, goes anywhere."""
        return 0 if plan.pattern.row.anywhere else self._shift

    def _left(self, plan: SlotPlan, played: tuple[Stroke, ...]) -> LeftSlot:
        moved = placed(played, self._shift_of(plan))
        # Notes that last as long as the chord go on sounding while it stays.
        if plan.pattern.row.sustained:
            return LeftSlot(tuple(stroke.midi for stroke in moved))
        names = {name.pitch_class: name for name in plan.chord.members}
        notes = []
        for stroke in moved:
            # A stroke is cut where both hands let go, and left out after that.
            onset = plan.onset + self._in_ticks(stroke.at)
            end = min(onset + self._in_ticks(stroke.length), plan.quiet)
            pitch = names[PitchClass(stroke.midi % 12)].at(stroke.midi)
            if onset < end:
                finger = stroke.finger if self._fingered else 0
                notes.append(LeftNote(onset, end, pitch, finger))
        return LeftSlot((), tuple(notes))

    def _in_ticks(self, time: Fraction) -> int | Fraction:
        """Return a time in ticks, whole if it can be: whole numbers are quicker."""
        ticks = time * self._ticks
        return ticks.numerator if ticks.denominator == 1 else ticks


def played(
    tune: Tune, chosen: Choice, style: Style
) -> tuple[Choice, tuple[SoundingNote, ...]]:
    """Return the chosen chords with their patterns, and every note that is played.

    For a player, patterns that leap further than promised give way to a held bass.

    Args:
        tune: The tune.
        chosen: Chords and voicings as `choose` gives them.
        style: What is asked for, settled.
    """
    plain: frozenset[int] = frozenset()
    # Each round holds the bass in more slots, so there is an end.
    while True:
        choice = accompanied(tune, chosen, style, plain)
        notes = sounding_notes(tune, choice)
        more = _too_far(notes, choice, style, plain)
        if not more:
            return choice, notes
        plain |= more


def _too_far(
    notes: tuple[SoundingNote, ...],
    choice: Choice,
    style: Style,
    plain: frozenset[int],
) -> frozenset[int]:
    """Return the slots whose pattern leaps further than the player is promised."""
    if style.player is None or not choice.left:
        return frozenset()
    most = PLAYERS[style.player].leap
    starts = choice.grid.slot_start[:-1]
    leaping = set()
    for (before, _), (onset, leap) in pairwise(((Fraction(0), 0), *left_leaps(notes))):
        if leap <= most:
            continue
        # The earlier of the two slots holds its bass; if it does already, the later.
        ticks = [int(at * choice.grid.ticks) for at in (before, onset)]
        slots = [int(starts.searchsorted(at, "right")) - 1 for at in ticks]
        leaping.update([slot for slot in slots if slot not in plain][:1])
    return frozenset(leaping)


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
