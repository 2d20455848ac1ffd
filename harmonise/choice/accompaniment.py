"""The left hand at work: patterns put on the chosen chords, and what gave way.

The chords stand when this begins: patterns never change them. A pattern is made once
for each chord of a bar, however many slots the chord lasts through. Under a pattern
that doubles notes of the chord the right hand keeps two notes, or the tune alone.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from operator import attrgetter
from typing import NamedTuple

import numpy as np

from harmonise.choice.choose import Choice
from harmonise.choice.left_plans import chord_plans
from harmonise.choice.right_hands import RightHands, RightSlot
from harmonise.choice.shapes import ABSENT, FULL_FROM
from harmonise.choice.sounding import sounding_notes
from harmonise.left_hand.patterns import strokes
from harmonise.left_hand.sections import bar_styles
from harmonise.left_hand.strokes import (
    ChordPlan,
    LeftNote,
    LeftSlot,
    PatternRoom,
    Stroke,
    placed,
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
from harmonise.theory.chord import QUALITIES, Chord
from harmonise.theory.numerals import tendency_notes
from harmonise.theory.pitch import PitchClass
from harmonise.theory.reach import WINDOW_HIGHEST, window_note
from harmonise.theory.tune import Tune, is_quick

_AS_CHOSEN = (LeftHand.HELD, Texture.BLOCK)
_ROOT_HIGHEST = 57
"""A3: highest root of a left-hand chord that might lie an octave lower."""
_HANDFUL = 3
"""Most notes that both hands have beside the tune where the left has chords."""


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
    bars = bar_styles(tune, style)
    # The chooser has already put block chords and a held bass under the tune.
    if {(bar.left_hand, bar.texture) for bar in bars} == {_AS_CHOSEN}:
        return choice
    plans = chord_plans(tune, choice, bars, plain)
    rights = RightHands(choice, style, bars, plans, quick=is_quick(tune))
    return _Accompanist(choice, style, plans, rights).play_along()


def _telling(chord: Chord) -> PitchClass:
    third = QUALITIES[chord.quality].telling
    return PitchClass((chord.root.pitch_class + third) % 12)


def _classes(played: Sequence[Stroke], shift: int) -> set[tuple[Fraction, int]]:
    """Return the pitch classes of strokes moved up, each with its time."""
    return {(stroke.at, (stroke.midi + shift) % 12) for stroke in played}


class _Fitted(NamedTuple):
    """One chord with what both hands play under it.

    Attributes:
        plan: The chord.
        rights: The right hand, slot by slot.
        played: The pattern.
        ticks: Ticks per crotchet.
        light: Whether the right hand is light.
    """

    plan: ChordPlan
    rights: list[RightSlot]
    played: tuple[Stroke, ...]
    ticks: int
    light: bool

    @property
    def thirds(self) -> list[bool]:
        """In which slots the note sounds that tells what the chord is, in any hand."""
        third = _telling(self.plan.chord)
        return [third in self._heard(number) for number in range(len(self.rights))]

    @property
    def rank(self) -> tuple[bool, int]:
        """Whether no more is struck than the tune without it; in how many slots it is.

        A chord that is struck must have it (common practice).
        """
        heard = self.thirds
        pairs = zip(self.rights, heard, strict=True)
        return all(has for right, has in pairs if right.most), sum(heard)

    @property
    def has_third(self) -> bool:
        """Whether it sounds somewhere in the chord, and wherever a chord is struck.

        Under a light hand, which may strike nothing, it sounds in every slot.
        """
        legal, count = self.rank
        return legal and count >= (len(self.rights) if self.light else 1)

    def _heard(self, number: int) -> set[int]:
        """Return the pitch classes that sound in one of the slots.

        What one voice has alone is not heard in a quick note off the beat where a light
        hand leaves it to the tune.
        """
        plan, right = self.plan, self.rights[number]
        start, end = (
            Fraction(at - plan.onset) for at in plan.edges[number : number + 2]
        )
        left = {
            stroke.midi % 12
            for stroke in self.played
            if stroke.at * self.ticks < end
            and (stroke.at + stroke.length) * self.ticks > start
        }
        if not self.light:
            return left | right.classes
        passing = tendency_notes(plan.chord, plan.key) - right.firm
        return left | (right.classes - passing)

    @property
    def is_whole(self) -> bool:
        """Whether the left hand has what its pattern promises.

        A light pattern is the chord itself, not a bass alone, and a drone is a fifth.
        """
        chords = len({stroke.at for stroke in self.played}) < len(self.played)
        whole = chords or len(self.played) == 1
        light = self.plan.pattern.row.right is RightHand.LIGHT
        if self.plan.pattern is LeftHand.DRONE:
            return len(self.played) > 1
        return bool(self.played) and (whole or not light)


_RANK = attrgetter("rank")


class _Accompanist:
    """Fits both hands to a pattern, chord by chord, once the chords stand."""

    def __init__(
        self,
        choice: Choice,
        style: Style,
        plans: Sequence[ChordPlan],
        rights: RightHands,
    ) -> None:
        self._choice, self._style, self._plans = choice, style, plans
        self._rights, self._ticks = rights, choice.grid.ticks
        midi = choice.grid.note_midi
        # How far the tune lies above the place in which patterns are made.
        self._shift = max(0, int(midi[midi >= 0].min()) - FULL_FROM)
        self._before = 0

    def play_along(self) -> Choice:
        """Return the choice with what both hands play under the patterns."""
        fitted = [row for plan in self._plans for row in self._fitted(plan)]
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
        way, and the left hand has the chord. Where no hand has the third throughout,
        the one that has it longest is taken. Where one slot of a chord leaves the left
        hand no room at all, each slot is fitted alone.
        """
        tried = []
        for number, rights in enumerate(self._rights.tries(plan)):
            played = self._strokes(plan, rights)
            light = self._rights.is_light(plan)
            tried.append(_Fitted(plan, rights, played, self._ticks, light))
            full = plan.pattern.row.right is RightHand.FULL
            asks = full or light or not number
            if tried[-1].is_whole and (tried[-1].has_third or not asks):
                self._before = played[0].midi
                return tried[-1:]
        playable = [row for row in tried if row.played]
        if not playable and len(plan.slots) > 1:
            return [row for part in plan.apart for row in self._fitted(part)]
        best = playable[0] if playable else tried[0]
        if best.light:
            # Of the same length the fullest, which is tried first.
            best = max([row for row in playable if row.is_whole] or [best], key=_RANK)
        return [best]

    def _strokes(self, plan: ChordPlan, rights: list[RightSlot]) -> tuple[Stroke, ...]:
        """Return what a pattern plays under a right hand.

        Which notes of the chord it has must not depend on the key: they are those for
        which there is room where the tune's lowest note is C4.
        """
        pattern, light = plan.pattern, self._rights.is_light(plan)
        here = strokes(pattern, self._room(plan, rights, 0))
        chords = light or pattern.row.right is RightHand.LIGHT
        if pattern.row.anywhere or not chords or not self._shift:
            return here
        low = strokes(pattern, self._room(plan, rights, self._shift))
        if _classes(here, 0) == _classes(low, self._shift):
            return here
        chord = pattern is LeftHand.CHORDS
        return placed(low, self._shift, _ROOT_HIGHEST if chord else WINDOW_HIGHEST)

    def _room(self, plan: ChordPlan, rights: list[RightSlot], down: int) -> PatternRoom:
        """Return what the pattern stands on, moved down.

        What one voice has alone the left hand leaves to the right where it is there.
        """
        length = Fraction(plan.end - plan.onset, self._ticks)
        most, player = max(right.most for right in rights), self._style.player
        lowest = min(right.lowest for right in rights)
        room = room_of(
            plan.chord, length, plan.time, lowest - down, self._spare(plan, rights)
        )
        return room._replace(
            bass=window_note((room.bass - down) % 12),
            most=max(1, _HANDFUL - most),
            reach=PLAYERS[player].left_span if player else room.reach,
            bare=self._rights.is_light(plan) and not most,
            before=self._before if plan.pattern is LeftHand.CHORDS else 0,
        )

    def _spare(self, plan: ChordPlan, rights: list[RightSlot]) -> frozenset[PitchClass]:
        """Return what the left hand leaves to the right: what one voice has alone.

        The third of V in a quick note off the beat only passes: without its own the
        chord would be hollow, as it is not without its seventh.
        """
        heard = frozenset[int]().union(*(right.classes for right in rights))
        firm = frozenset[int]().union(*(right.firm for right in rights))
        hollow = {_telling(plan.chord)} - firm
        spare = (tendency_notes(plan.chord, plan.key) & heard) - hollow
        if plan.pattern is not LeftHand.CHORDS or not any(r.most for r in rights):
            return spare
        # Chords leave out what the right hand holds, and the third if the tune has it.
        stays = frozenset.intersection(*(right.stays for right in rights))
        top = int(self._choice.hands.tune[plan.slots[0], 0])
        third = {_telling(plan.chord)} & {PitchClass(top % 12)}
        return spare | {PitchClass(note % 12) for note in stays} | third

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
                finger = stroke.finger if self._style.fingering else 0
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
