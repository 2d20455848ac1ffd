"""From the chosen states to the notes that both hands play.

Inner notes and left hand last until the chord, the bar or the shape changes; inside one
bar an unchanged shape is held, not struck again. Where the tune rests at the end of a
line both hands let go with it.
"""

from collections.abc import Callable
from fractions import Fraction
from functools import cache
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice
from harmonise.choice.grid import Ints, in_ticks
from harmonise.choice.shapes import ABSENT
from harmonise.left_hand.strokes import LeftSlot
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.pitch import Pitch, PitchClass
from harmonise.theory.tune import Tune


class _Struck(NamedTuple):
    """A note with its times in ticks, as it is sorted."""

    onset: int | Fraction
    midi: int
    end: int | Fraction
    pitch: Pitch
    voice: Voice
    finger: int = 0


_Spelled = dict[int, Pitch]


class _VoiceLine:
    """The notes of one voice that sound at the moment; those that end go to `ended`."""

    def __init__(self, voice: Voice, ended: list[_Struck]) -> None:
        self._voice, self._ended = voice, ended
        self._now: dict[int, tuple[int, Pitch]] = {}

    def sounds(self, pitches: _Spelled) -> bool:
        """Whether exactly these notes sound."""
        return self._now.keys() == pitches.keys()

    def let_go(self, when: int, keep: _Spelled | None = None, even: int = 0) -> None:
        """End the notes that are not kept, at an even place before if they have begun.

        Args:
            when: The tick at which they must have ended.
            keep: Those that go on; None for none.
            even: The last tick up to then that is easy to read; 0 for none.
        """
        now = self._now
        for midi in [midi for midi in now if not keep or midi not in keep]:
            onset, pitch = now.pop(midi)
            end = even if even > onset else when
            if end > onset:
                self._ended.append(_Struck(onset, midi, end, pitch, self._voice))

    def strike(self, when: int, pitches: _Spelled) -> None:
        self.let_go(when)
        self._now = {midi: (when, pitch) for midi, pitch in pitches.items()}


def sounding_notes(tune: Tune, choice: Choice) -> tuple[SoundingNote, ...]:
    """Return every note of both hands, by onset and then from the lowest up."""
    ticks = choice.grid.ticks
    notes: list[_Struck] = []
    _accompany(tune, choice, notes)
    for note in tune.notes:
        if note.pitch is not None:
            onset = in_ticks(note.onset, ticks)
            end = onset + in_ticks(note.length, ticks)
            notes.append(_Struck(onset, note.pitch.midi, end, note.pitch, Voice.TUNE))
    notes.sort(key=itemgetter(0, 1))
    # Fractions are slow to make, and the same few times come again and again.
    times = cache(lambda count: Fraction(count, ticks))
    return tuple(
        SoundingNote(
            times(onset), times(end - onset), pitch,
            Hand.LEFT if voice is Voice.BASS else Hand.RIGHT, voice, finger,
        )
        for onset, _, end, pitch, voice, finger in notes
    )  # fmt: skip


def _speller(choice: Choice) -> Callable[[int, int, tuple[int, ...]], _Spelled]:
    """Return what spells the members of each chord; the same notes are spelled once."""

    @cache
    def spell(stretch: int, column: int, midis: tuple[int, ...]) -> _Spelled:
        members = choice.menu.offers[stretch][column].chord.members
        names = {name.pitch_class: name for name in members}
        return {m: names[PitchClass(m % 12)].at(m) for m in midis if m != ABSENT}

    return spell


def _accompany(tune: Tune, choice: Choice, ended: list[_Struck]) -> None:
    """Play the parts of the chosen shapes in order."""
    grid, hands, spell = choice.grid, choice.hands, _speller(choice)
    # Plain lists from here on: single numbers are slow to take out of arrays.
    chosen = (range(grid.slots), 0, choice.kinds)
    inner, struck = hands.inner[chosen].tolist(), hands.struck[chosen].tolist()
    lefts = choice.left or [LeftSlot((b,)) for b in hands.bass[chosen].tolist()]
    facts = (choice.menu.stretch, choice.columns, grid.slot_bar)
    chords = list(zip(*(fact.tolist() for fact in facts), strict=True))
    closes = silent_parts(tune, choice)
    right, left = _VoiceLine(Voice.INNER, ended), _VoiceLine(Voice.BASS, ended)
    before: tuple[int, ...] = ()
    same = False
    parts = (grid.slot, grid.order, grid.start, _even(tune, choice))
    rows = zip(*(fact.tolist() for fact in parts), strict=True)
    for part, (slot, j, start, even) in enumerate(rows):
        if part in closes:
            # After a silence even the same chord is struck again.
            right.let_go(start)
            left.let_go(start)
            before = ()
            continue
        chord = chords[slot]
        if j == 0:
            # Inside one bar an unchanged chord goes on; a new bar says it again.
            same, before = chord == before, chord
            plays = lefts[slot]
            low = spell(chord[0], chord[1], plays.held)
            if plays.struck or not (same and left.sounds(low)):
                left.strike(start, low)
            ended.extend(
                _Struck(onset, pitch.midi, end, pitch, Voice.BASS, finger)
                for onset, end, pitch, finger in plays.struck
            )
        notes = spell(chord[0], chord[1], tuple(inner[slot][j]))
        held = same and j == 0 and right.sounds(notes)
        if struck[slot][j] and not held:
            right.strike(start, notes)
        else:
            # Nobody reads a chord that ends on a semiquaver.
            right.let_go(start, keep=notes, even=even)
    for line in (right, left):
        line.let_go(int(grid.slot_start[-1]))


def _even(tune: Tune, choice: Choice) -> Ints:
    """Return the last half of a beat, or third of a dotted one, up to each part."""
    grid = choice.grid
    bar = grid.slot_bar[grid.slot]
    begin = [in_ticks(one.start - one.offset, grid.ticks) for one in tune.bars]
    halves = [3 if one.time.is_compound else 2 for one in tune.bars]
    step = np.maximum(grid.beat // np.array(halves)[bar], 1)
    even: Ints = grid.start - (grid.start - np.array(begin)[bar]) % step
    return even


def silent_parts(tune: Tune, choice: Choice) -> frozenset[int]:
    """Return the parts under which both hands are silent.

    These are rests until a line, or the tune, ends, and pickups after a repeat or a
    double bar, which go alone as the first pickup does.
    """
    grid = choice.grid
    ends = {*tune.phrases, tune.end}
    notes = grid.note.tolist()
    rests = (grid.midi < 0).nonzero()[0].tolist()
    silent = {part for part in rests if tune.notes[notes[part]].end in ends}
    for before, bar in pairwise(tune.bars):
        closed = before.double or before.repeat_end > 1 or bar.repeat_start
        if bar.offset and closed and bar.length <= bar.time.beat:
            span = (in_ticks(bar.start, grid.ticks), in_ticks(bar.end, grid.ticks))
            silent.update(range(*grid.start.searchsorted(span).tolist()))
    return frozenset(silent)
