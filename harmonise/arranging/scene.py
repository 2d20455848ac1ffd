"""A tune and its chosen chords, looked at slot by slot, and two chords held together.

Reasons are facts of this scene: what the tune has in a slot, in its bar and in bars
like it, where lines end, and which chords stand before and after.
"""

from collections.abc import Iterator
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice
from harmonise.choice.closes import line_ends
from harmonise.choice.palette import Offer
from harmonise.errors import format_beat
from harmonise.theory.chord import Chord, Inversion, Member
from harmonise.theory.key import Key
from harmonise.theory.numerals import Role
from harmonise.theory.pitch import PitchName
from harmonise.theory.tune import Bar, Tune

BAR_LINE = 3
"""Metric weight of the beginning of a bar."""


class Stretch(NamedTuple):
    """A stretch of a tune note in one slot.

    Attributes:
        name: Its name.
        start: Onset in crotchets.
        length: Length in crotchets.
    """

    name: PitchName
    start: Fraction
    length: Fraction


class Scene:
    """A tune and its chosen chords, looked at slot by slot."""

    def __init__(self, tune: Tune, choice: Choice) -> None:
        """Keep the tune and what was chosen."""
        self.tune, self.choice = tune, choice
        self.line_ends = dict(line_ends(tune, choice.grid, choice.menu))

    @cached_property
    def _heard(self) -> list[list[Stretch]]:
        grid = self.choice.grid
        heard: list[list[Stretch]] = [[] for _ in range(grid.slots)]
        columns = (grid.slot, grid.note, grid.start, grid.length)
        for slot, note, start, length in zip(
            *(column.tolist() for column in columns), strict=True
        ):
            pitch = self.tune.notes[note].pitch
            if pitch:
                times = (Fraction(start, grid.ticks), Fraction(length, grid.ticks))
                heard[slot].append(Stretch(pitch.name, *times))
        return heard

    def heard(self, slot: int) -> list[Stretch]:
        """Return the stretches of the tune in a slot; none outside the tune."""
        return self._heard[slot] if 0 <= slot < len(self._heard) else []

    def heard_in_bar(self, slot: int) -> list[Stretch]:
        """Return the stretches of the tune in a slot's bar, from the first chord on."""
        bars = self.choice.grid.slot_bar
        same = np.flatnonzero(bars == bars[slot]).tolist()
        end = self.bar(slot).end
        # The last note may be held beyond its bar.
        return [
            note._replace(length=min(note.length, end - note.start))
            for at in same
            for note in self.heard(at)
            if note.start < end
        ]

    def names(self, slot: int) -> list[PitchName]:
        """Return the names of the tune notes in a slot, each once, in order."""
        return list(dict.fromkeys(note.name for note in self.heard(slot)))

    def chord(self, slot: int) -> Offer | None:
        """Return the chord chosen in a slot; None outside the tune."""
        if not 0 <= slot < self.choice.grid.slots:
            return None
        return self.choice.menu.offer(slot, int(self.choice.columns[slot]))

    def later(self, slot: int) -> Iterator[Chord]:
        """Yield the chords chosen after a slot."""
        offers = map(self.chord, range(slot + 1, self.choice.grid.slots))
        return (offer.chord for offer in offers if offer)

    def bar(self, slot: int) -> Bar:
        """Return the bar that a slot begins in."""
        return self.tune.bars[int(self.choice.grid.slot_bar[slot])]

    def onset(self, slot: int) -> Fraction:
        """Return where a slot begins, in crotchets."""
        return Fraction(int(self.choice.grid.slot_start[slot]), self.choice.grid.ticks)

    def beat(self, slot: int) -> str:
        """Return the beat on which a slot begins, as a sentence has it."""
        return format_beat(self.tune.place(self.onset(slot)).beat or Fraction(1))

    def is_close(self, slot: int) -> bool:
        """Return whether a line or the tune ends in a slot."""
        return slot in self.line_ends or slot == self.choice.grid.slots - 1

    @cached_property
    def _bars(self) -> list[tuple[object, ...]]:
        """What each bar has, counted from its own beginning."""
        rows: list[list[object]] = [[bar.length, bar.offset] for bar in self.tune.bars]
        at = 0
        for note in self.tune.notes:
            while self.tune.bars[at].end <= note.onset and at + 1 < len(rows):
                at += 1
            # A note that is held over the bar line is heard in the next bar too.
            for number in range(at, len(rows)):
                bar = self.tune.bars[number]
                begin, end = max(note.onset, bar.start), min(note.end, bar.end)
                if end <= begin:
                    break
                rows[number].append((note.pitch, begin - bar.start, end - begin))
        return [tuple(row) for row in rows]

    @cached_property
    def _models(self) -> list[int | None]:
        """The first slot before each with the same bar, place and chord."""
        first: dict[object, int] = {}
        models: list[int | None] = []
        for slot in range(self.choice.grid.slots):
            bar = int(self.choice.grid.slot_bar[slot])
            place = self.onset(slot) - self.tune.bars[bar].start
            key = (self._bars[bar], place, self.chord(slot))
            model = first.setdefault(key, slot)
            models.append(model if model < slot else None)
        return models

    def like_bar(self, slot: int) -> int | None:
        """Return an earlier bar with the same notes and chord there, by its number."""
        model = self._models[slot]
        return None if model is None else self.bar(model).number


class Pair(NamedTuple):
    """The chosen chord of a slot and another one.

    Attributes:
        scene: The tune around them.
        slot: Number of the slot.
        mine: The chosen chord.
        other: The other chord.
    """

    scene: Scene
    slot: int
    mine: Offer
    other: Offer

    @property
    def symbols(self) -> tuple[str, str]:
        """Both symbols, the chosen one first."""
        return self.mine.chord.symbol, self.other.chord.symbol

    @property
    def before(self) -> Offer | None:
        """The chord before; None at the beginning."""
        return self.scene.chord(self.slot - 1)

    @property
    def after(self) -> Offer | None:
        """The chord after; None at the end."""
        return self.scene.chord(self.slot + 1)

    @property
    def begin(self) -> int:
        """The slot of the bar from which on the chosen chord has gone on."""
        slot, bars = self.slot, self.scene.choice.grid.slot_bar
        while slot and bars[slot - 1] == bars[slot]:
            if self.scene.chord(slot - 1) != self.mine:
                break
            slot -= 1
        return slot

    @property
    def onward(self) -> Offer | None:
        """The next chord that differs from the chosen one; None if there is none."""
        slot = self.slot + 1
        while self.scene.chord(slot) == self.mine:
            slot += 1
        return self.scene.chord(slot)

    @property
    def key(self) -> Key:
        """The key or mode whose chords are on offer."""
        menu = self.scene.choice.menu
        return menu.keys[int(menu.stretch[self.slot])]


def has(offer: Offer, name: PitchName) -> bool:
    """Return whether a chord has a note, whatever it is called in it."""
    return name.pitch_class in offer.chord.pitch_classes


def is_tonic(offer: Offer | None) -> bool:
    """Return whether a chord is I or i, at rest: no 6/4, which is bound to V."""
    six_four = offer is not None and offer.chord.inversion is Inversion.SECOND
    return offer is not None and offer.role is Role.TONIC and not six_four


def is_dominant(offer: Offer | None) -> bool:
    """Return whether a chord is V or V7."""
    return offer is not None and offer.role is Role.DOMINANT


def seventh_of(offer: Offer) -> PitchName | None:
    """Return the seventh of a chord; None if it has none."""
    return offer.chord.member(Member.SEVENTH) if offer.chord.is_seventh else None


def named_step(before: Offer | None, after: Offer | None) -> str:
    """Return a step between chords with its numerals: "C7 to F (V7–I)"."""
    if before is None or after is None:
        msg = "a step has two chords"
        raise AssertionError(msg)
    names = f"{before.numeral}–{after.numeral}"
    return f"{before.chord.symbol} to {after.chord.symbol} ({names})"
