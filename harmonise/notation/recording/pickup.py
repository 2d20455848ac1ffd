"""Whether a heard tune begins with a pickup: asked where its notes speak for it.

Long notes stand at the beginnings of bars, few are held over bar lines, and tunes end
on a first beat (common practice). What these say for each pickup is weighed against
none. Of 161 old tunes of music21's corpus, read as if none had a pickup, 63 are asked
about, 49 of them rightly, and so about half of all that have one.
"""

from collections.abc import Sequence
from fractions import Fraction

from harmonise.notation.midi.placing import Placed
from harmonise.theory.metre import TimeSignature

_LONGEST = Fraction(5, 2)
"""Beats of the text beyond which a note is no longer than long."""
_MIDDLE = 0.5
"""Worth of a long note in the middle of a bar of four, a first beat being 1."""
_HELD_OVER = 0.6
_CLOSE, _MIDDLE_CLOSE = 0.25, 0.1
"""Worth of an end on the first beat, and in the middle of a bar."""
_MARGIN = 0.35
"""By how much a pickup must be worth more than none."""
_FEWEST = 12


def likely_pickup(notes: Sequence[Placed], time: TimeSignature) -> Fraction:
    """Return the pickup that notes speak for, in beats of the text; 0 for none.

    Args:
        notes: On their places, the first at 0 as if it were a first beat.
        time: The time signature.
    """
    if len(notes) < _FEWEST:
        return Fraction(0)
    worths = {
        Fraction(beats): _worth(notes, time, beats * time.unit)
        for beats in range(time.beats)
    }
    best = max(worths, key=lambda beats: (worths[beats], -beats))
    return best if worths[best] - worths[Fraction(0)] > _MARGIN else Fraction(0)


def _worth(notes: Sequence[Placed], time: TimeSignature, before: Fraction) -> float:
    """Return how well notes fit into bars that begin some crotchets after the first."""
    full = time.bar_length
    middle = full / 2 if time.beats % 4 == 0 else full
    worth = 0.0
    for note in notes:
        place = (note.onset - before) % full
        length = float(min((note.end - note.onset) / time.unit, _LONGEST))
        worth += length * {Fraction(0): 1.0, middle: _MIDDLE}.get(place, 0.0)
        if place and place + note.end - note.onset > full:
            worth -= _HELD_OVER
    last = (notes[-1].onset - before) % full
    close = {Fraction(0): _CLOSE, middle: _MIDDLE_CLOSE}.get(last, 0.0)
    return worth / len(notes) + close
