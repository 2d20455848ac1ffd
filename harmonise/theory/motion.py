"""How voices move from one chord to the next: steps, common tones, parallels.

Voices are compared one by one in a fixed order, lowest first, as MIDI numbers; None
stands for a voice that is silent. The test for parallels and the ties of the
least-motion table are common practice of keyboard harmony.
"""

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from harmonise.theory.chord import Chord, Quality
from harmonise.theory.pitch import Pitch
from harmonise.theory.voicing import (
    Voicing,
    close_shape,
    doubled_third_shape,
    over_bass,
    right_hand,
    spell,
)

Height = int | None
_PERFECT = (0, 7)
"""Octave or unison, and fifth, in semitones without octaves."""
_FARTHEST = 12
"""No drill moves the top note further than an octave."""


class Parallel(NamedTuple):
    """Two voices that move in parallel.

    Attributes:
        lower: Number of the lower voice, counted from the lowest of all.
        upper: Number of the upper voice.
        interval: 7 for fifths, 0 for octaves and unisons.
    """

    lower: int
    upper: int
    interval: int

    @property
    def name(self) -> str:
        """The trade's word: fifths or octaves."""
        return "fifths" if self.interval else "octaves"


def motion(before: Sequence[Pitch], after: Sequence[Pitch]) -> tuple[int, ...]:
    """Return the semitones that each voice moves, lowest voice first; down is negative.

    Raises:
        ValueError: If the two chords differ in the number of voices.
    """
    pairs = zip(before, after, strict=True)
    return tuple(here.midi - old.midi for old, here in pairs)


def parallels(
    before: Sequence[Height], after: Sequence[Height]
) -> tuple[Parallel, ...]:
    """Return the pairs of voices in parallel fifths or octaves.

    Two voices are parallel if they form a perfect fifth, or an octave or unison, in
    both chords and both move in the same direction. Repeated notes are no fault.

    Args:
        before: MIDI numbers of the voices, lowest first; None where one is silent.
        after: The same voices in the next chord.

    >>> parallels((53, 57, 60, 65), (55, 59, 62, 67))
    (Parallel(lower=0, upper=2, interval=7), Parallel(lower=0, upper=3, interval=0))
    """
    return tuple(
        pair
        for pair, (low, high), (low_now, high_now) in _perfects(before, after)
        if (low_now - low) * (high_now - high) > 0
    )


def contrary_perfects(
    before: Sequence[Height], after: Sequence[Height]
) -> tuple[Parallel, ...]:
    """Return the pairs that go from fifth to fifth or octave to octave in contrary
    motion: a fault in strict writing only.
    """  # noqa: D205 (one sentence that needs two lines)
    return tuple(
        pair
        for pair, (low, high), (low_now, high_now) in _perfects(before, after)
        if (low_now - low) * (high_now - high) < 0
    )


def _perfects(
    before: Sequence[Height], after: Sequence[Height]
) -> Iterator[tuple[Parallel, tuple[int, int], tuple[int, int]]]:
    """Yield each pair of voices with the same perfect interval in both chords."""
    for lower, upper in combinations(range(min(len(before), len(after))), 2):
        low, high = before[lower], before[upper]
        low_now, high_now = after[lower], after[upper]
        if low is None or high is None or low_now is None or high_now is None:
            continue
        interval = (high - low) % 12
        if interval in _PERFECT and (high_now - low_now) % 12 == interval:
            pair = Parallel(lower, upper, interval)
            yield pair, (low, high), (low_now, high_now)


def least_motion(previous: Voicing, chord: Chord) -> tuple[Voicing, ...]:
    """Return the shapes that may follow a voicing where no tune is given, best first.

    Best is the shape without parallels whose right hand moves least in all; ties go to
    fewer fifths and octaves in contrary motion, then to contrary motion against the
    bass, then to the smaller largest move. So IV goes to V downwards, against the
    bass, and V to vi takes the doubled third where its tune goes 7-1. The left hand
    plays in its window. Common practice.

    Args:
        previous: A voicing; the next one gets as many right-hand notes.
        chord: The next chord.

    Returns:
        Voicings whose top lies within an octave of the previous one; empty only if the
        chord has no shape of as many notes.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.pitch import parse_pitch
    >>> one = Voicing(*(tuple(map(parse_pitch, n.split())) for n in ("C3", "C4 E4 G4")))
    >>> str(least_motion(one, parse_symbol("F"))[0])
    'F2 | C4 F4 A4'
    """
    return tuple(sorted(_candidates(previous, chord), key=lambda v: _rank(previous, v)))


def _candidates(previous: Voicing, chord: Chord) -> Iterator[Voicing]:
    centre = previous.top.midi
    root = chord.root.pitch_class
    for midi in range(centre - _FARTHEST, centre + _FARTHEST + 1):
        if midi % 12 not in chord.pitch_classes:
            continue
        interval = (midi - root) % 12
        shapes = [close_shape(chord.quality, interval)]
        if previous.left and is_deceptive(previous.left[0].pitch_class, chord):
            shape = doubled_third_shape(chord.quality, interval, submediant=True)
            shapes.append(shape)
        for shape in shapes:
            if len(shape) + 1 != len(previous.right):
                continue
            yield over_bass(chord, right_hand(chord, spell(chord, midi), shape))


def is_deceptive(before: int, chord: Chord) -> bool:
    """Return whether a chord may be vi (VI in minor) after V, by the step of the root.

    A minor triad a tone higher or a major one a semitone higher.

    Args:
        before: Pitch class of the root before.
        chord: The chord.
    """
    rise = (chord.root.pitch_class - before) % 12
    return (chord.quality, rise) in ((Quality.MINOR, 2), (Quality.MAJOR, 1))


def _rank(previous: Voicing, here: Voicing) -> tuple[int, ...]:
    before, after = heights(previous), heights(here)
    moves = motion(previous.right, here.right)
    bass_before, bass_after = before[0], after[0]
    # Upper voices that go with the bass sound less independent than against it.
    similar = 0
    if bass_before is not None and bass_after is not None:
        similar = sum(move * (bass_after - bass_before) > 0 for move in moves)
    sizes = [abs(move) for move in moves]
    return (
        len(parallels(before, after)),
        sum(sizes),
        len(contrary_perfects(before, after)),
        similar,
        max(sizes),
        here.top.midi,
    )


def heights(voicing: Voicing) -> tuple[Height, ...]:
    """Return the bass, or None, and the right hand as MIDI numbers."""
    bass = voicing.left[0].midi if voicing.left else None
    return (bass, *(pitch.midi for pitch in voicing.right))
