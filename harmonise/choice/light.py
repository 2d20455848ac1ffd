"""A light right hand: the tune, and under it a note or two that can stay.

No hand strikes a chord under each note of a quick tune. It strikes where the chord
changes or the bar begins, one note under a note shorter than a beat, at most two under
a longer one, and holds them while the tune runs above: the third of the chord before
its other members. What cannot stay for half of the chord is not struck at all, and the
left hand has it. Common practice of accompanying dances; the reach is our own.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.choice.shapes import FULL_FROM, TWO_FROM
from harmonise.theory.chord import QUALITIES, Chord

REACH = 10
"""Widest reach in semitones, a minor seventh: a hand that runs is not stretched."""
_NEAREST = 3
"""Least semitones between two notes that are struck together."""


class TunePart(NamedTuple):
    """A part of the tune, as long as neither its note nor the slot changes.

    Attributes:
        midi: MIDI number; -1 for a rest.
        start: Onset in ticks.
        end: Where it ends.
        beat: Length of the counted beat there.
        on_beat: Whether it begins on one.
    """

    midi: int
    start: int
    end: int
    beat: int
    on_beat: bool


class Kept(NamedTuple):
    """A note under the tune, and the tick at which it is let go."""

    midi: int
    end: int


def light_hand(
    moments: Sequence[TunePart], chord: Chord, alone: frozenset[int], span: int
) -> tuple[int, tuple[Kept, ...]]:
    """Return at which part a light hand strikes under one chord, and what.

    Args:
        moments: The parts of the tune while the chord lasts in one bar.
        chord: The chord.
        alone: Pitch classes that one voice has alone.
        span: Widest reach of the hand in semitones.

    Returns:
        Number of the part, and the notes, the one that is needed most first; none where
        the tune goes alone.
    """
    first = _strikes_at(moments)
    if first is None:
        return 0, ()
    top, sounding = moments[first], {one.midi for one in moments[first:]}
    reach = min(span, REACH) if len(sounding) > 1 else span
    if top.midi < TWO_FROM:
        return first, ()
    found = [
        Kept(midi, _end(moments[first:], midi, reach))
        for midi in _below(top.midi, chord, alone, reach)
    ]
    half = Fraction(top.start + moments[-1].end, 2)
    lasting = [kept for kept in found if kept.end >= half]
    if not lasting:
        return first, ()
    best = min(lasting, key=lambda kept: _rank(kept, chord, top.midi))
    if top.end - top.start < top.beat or top.midi < FULL_FROM:
        return first, (best,)
    others = [
        kept
        for kept in lasting
        if kept.end >= best.end
        and abs(kept.midi - best.midi) >= _NEAREST
        and (top.midi - kept.midi) % 12
    ]
    # Both are let go together: half a chord that is tied on is hard to read.
    return first, (best, *(kept._replace(end=best.end) for kept in others[-1:]))


def _strikes_at(moments: Sequence[TunePart]) -> int | None:
    """Return the part at which a light hand may strike: the first that sounds.

    A chord on a weak note is struck where it is new, and nowhere else.
    """
    first = next((at for at, one in enumerate(moments) if one.midi >= 0), None)
    return None if first and not moments[first].on_beat else first


def brief_third(
    moments: Sequence[TunePart],
    chord: Chord,
    alone: frozenset[int],
    span: int,
    step: int,
) -> tuple[int, tuple[Kept, ...]]:
    """Return at which part a light hand strikes the telling note, however short.

    Args:
        moments: The parts of the tune while the chord lasts in one bar.
        chord: The chord.
        alone: Pitch classes that one voice has alone.
        span: Widest reach of the hand in semitones.
        step: Ticks of half a beat, or of a third of a dotted one: the least that can
            be read and heard, so the note lasts some of them.
    """
    first = _strikes_at(moments)
    if first is None:
        return 0, ()
    run, telling = moments[first:], _telling(chord)
    edges = [one.start for one in run] + [run[-1].end]
    for midi in reversed(_below(run[0].midi, chord, alone, span)):
        if midi % 12 == telling and run[0].midi >= TWO_FROM:
            stops = edges[1 : _stop(run, midi, span) + 1]
            even = [stop for stop in stops if (stop - edges[0]) % step == 0]
            return first, (Kept(midi, even[-1]),) if even else ()
    return first, ()


def _telling(chord: Chord) -> int:
    return (chord.root.pitch_class + QUALITIES[chord.quality].telling) % 12


def _below(top: int, chord: Chord, alone: frozenset[int], reach: int) -> list[int]:
    """Return the chord's notes within reach under the tune."""
    classes = {int(name.pitch_class) for name in chord.members}
    return [
        midi
        for midi in range(top - reach, top - _NEAREST + 1)
        if midi % 12 in classes and not (midi % 12 in alone and (top - midi) % 12 == 0)
    ]


def _end(moments: Sequence[TunePart], midi: int, reach: int) -> int:
    """Return the tick at which a struck note is let go; on a beat if early."""
    at = _stop(moments, midi, reach)
    if at == len(moments):
        return moments[-1].end
    beats = (moments[back] for back in range(at, 0, -1))
    return next((beat.start for beat in beats if beat.on_beat), moments[0].start)


def _stop(moments: Sequence[TunePart], midi: int, reach: int) -> int:
    """Return the number of the part at which a struck note cannot stay."""
    for at, one in enumerate(moments):
        # A strange note of a beat would grind a semitone above it.
        grinds = one.midi - midi == 1 and one.end - one.start >= one.beat
        if one.midi >= 0 and (grinds or not midi < one.midi <= midi + reach):
            return at
    return len(moments)


def _rank(kept: Kept, chord: Chord, top: int) -> tuple[bool, int, int]:
    """Rank a note: the telling one first, then what stays longest, then the nearest."""
    telling = _telling(chord)
    needed = telling != top % 12
    return needed and kept.midi % 12 != telling, -kept.end, -kept.midi
