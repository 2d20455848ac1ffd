"""The right hand over the patterns of the left: what may be played under one chord.

The chooser strikes a shape at every slot. Here a held hand strikes once where its chord
begins in a bar, and goes on as long as the tune lets it; a light one has a note or two;
under a pattern that doubles notes of the chord one inner note is left, or none.
"""

from collections.abc import Iterator, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice, manner_of
from harmonise.choice.grid import Flags
from harmonise.choice.light import Kept, TunePart, brief_third, light_hand
from harmonise.choice.palette import chosen_menu
from harmonise.choice.shapes import ABSENT, HandNotes, Notes, RightHandManner, play
from harmonise.left_hand.sections import BarStyle
from harmonise.left_hand.strokes import ChordPlan
from harmonise.theory.arrangement import LeftHand, Player, RightHand, Style, Texture
from harmonise.theory.numerals import leading_note, tendency_notes

_HIGHEST = 127


class RightSlot(NamedTuple):
    """What the right hand may play in one slot.

    Attributes:
        inner: Inner notes of each part.
        struck: Whether they are struck there.
        lowest: Lowest note, the tune among them.
        classes: Pitch classes that sound.
        firm: Those of them that are more than quick notes of the tune off the beat.
        stays: Inner notes that sound all through the slot.
        most: Most inner notes at once.
    """

    inner: list[list[int]]
    struck: list[bool]
    lowest: int
    classes: frozenset[int]
    firm: frozenset[int]
    stays: frozenset[int]
    most: int


class RightHands:
    """The right hands that may go with the chosen chords."""

    def __init__(
        self,
        choice: Choice,
        style: Style,
        bars: Sequence[BarStyle],
        plans: Sequence[ChordPlan],
        *,
        quick: bool,
    ) -> None:
        """Keep what hands are made of; nothing is played yet."""
        self._quick = quick
        self._choice, self._style, self._plans = choice, style, plans
        self._textures = [bars[bar].texture for bar in choice.grid.slot_bar.tolist()]
        grid = choice.grid
        self._sizes = np.bincount(grid.slot).tolist()
        # In each slot and part of it; after the last part the row is only filled up.
        self._firm = np.zeros(choice.hands.tune.shape, np.bool_)
        lasts = np.diff(grid.note_onset, append=grid.slot_start[-1])[grid.note]
        self._firm[grid.slot, grid.order] = grid.on_beat | (lasts >= grid.beat)
        self._hands = cache(self._played)

    def is_light(self, plan: ChordPlan) -> bool:
        """Return whether the right hand is light over a chord."""
        return self._textures[plan.slots[0]] is Texture.LIGHT

    def tries(self, plan: ChordPlan) -> Iterator[list[RightSlot]]:
        """Yield the right hands to try over a chord, slot by slot, the best first."""
        if self.is_light(plan):
            yield from self._light(plan)
            return
        manner = manner_of(self._style)
        block = self._textures[plan.slots[0]] is Texture.BLOCK
        if plan.pattern.row.right is RightHand.FULL:
            if not block:
                held = manner._replace(stays=self._quick)
                yield self._as_played(plan, held, whole=True)
            yield self._as_played(plan, manner._replace(block=block))
            return
        two = manner._replace(two=True)
        # Once for the whole chord, if its third sounds all through it: the left hand
        # has the chords, so that none is struck under each note.
        yield self._as_played(plan, two._replace(block=False), whole=True)
        rights = self._as_played(plan, two)
        yield rights
        # The tune goes alone where it lies lowest, then there too where it lies higher.
        for number in sorted(range(len(rights)), key=lambda at: rights[at].lowest):
            rights = [*rights]
            rights[number] = self._light_slot(plan.slots[number], (), ())
            yield rights

    def _as_played(
        self, plan: ChordPlan, manner: RightHandManner, *, whole: bool = False
    ) -> list[RightSlot]:
        """Return the hand that strikes at every slot, or once for the whole chord."""
        hands = self._hands(manner, whole)
        rights = []
        for slot in plan.slots:
            # With one inner note all kinds of shape are the same.
            at = (slot, 0, 0 if manner.two else int(self._choice.kinds[slot]))
            inner = self._without_double(plan, slot, hands.inner[at])
            rights.append(self._right(slot, inner, hands.struck[at]))
        return rights

    def _played(self, manner: RightHandManner, whole: bool) -> HandNotes:  # noqa: FBT001 (cached)
        """Return a right hand under the chosen chords, laid out slot by slot."""
        grid, menu = self._choice.grid, self._choice.menu
        if not whole:
            return play(grid, chosen_menu(menu, self._choice.columns), manner)
        # All slots of a chord are taken for one.
        firsts = [plan.slots[0] for plan in self._plans]
        number = np.searchsorted(firsts, np.arange(grid.slots), side="right") - 1
        chord = number[grid.slot]
        start = np.searchsorted(chord, np.arange(len(firsts)))
        order = np.arange(len(chord)) - start[chord]
        joined = grid._replace(
            slot=chord, order=order, slot_weight=grid.slot_weight[firsts]
        )
        few = menu._replace(stretch=menu.stretch[firsts])
        hands = play(joined, chosen_menu(few, self._choice.columns[firsts]), manner)
        old = self._choice.hands
        kinds = hands.inner.shape[2]
        inner = np.full((grid.slots, 1, kinds, old.tune.shape[1], 2), ABSENT, np.int16)
        struck = np.zeros(inner.shape[:-1], np.bool_)
        inner[grid.slot, :, :, grid.order] = hands.inner[chord, :, :, order]
        struck[grid.slot, :, :, grid.order] = hands.struck[chord, :, :, order]
        return old._replace(inner=inner, struck=struck)

    def _light(self, plan: ChordPlan) -> Iterator[list[RightSlot]]:
        """Yield the right hands of a light texture.

        A beginner has the tune alone over left-hand chords. Where even so the third of
        the chord is in neither hand, it is struck with the tune, however short.
        """
        grid = self._choice.grid
        inside = grid.slot.searchsorted([plan.slots[0], plan.slots[-1] + 1]).tolist()
        parts = [at for at in range(*inside) if grid.start[at] < plan.quiet]
        facts = (
            grid.midi,
            grid.start,
            grid.start + grid.length,
            grid.beat,
            grid.on_beat,
        )
        rows = zip(*(fact[parts].tolist() for fact in facts), strict=True)
        moments = [TunePart(*row) for row in rows]
        alone = tendency_notes(plan.chord, plan.key)
        first, kept = light_hand(moments, plan.chord, alone, self._style.span)
        chords = plan.pattern is LeftHand.CHORDS
        if plan.pattern.row.right is not RightHand.FULL and not chords:
            kept = kept[:1]
        hands = [self._struck(plan, (), ())]
        if kept:
            hands.insert(0, self._struck(plan, parts[first:], kept))
        if chords and self._style.player is Player.BEGINNER:
            hands.reverse()
        yield from hands
        time = plan.time
        step = time.beat * grid.ticks / (3 if time.is_compound else 2)
        least = max(1, int(step))
        first, kept = brief_third(moments, plan.chord, alone, self._style.span, least)
        if kept:
            yield self._struck(plan, parts[first:], kept)

    def _struck(
        self, plan: ChordPlan, parts: Sequence[int], kept: Sequence[Kept]
    ) -> list[RightSlot]:
        """Return the right hand over a chord, with notes struck at the first of parts.

        Without parts the tune goes alone.
        """
        return [self._light_slot(slot, parts, kept) for slot in plan.slots]

    def _light_slot(
        self, slot: int, parts: Sequence[int], kept: Sequence[Kept]
    ) -> RightSlot:
        """Return the right hand of a slot, with notes struck at the first of parts."""
        grid, most = self._choice.grid, self._choice.hands.tune.shape[1]
        inner = np.full((most, 2), ABSENT, np.int16)
        struck = np.zeros(most, np.bool_)
        for part in parts:
            if grid.slot[part] == slot:
                at = grid.order[part]
                sounding = (note for note in kept if grid.start[part] < note.end)
                held = sorted((note.midi for note in sounding), reverse=True)
                inner[at, : len(held)] = held
                struck[at] = part == parts[0]
        return self._right(slot, inner, struck)

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
        tune = self._choice.hands.tune[slot]
        every = np.concatenate((inner.ravel(), tune))
        notes = every[every != ABSENT].tolist()
        classes = frozenset(note % 12 for note in notes)
        strong = np.concatenate((inner.ravel(), tune[self._firm[slot]]))
        firm = frozenset((strong[strong != ABSENT] % 12).tolist())
        lowest = min(notes, default=_HIGHEST)
        # After the last part of a slot the row is only filled up.
        inside = inner[: self._sizes[slot]]
        held = [frozenset(row) - {ABSENT} for row in inside.tolist()]
        stays, most = frozenset.intersection(*held), max(map(len, held))
        rows = (inner.tolist(), struck.tolist(), lowest)
        return RightSlot(*rows, classes, firm, stays, most)
