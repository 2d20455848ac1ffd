"""The left hand at work: patterns put on the chosen chords, and what gave way.

The chords stand when this begins: patterns never change them. A pattern is made once
for each chord of a bar, however many slots the chord lasts through. Under a pattern
that doubles notes of the chord the right hand keeps two notes, or the tune alone.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice, manner_of
from harmonise.choice.grid import Flags
from harmonise.choice.left_plans import chord_plans
from harmonise.choice.palette import chosen_menu
from harmonise.choice.shapes import (
    ABSENT,
    HandNotes,
    Notes,
    RightHandManner,
    play,
)
from harmonise.choice.sounding import sounding_notes
from harmonise.left_hand.patterns import strokes
from harmonise.left_hand.sections import BarStyle, bar_styles
from harmonise.left_hand.strokes import (
    ChordPlan,
    LeftNote,
    LeftSlot,
    PatternRoom,
    Stroke,
    room_of,
)
from harmonise.left_hand.walking import Over, walk
from harmonise.rules.players import PLAYERS, left_leaps
from harmonise.theory.arrangement import (
    LeftHand,
    RightHand,
    SoundingNote,
    Style,
    Texture,
)
from harmonise.theory.numerals import leading_note, tendency_notes
from harmonise.theory.pitch import PitchClass
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
    return accompanist.play_along(chord_plans(tune, choice, bars, plain))


def _manner(
    tune: Tune, choice: Choice, style: Style, bars: Sequence[BarStyle]
) -> RightHandManner:
    """Return how the right hand goes along, block or held slot by slot."""
    of_slots = choice.grid.slot_bar.tolist()
    block = [bars[bar].texture is Texture.BLOCK for bar in of_slots]
    flags = np.array(block, np.bool_)[:, None, None]
    return manner_of(tune, style)._replace(block=flags)


class _Fitted(NamedTuple):
    """One chord with what both hands play under it.

    Attributes:
        plan: The chord.
        rights: The right hand, slot by slot.
        played: The pattern.
    """

    plan: ChordPlan
    rights: list[RightSlot]
    played: tuple[Stroke, ...]

    @property
    def is_whole(self) -> bool:
        """Whether the left hand has what its pattern promises.

        A light pattern is the chord itself, not a bass alone.
        """
        chords = len({stroke.at for stroke in self.played}) < len(self.played)
        whole = chords or len(self.played) == 1
        light = self.plan.pattern.row.right is RightHand.LIGHT
        return bool(self.played) and (whole or not light)


class _Accompanist:
    """Fits both hands to a pattern, chord by chord, once the chords stand."""

    def __init__(
        self, choice: Choice, manner: RightHandManner, *, fingered: bool
    ) -> None:
        self._choice, self._fingered = choice, fingered
        self._ticks = choice.grid.ticks
        self._manner = manner
        self._menu = chosen_menu(choice.menu, choice.columns)

    @cached_property
    def _full(self) -> HandNotes:
        return play(self._choice.grid, self._menu, self._manner)

    @cached_property
    def _two(self) -> HandNotes:
        return play(self._choice.grid, self._menu, self._manner._replace(two=True))

    def play_along(self, plans: Sequence[ChordPlan]) -> Choice:
        """Return the choice with what both hands play under the patterns."""
        fitted = [row for plan in plans for row in self._fitted(plan)]
        walked = walk(
            self._ticks,
            [row.plan for row in fitted],
            [self._over(row) for row in fitted],
            [self._left(row) for row in fitted],
        )
        rights = [right for row in fitted for right in row.rights]
        lows = [
            row.played[0].midi if row.played else ABSENT
            for row in fitted
            for _ in row.plan.slots
        ]
        # In the chosen places, slot by slot the one column of chords and the kind that
        # was chosen, the hands get what was fitted.
        choice, old = self._choice, self._choice.hands
        chosen = (np.arange(len(rights)), 0, choice.kinds)
        inner, struck, bass = old.inner.copy(), old.struck.copy(), old.bass.copy()
        inner[chosen] = [right.inner for right in rights]
        struck[chosen] = [right.struck for right in rights]
        bass[chosen] = lows
        hands = old._replace(inner=inner, struck=struck, bass=bass)
        rows = zip(walked, fitted, strict=True)
        left = [
            # What is struck is said once; what is held sounds in every slot.
            slot if slot.held or not number else LeftSlot()
            for slot, row in rows
            for number in range(len(row.plan.slots))
        ]
        return choice._replace(hands=hands, left=tuple(left))

    def _fitted(self, plan: ChordPlan) -> list[_Fitted]:
        """Return the fullest right hand that a pattern leaves room for.

        Where the inner notes squeeze a light pattern down to a bass alone they give
        way, and the left hand has the chord. Where one slot of a chord leaves the left
        hand no room at all, each slot is fitted alone.
        """
        tried = []
        for rights in self._rights(plan):
            room = self._room(plan, rights)
            tried.append(_Fitted(plan, rights, strokes(plan.pattern, room)))
            if tried[-1].is_whole:
                return tried[-1:]
        playable = [row for row in tried if row.played][:1]
        if not playable and len(plan.slots) > 1:
            return [row for part in plan.apart for row in self._fitted(part)]
        return playable or tried[:1]

    def _rights(self, plan: ChordPlan) -> Iterator[list[RightSlot]]:
        """Yield the right hands to try, the best first."""
        full = plan.pattern.row.right is RightHand.FULL
        # With one inner note the two kinds of shape are the same, so the first will do.
        hands = self._full if full else self._two
        rights = []
        for slot in plan.slots:
            at = (slot, 0, int(self._choice.kinds[slot]) if full else 0)
            inner = self._without_double(plan, slot, hands.inner[at])
            rights.append(self._right(slot, inner, hands.struck[at]))
        yield rights
        if full:
            return
        # The tune goes alone where it lies lowest, then there too where it lies higher.
        for number in sorted(range(len(rights)), key=lambda at: rights[at].lowest):
            at = (plan.slots[number], 0, 0)
            silent = np.full_like(hands.inner[at], ABSENT)
            still = np.zeros_like(hands.struck[at])
            rights = [*rights]
            rights[number] = self._right(plan.slots[number], silent, still)
            yield rights

    def _without_double(self, plan: ChordPlan, slot: int, inner: Notes) -> Notes:
        """Return the inner notes, the leading note let go where the tune has it."""
        leading = leading_note(plan.chord, plan.key)
        if leading is None:
            return inner
        tune = self._choice.hands.tune[slot]
        leads = (tune >= 0) & (tune % 12 == leading.pitch_class)
        double = leads[:, None] & (inner % 12 == leading.pitch_class)
        return np.where(double, ABSENT, inner).astype(np.int16)

    def _right(self, slot: int, inner: Notes, struck: Flags) -> RightSlot:
        every = np.concatenate((inner.ravel(), self._choice.hands.tune[slot]))
        notes = every[every != ABSENT].tolist()
        classes = frozenset(note % 12 for note in notes)
        lowest = min(notes, default=_HIGHEST)
        return RightSlot(inner.tolist(), struck.tolist(), lowest, classes)

    def _room(self, plan: ChordPlan, rights: list[RightSlot]) -> PatternRoom:
        """Return what the pattern stands on.

        What one voice has alone the left hand leaves to the right where it is there.
        """
        length = Fraction(plan.end - plan.onset, self._ticks)
        spare = tendency_notes(plan.chord, plan.key)
        spare &= frozenset().union(*(own.classes for own in rights))
        lowest = min(right.lowest for right in rights)
        return room_of(plan.chord, length, plan.time, lowest, spare)

    def _over(self, fitted: _Fitted) -> Over:
        """Return what lies over one chord of the left hand."""
        lowest = min(right.lowest for right in fitted.rights)
        tune = self._choice.hands.tune[list(fitted.plan.slots)]
        sounding = tune[tune != ABSENT].tolist() or [None]
        return Over(lowest, sounding[0], sounding[-1])

    def _left(self, fitted: _Fitted) -> LeftSlot:
        plan, played = fitted.plan, fitted.played
        # Notes that last as long as the chord go on sounding while it stays.
        if plan.pattern.row.sustained:
            return LeftSlot(tuple(stroke.midi for stroke in played))
        names = {name.pitch_class: name for name in plan.chord.members}
        notes = []
        for stroke in played:
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
