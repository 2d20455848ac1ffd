"""How long played notes are on paper.

Players and many programs let go of a note before the next begins. A note lasts until
the next one if the gap is under 9/20 of a crotchet, or under a quarter of the way from
one onset to the next (but never over 9/10 of a crotchet). Otherwise a rest follows:
from the next beat by the same rule, or else from the nearest half crotchet.

In a file that lies on a grid an end on the grid is a fact, and a gap of a sixteenth of
a crotchet or more is a rest; unless three quarters of the notes stop after the same
part of their time, at least 7/10, which is a program's way of letting go.
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.notation.reading.midi_file import Played
from harmonise.notation.reading.midi_grid import Grid, exact_place
from harmonise.notation.reading.midi_metre import Metre

GAP = Fraction(9, 20)
GAP_SHARE = Fraction(1, 4)
GAP_MOST = Fraction(9, 10)
"""Gaps in crotchets, or of the time to the next onset, that are not rests."""
REST = Fraction(1, 16)
"""Crotchets of the shortest rest in a file that lies on a grid."""
_GATE_LEAST = Fraction(7, 10)
_GATE_SHARE = Fraction(3, 4)
_HALF = Fraction(1, 2)


class Placed(NamedTuple):
    """A note on paper.

    Attributes:
        onset: Crotchets from the start of the file.
        end: Crotchets from the start of the file.
        played: The note as it was played.
    """

    onset: Fraction
    end: Fraction
    played: Played


def set_lengths(
    notes: Sequence[Played], grid: Grid, per_crotchet: int, metre: Metre
) -> list[Placed]:
    """Return the notes on paper; of notes on one place all but the last have no length.

    Args:
        notes: The line, never empty.
        grid: Where its notes begin.
        per_crotchet: Ticks in a crotchet.
        metre: Bars, for the end of the last note.
    """
    gate = _gate(notes)
    ends = [_let_go(note, gate, per_crotchet) for note in notes]
    last = _stop(grid.onsets[-1], ends[-1], metre)
    stops = (*grid.onsets[1:], last)
    placed = []
    for note, onset, stop, end in zip(notes, grid.onsets, stops, ends, strict=True):
        is_last = note is notes[-1]
        fact = (
            exact_place(note.end, per_crotchet) if grid.is_exact and gate == 1 else None
        )
        if fact is None or fact <= onset:
            place = _played_end(onset, stop, end, metre)
        elif stop - REST < fact < stop and not is_last:
            place = stop
        else:
            place = fact
        placed.append(Placed(onset, place if is_last else min(place, stop), note))
    return placed


def _gate(notes: Sequence[Played]) -> Fraction:
    """Return the part of their time after which nearly all notes stop, or else 1."""
    shares = [
        round(Fraction(a.end - a.start, b.start - a.start), 2)
        for a, b in pairwise(notes)
        if b.start > a.start
    ]
    if not shares:
        return Fraction(1)
    share, number = Counter(shares).most_common(1)[0]
    is_gate = _GATE_LEAST <= share < 1 and number >= len(shares) * _GATE_SHARE
    return share if is_gate else Fraction(1)


def _let_go(note: Played, gate: Fraction, per_crotchet: int) -> Fraction:
    """Return where a note would have ended if it had not been let go of early."""
    return (note.start + (note.end - note.start) / gate) / per_crotchet


def _stop(onset: Fraction, end: Fraction, metre: Metre) -> Fraction:
    """Return the end of the bar or else of the beat in which the last note ends."""
    inside = max(end - Fraction(1, 8), onset)
    stretch = metre.stretch_at(inside)
    full = stretch.time.bar_length
    bar = stretch.start + ((inside - stretch.start) // full + 1) * full
    if _is_short(bar - end, bar - onset):
        return bar
    return sum(metre.beat_at(inside), Fraction(0))


def _is_short(gap: Fraction, way: Fraction) -> bool:
    """Whether a gap on the way to the next onset is no rest."""
    return gap < GAP or gap < min(GAP_SHARE * way, GAP_MOST)


def _played_end(
    onset: Fraction, stop: Fraction, end: Fraction, metre: Metre
) -> Fraction:
    """Return where a note ends that was let go of at `end` before `stop`."""
    beat = sum(metre.beat_at(end), Fraction(0))
    for place in (stop, beat):
        if _is_short(place - end, place - onset):
            return min(place, stop)
    allowance = (end - onset) / 10
    from_half = onset % _HALF
    halves = round((end + allowance - onset + from_half) / _HALF)
    place = onset - from_half + max(halves, 1) * _HALF
    return min(place, stop)
