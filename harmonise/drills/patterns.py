"""Left-hand patterns that a drill may have, from the table that tunes use too.

Every pattern has the root on the onset of every chord (the fifth never comes first) and
stays below the right hand. Patterns that double notes of the chord leave the right hand
two notes. Times are crotchets.
"""

from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.theory.arrangement import Hand, LeftHand, SoundingNote, Voice
from harmonise.theory.chord import Chord
from harmonise.theory.ground import ground_of
from harmonise.theory.left_hand import PATTERNS as TABLE
from harmonise.theory.left_hand import RightHand
from harmonise.theory.metre import TimeSignature
from harmonise.theory.patterns import strokes
from harmonise.theory.pitch import Pitch
from harmonise.theory.voicing import spell


class Pattern(Enum):
    """What the left hand does with a chord of a drill."""

    HELD = LeftHand.HELD.value
    REPEATED = LeftHand.REPEATED.value
    OCTAVE = LeftHand.OCTAVE.value
    ROOT_FIFTH = LeftHand.ROOT_FIFTH.value
    WALTZ = LeftHand.WALTZ.value
    BROKEN = LeftHand.BROKEN.value


class PatternRow(NamedTuple):
    """What a drill needs to know of one pattern.

    Attributes:
        title: Its name on the page.
        time: The metre that it goes in.
        thin: Whether the right hand plays two notes only.
    """

    title: str
    time: TimeSignature
    thin: bool


def _row(pattern: Pattern) -> PatternRow:
    own = TABLE[LeftHand(pattern.value)]
    time = TimeSignature(3 if pattern is Pattern.WALTZ else 4, 4)
    return PatternRow(own.title, time, own.right is not RightHand.FULL)


PATTERNS = {pattern: _row(pattern) for pattern in Pattern}


class Under(NamedTuple):
    """What the left hand plays under.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        chord: The chord.
        bass: Where its bass lies.
        lowest: MIDI number of the lowest note of the right hand.
        time: The metre.
    """

    onset: Fraction
    length: Fraction
    chord: Chord
    bass: Pitch
    lowest: int
    time: TimeSignature


def left_hand(pattern: Pattern, under: Under) -> tuple[SoundingNote, ...]:
    """Return what the left hand plays under one chord, by onset.

    Patterns with fingers of their own carry them; the others leave them open.
    """
    ground = ground_of(under.chord, under.length, under.time, under.lowest)
    ground = ground._replace(bass=under.bass.midi)
    return tuple(
        SoundingNote(
            under.onset + stroke.at,
            stroke.length,
            spell(under.chord, stroke.midi),
            Hand.LEFT,
            Voice.BASS,
            stroke.finger,
        )
        for stroke in strokes(LeftHand(pattern.value), ground)
    )
