"""Left-hand patterns under the chords of a drill.

Every pattern has the root on the onset of every chord (the fifth never comes first) and
stays below the right hand. Patterns that double notes of the chord leave the right hand
two notes. Times are crotchets.
"""

from collections.abc import Callable, Iterator
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.chord import Chord, Member
from harmonise.theory.limits import (
    LEFT_HAND_GAP,
    LEFT_HAND_LOWEST,
    low_interval,
)
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName

_HALF = Fraction(1, 2)


class Pattern(Enum):
    """What the left hand does with a chord."""

    HELD = "held"
    REPEATED = "repeated"
    OCTAVE = "octave"
    ROOT_FIFTH = "root-fifth"
    WALTZ = "waltz"
    BROKEN = "broken"


class PatternRow(NamedTuple):
    """What is known of one pattern.

    Attributes:
        title: Its name on the page.
        time: The metre that it goes in.
        thin: Whether the right hand plays two notes only.
    """

    title: str
    time: TimeSignature = TimeSignature(4, 4)
    thin: bool = False


PATTERNS = {
    Pattern.HELD: PatternRow("held root"),
    Pattern.REPEATED: PatternRow("repeated root"),
    Pattern.OCTAVE: PatternRow("octaves"),
    Pattern.ROOT_FIFTH: PatternRow("root and fifth"),
    Pattern.WALTZ: PatternRow("waltz", TimeSignature(3, 4), thin=True),
    Pattern.BROKEN: PatternRow("broken chord", thin=True),
}


class Under(NamedTuple):
    """What the left hand plays under.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        chord: The chord.
        bass: Where its bass lies.
        lowest: MIDI number of the lowest note of the right hand.
    """

    onset: Fraction
    length: Fraction
    chord: Chord
    bass: Pitch
    lowest: int


def left_hand(pattern: Pattern, under: Under) -> tuple[SoundingNote, ...]:
    """Return what the left hand plays under one chord, by onset.

    Patterns with fingers of their own carry them; the others leave them open.
    """
    return tuple(_MAKERS[pattern](under))


def _held(under: Under) -> Iterator[SoundingNote]:
    yield _note(under.onset, under.length, under.bass)


def _repeated(under: Under) -> Iterator[SoundingNote]:
    for at in _beats(under):
        yield _note(at, Fraction(1), under.bass)


def _octave(under: Under) -> Iterator[SoundingNote]:
    """Yield the bass with its octave below: fingers 5 and 1."""
    lower = under.bass._replace(octave=under.bass.octave - 1)
    yield _note(under.onset, under.length, lower, 5)
    yield _note(under.onset, under.length, under.bass, 1)


def _root_fifth(under: Under) -> Iterator[SoundingNote]:
    """Yield the root and then the fifth, above it where there is room, or below."""
    half = under.length / 2
    fifth = _fifth(under.chord)
    rise = (fifth.pitch_class - under.bass.pitch_class) % 12
    above = under.bass.midi + rise
    fits = above + LEFT_HAND_GAP <= under.lowest
    other = fifth.at(above if fits else above - 12)
    yield _note(under.onset, half, under.bass, 5 if fits else 1)
    yield _note(under.onset + half, half, other, 1 if fits else 5)


def _waltz(under: Under) -> Iterator[SoundingNote]:
    """Yield the root low on the first beat and two notes above it on the others."""
    yield _note(under.onset, Fraction(1), under.bass, 5)
    pair = _pair(under)
    for at in _beats(under)[1:]:
        for finger, pitch in zip((2, 1), pair, strict=False):
            yield _note(at, Fraction(1), pitch, finger)


def _broken(under: Under) -> Iterator[SoundingNote]:
    """Yield quavers root, fifth, octave, fifth, an octave lower where it is tight."""
    root = under.bass.midi
    if root + 12 + LEFT_HAND_GAP > under.lowest and root - 12 >= LEFT_HAND_LOWEST:
        root -= 12
    fifth = _fifth(under.chord)
    middle = root + (fifth.pitch_class - under.bass.pitch_class) % 12
    low, high = under.bass.name.at(root), under.bass.name.at(root + 12)
    turn = high if root + 12 + LEFT_HAND_GAP <= under.lowest else low
    row = ((low, 5), (fifth.at(middle), 2), (turn, 1 if turn is high else 5))
    figure = (*row, row[1])
    for number in range(int(under.length / _HALF)):
        pitch, finger = figure[number % 4]
        yield _note(under.onset + number * _HALF, _HALF, pitch, finger)


_MAKERS: dict[Pattern, Callable[[Under], Iterator[SoundingNote]]] = {
    Pattern.HELD: _held,
    Pattern.REPEATED: _repeated,
    Pattern.OCTAVE: _octave,
    Pattern.ROOT_FIFTH: _root_fifth,
    Pattern.WALTZ: _waltz,
    Pattern.BROKEN: _broken,
}


def _note(
    onset: Fraction, length: Fraction, pitch: Pitch, finger: int = 0
) -> SoundingNote:
    return SoundingNote(onset, length, pitch, Hand.LEFT, Voice.BASS, finger)


def _beats(under: Under) -> list[Fraction]:
    return [under.onset + number for number in range(int(under.length))]


def _fifth(chord: Chord) -> PitchName:
    """Return the fifth of a chord; of one without a fifth the last member."""
    return chord.members[min(Member.FIFTH, len(chord.members) - 1)]


def _pair(under: Under) -> tuple[Pitch, ...]:
    """Return third and fifth above the root, in the order that sounds clear lowest.

    Where neither order is clear below the right hand the fifth goes alone, above the
    root or below it: the right hand has the third.
    """
    third, fifth = under.chord.members[Member.THIRD], _fifth(under.chord)
    found = []
    for lower, upper in ((third, fifth), (fifth, third)):
        low = _above(under.bass.midi, lower)
        high = _above(low.midi, upper)
        clear = low_interval(low.midi, high.midi) is None
        if clear and high.midi < under.lowest:
            found.append((high.midi, (low, high)))
    if found:
        return min(found)[1]
    alone = _above(under.bass.midi, fifth)
    if alone.midi >= under.lowest:
        alone = alone._replace(octave=alone.octave - 1)
    return (alone,)


def _above(midi: int, name: PitchName) -> Pitch:
    """Return the nearest pitch of a name above a MIDI number."""
    return name.at(midi + (name.pitch_class - midi) % 12)
