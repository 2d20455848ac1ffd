"""What to do where a chord and the tune disagree: which chord of which level would do.

A chord does that has the note, is not foreign to the rest of the slot, and has no note
that is a tune note otherwise spelled. The chords of the other levels are those that the
chooser itself would offer, so that no remark contradicts what such a level then writes.
"""

from collections.abc import Iterator
from fractions import Fraction
from functools import cached_property

import numpy as np

from harmonise.choice.choose import Choice
from harmonise.choice.grid import Ints
from harmonise.choice.palette import Menu, Offer, lay_out
from harmonise.errors import format_beat
from harmonise.rules.work import TuneUnder, foreign_to, tune_under
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.chord import Chord
from harmonise.theory.numerals import goes_back
from harmonise.theory.pitch import Pitch, PitchName

_HIGHEST, _HERE = 4, "here"
NO_CHORD = "No level has a chord for it: lock one of your own here."
"""What to do where no chord would do."""


class Advice:
    """Looks for a better chord in a slot, at the level chosen and above it.

    Attributes:
        arrangement: What was arranged.
    """

    def __init__(self, arrangement: Arrangement, choice: Choice) -> None:
        """Keep what was arranged and chosen."""
        self.arrangement = arrangement
        self._choice = choice
        self._menus: dict[int, Menu] = {}

    def parts(self, slot: int) -> list[int]:
        """Return the sounding parts of a slot."""
        grid = self._choice.grid
        return np.flatnonzero((grid.slot == slot) & (grid.midi >= 0)).tolist()

    def pitch(self, part: int) -> Pitch:
        """Return the pitch of a sounding part."""
        note = int(self._choice.grid.note[part])
        pitch = self.arrangement.tune.notes[note].pitch
        if pitch is None:
            msg = "a sounding part has a pitch"
            raise AssertionError(msg)
        return pitch

    def onset(self, part: int) -> Fraction:
        """Return where a part begins, in crotchets."""
        grid = self._choice.grid
        return Fraction(int(grid.start[part]), grid.ticks)

    def holding(self, slot: int, pitch: Pitch) -> bool:
        """Return whether any chord on offer in a slot has a note."""
        row = self._choice.menu.offers[int(self._choice.menu.stretch[slot])]
        return any(pitch.pitch_class in offer.chord.pitch_classes for offer in row)

    def clash(self, slot: int, chord: Chord) -> tuple[Pitch, PitchName] | None:
        """Return a tune note and a chord note that spells its letter otherwise.

        The tune note lasts half a beat or more: a shorter one passes (common practice).
        """
        grid, letters = self._choice.grid, {name.letter: name for name in chord.members}
        for part in self.parts(slot):
            pitch = self.pitch(part)
            name = letters.get(pitch.letter, pitch.name)
            if name != pitch.name and 2 * grid.length[part] >= grid.beat[part]:
                return pitch, name
        return None

    def on(self, slot: int, pitch: Pitch, onset: Fraction) -> str:
        """Return what to do in a slot whose chord lacks a tune note, in a sentence.

        Args:
            slot: Number of the slot.
            pitch: The tune note.
            onset: Where it begins, in crotchets.
        """
        tune, begin = self.arrangement.tune, self._edges(slot)[0]
        start = max(begin, onset)
        if told := self._named(slot, pitch):
            beat = format_beat(tune.place(begin).beat or Fraction(1))
            return told.replace(_HERE, _HERE if start == begin else f"on beat {beat}")
        bar = tune.bar_at(start)
        if (start - bar.start + bar.offset) % bar.time.beat == 0:
            # What does not do for the whole place may do from the note on.
            best = next(self._doing(slot, self._level, pitch, start), None)
            if best:
                return _lock(best, "has it")
        return NO_CHORD

    def fits(self, slot: int, chord: Chord) -> bool:
        """Return whether a chord fits all of the tune in a slot."""
        return foreign_to(chord, self._under(slot, None)) is None

    def against(self, slot: int, pitch: Pitch) -> str:
        """Return what to do in a slot whose chord clashes with a tune note."""
        told = self._named(slot, pitch) or self._named(slot)
        return told or "No level has a better chord: lock one of your own here."

    def _named(self, slot: int, pitch: Pitch | None = None) -> str:
        """Return the best chord that does, at the lowest level; "" if none has one."""
        for level in range(self._level, _HIGHEST + 1):
            best = next(self._doing(slot, level, pitch), None)
            if best and level > self._level:
                return f"Level {level} has {best.chord} ({best.numeral})."
            if best:
                return _lock(best, "has it" if pitch else "does not clash")
        return ""

    def _doing(
        self, slot: int, level: int, pitch: Pitch | None, start: Fraction | None = None
    ) -> Iterator[Offer]:
        """Yield the chords of a level that do in a slot, the best first.

        Args:
            slot: Number of the slot.
            level: The level.
            pitch: The tune note that the chord has, spelled so; None for any chord.
            start: From where in the slot on, in crotchets; None for the whole.
        """
        menu = self._menu(level)
        row = list(menu.offers[int(menu.stretch[slot])])
        if level == self._level:
            prices = self._detours[slot].tolist()
            row = [row[column] for column in np.argsort(prices[: len(row)]).tolist()]
        chosen = self._chosen(slot)
        before = self._chosen(slot - 1) if slot and start is None else chosen
        under = self._under(slot, start)
        for offer in row:
            chord = offer.chord
            back = slot > 0 and goes_back(before.role, offer.role)
            if offer == chosen or back or self.clash(slot, chord):
                continue
            held = pitch is None or pitch.name in chord.members
            if held and foreign_to(chord, under) is None:
                yield offer

    def _chosen(self, slot: int) -> Offer:
        return self._choice.menu.offer(slot, int(self._choice.columns[slot]))

    def _menu(self, level: int) -> Menu:
        """Return what a level would offer under the same slots."""
        if level == self._level:
            return self._choice.menu
        if level not in self._menus:
            tune, grid = self.arrangement.tune, self._choice.grid
            self._menus[level] = lay_out(tune, grid, level, ())
        return self._menus[level]

    @property
    def _level(self) -> int:
        return self.arrangement.style.level

    @cached_property
    def _detours(self) -> Ints:
        return self._choice.detours()

    def _edges(self, slot: int) -> tuple[Fraction, Fraction]:
        """Return where a slot begins and ends, in crotchets."""
        grid = self._choice.grid
        start, end = grid.slot_start[slot : slot + 2].tolist()
        return Fraction(start, grid.ticks), Fraction(end, grid.ticks)

    def _under(self, slot: int, start: Fraction | None) -> TuneUnder:
        """Return what the tune has in a slot, from a place on."""
        tune, (begin, end) = self.arrangement.tune, self._edges(slot)
        begin = begin if start is None else start
        return tune_under(tune.sounding, begin, end, tune.key_at(begin))


def _lock(offer: Offer, what: str) -> str:
    """Return the advice to lock a chord."""
    name = offer.chord.symbol
    return f"{name} ({offer.numeral}) {what}: lock {name} {_HERE} to try it."
