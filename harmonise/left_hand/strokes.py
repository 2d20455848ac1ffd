"""What a left-hand pattern stands on, and the strokes that it is made of.

Heights are MIDI numbers and times are crotchets, so that one table of patterns serves
drills and tunes in every key. In a tune the times become ticks of its grid: those of
what is asked under one chord of one bar (`ChordPlan`), and of what is then played in
each of its slots (`LeftSlot`).
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.theory.arrangement import LeftHand
from harmonise.theory.chord import QUALITIES, Chord, Inversion, Member
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import (
    LEFT_HAND_GAP,
    LEFT_HAND_LOWEST,
    WINDOW_HIGHEST,
    low_interval,
    window_note,
)


class Stroke(NamedTuple):
    """One note of a pattern.

    Attributes:
        at: Crotchets from the start of the chord.
        length: Crotchets.
        midi: MIDI number.
        finger: 1 to 5; 0 where the pattern leaves it open.
    """

    at: Fraction
    length: Fraction
    midi: int
    finger: int = 0


class PatternRoom(NamedTuple):
    """What a pattern stands on.

    Attributes:
        length: Crotchets that the chord lasts.
        time: Metre in force.
        bass: MIDI number of the bass in its usual place.
        lowest: MIDI number of the lowest note of the right hand meanwhile.
        companion: Semitones from the bass up to its fifth, or to the root where another
            member is in the bass.
        pair: Semitones from the bass up to the two notes that make a chord over it.
        third: Semitones from the bass up to the third; 0 where that is the bass, or is
            left to the right hand.
        most: Most notes of a chord that is held.
        reach: Widest reach of such a chord in semitones.
        bare: Whether the tune goes alone, so that the left hand has the whole chord.
        before: Lowest note of the left hand before; 0 where it begins.
    """

    length: Fraction
    time: TimeSignature
    bass: int
    lowest: int
    companion: int
    pair: tuple[int, int]
    third: int = 0
    most: int = 3
    reach: int = 12
    bare: bool = False
    before: int = 0

    @property
    def highest(self) -> int:
        """Highest note that leaves a gap to the right hand."""
        return self.lowest - LEFT_HAND_GAP

    @property
    def places(self) -> tuple[int, ...]:
        """Places of the bass under the right hand, the usual one first."""
        places = (self.bass, self.bass - 12)
        return tuple(
            place for place in places if LEFT_HAND_LOWEST <= place <= self.highest
        )


def room_of(
    chord: Chord,
    length: Fraction,
    time: TimeSignature,
    lowest: int,
    spare: frozenset[int] = frozenset(),
) -> PatternRoom:
    """Return what a pattern stands on, the bass in the window of the left hand.

    Args:
        chord: The chord.
        length: Crotchets that it lasts.
        time: Metre in force.
        lowest: MIDI number of the lowest note of the right hand meanwhile.
        spare: Pitch classes that the left hand leaves to the right.
    """
    row, bass = QUALITIES[chord.quality], int(chord.bass.pitch_class)

    def rise(semitones: int) -> int:
        return (chord.root.pitch_class + semitones - bass) % 12

    fifth = row.interval(Member.FIFTH) or 0
    # What a chord over the bass needs, the most telling note first.
    by_need = dict.fromkeys(
        n for n in (row.telling, row.added, fifth, 0) if n is not None
    )
    free = [n for n in by_need if (bass + rise(n)) % 12 not in spare]
    one, two = [*filter(None, map(rise, free)), 12, 12][:2]
    at_root = chord.inversion in (Inversion.ROOT_POSITION, Inversion.THIRD)
    companion = rise(fifth if at_root else 0)
    third = rise(row.telling) if row.telling in free else 0
    usual = window_note(bass)
    return PatternRoom(length, time, usual, lowest, companion, (one, two), third)


def placed(
    played: Sequence[Stroke], shift: int, highest: int = WINDOW_HIGHEST
) -> tuple[Stroke, ...]:
    """Return strokes that much higher, in the octave nearest the usual window.

    Where the bass would lie above the highest place everything goes an octave lower, as
    long as notes struck together stay clear there.
    """
    heights = [stroke.midi + shift for stroke in played]
    while heights and heights[0] > highest:
        lower = [height - 12 for height in heights]
        if min(lower) < LEFT_HAND_LOWEST or not _clear(played, lower):
            break
        heights = lower
    pairs = zip(played, heights, strict=True)
    return tuple(stroke._replace(midi=height) for stroke, height in pairs)


def _clear(played: Sequence[Stroke], heights: Sequence[int]) -> bool:
    # Only notes struck together can growl; low ones that follow each other do not.
    rows = list(zip(played, heights, strict=True))
    return not any(
        one.at == two.at and low_interval(low, high)
        for (one, low), (two, high) in pairwise(rows)
    )


class LeftNote(NamedTuple):
    """One note that the left hand strikes.

    Attributes:
        onset: In ticks; a pattern may strike between two of them.
        end: In ticks.
        pitch: Spelled pitch.
        finger: 1 to 5; 0 where it is left open.
    """

    onset: int | Fraction
    end: int | Fraction
    pitch: Pitch
    finger: int = 0


class LeftSlot(NamedTuple):
    """What the left hand plays in one slot.

    Attributes:
        held: Heights that sound through the slot; an unchanged chord goes on sounding.
        struck: Notes that are struck one by one instead; those of a chord that lasts
            through several slots stand in the first of them.
    """

    held: tuple[int, ...] = ()
    struck: tuple[LeftNote, ...] = ()


class ChordPlan(NamedTuple):
    """One chord within one bar, before its pattern is made.

    Attributes:
        slots: Numbers of its slots, neighbours.
        edges: Where each of them begins, and where the last one ends.
        quiet: Where both hands let go; the end if they do not.
        pattern: What the left hand does.
        chord: The chord.
        key: Key in force.
        time: Metre in force.
    """

    slots: range
    edges: tuple[int, ...]
    quiet: int
    pattern: LeftHand
    chord: Chord
    key: Key
    time: TimeSignature

    @property
    def onset(self) -> int:
        """Where the chord begins."""
        return self.edges[0]

    @property
    def end(self) -> int:
        """Where it ends, or the bar does."""
        return self.edges[-1]

    @property
    def apart(self) -> tuple["ChordPlan", ...]:
        """The same chord said anew in every slot."""
        return tuple(
            self._replace(
                slots=range(slot, slot + 1),
                edges=edges,
                quiet=min(edges[1], self.quiet),
            )
            for slot, edges in zip(self.slots, pairwise(self.edges), strict=True)
        )
