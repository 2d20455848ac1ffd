"""Which key a tune is in, judged by its notes alone.

The guess weighs what a musician looks at first: the share of the notes that lie in the
scale, the share that lies in the tonic triad, the last note, and the first strong
beat. Spelling counts: F# is never taken for Gb. Weights are whole numbers, set by
trying them on 879 fiddle and pipe tunes that musicians labelled (see the tests).
"""

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.pitch import PitchName
from harmonise.theory.tune import TuneNote

IN_SCALE = 1000
IN_TRIAD = 500
ENDS_ON_TONIC = 200
ENDS_IN_TRIAD = 80
BEGINS_IN_TRIAD = 100
COMMON = {
    Mode.MAJOR: 40,
    Mode.MINOR: 20,
    Mode.AEOLIAN: 20,
    Mode.DORIAN: 0,
    Mode.MIXOLYDIAN: 0,
}
"""Thousandths: what each test is worth, and how much commoner a mode is."""
NEAR = Fraction(9, 10)
"""A key whose worth reaches this share of the best one's is offered too."""


class Evidence(NamedTuple):
    """What the guess looks at.

    Attributes:
        weights: Sounding length of each spelled note, in equal units.
        total: Their sum.
        first: The note on the first strong beat.
        last: The last note.
    """

    weights: dict[PitchName, int]
    total: int
    first: PitchName
    last: PitchName


def guess_keys(
    notes: Sequence[TuneNote], downbeat: Fraction = Fraction(0)
) -> tuple[Key, ...]:
    """Return the keys that a tune may be in, the likeliest first.

    Args:
        notes: Notes and rests in order.
        downbeat: Onset of the first strong beat, in crotchets: the end of the pickup.

    Returns:
        One key of each tonic that comes within a tenth of the best; C major alone if
        nothing sounds. A minor scale without its raised seventh is called aeolian if
        the natural seventh is used.

    >>> from harmonise.theory.pitch import parse_pitch
    >>> tune = [parse_pitch(name) for name in "G4 A4 B4 G4 F#4 D4 G4".split()]
    >>> notes = [TuneNote(Fraction(i), Fraction(1), p) for i, p in enumerate(tune)]
    >>> str(guess_keys(notes)[0])
    'G major'
    """
    evidence = weigh_notes(notes, downbeat)
    if evidence is None:
        return (Key(PitchName(0)),)
    worths = {key: _worth(key, evidence) for key in _candidates()}
    ordered = sorted(worths, key=lambda key: (-worths[key], abs(key.fifths)))
    least = worths[ordered[0]] * NEAR
    found: dict[PitchName, Key] = {}
    for key in ordered:
        if worths[key] >= least:
            found.setdefault(key.tonic, key)
    return tuple(_named(key, evidence) for key in found.values())


def weigh_notes(notes: Sequence[TuneNote], downbeat: Fraction) -> Evidence | None:
    """Return the evidence in a tune; None if nothing sounds."""
    sounding = [(note, note.pitch.name) for note in notes if note.pitch]
    if not sounding:
        return None
    unit = lcm(*{note.length.denominator for note, _ in sounding})
    weights: dict[PitchName, int] = {}
    for note, name in sounding:
        units = note.length.numerator * (unit // note.length.denominator)
        weights[name] = weights.get(name, 0) + units
    first = next((name for note, name in sounding if note.end > downbeat), None)
    last = sounding[-1][1]
    return Evidence(weights, sum(weights.values()), first or last, last)


def _candidates() -> list[Key]:
    modes = (Mode.MAJOR, Mode.MINOR, Mode.DORIAN, Mode.MIXOLYDIAN)
    return [key_of_signature(fifths, mode) for fifths in range(-7, 8) for mode in modes]


def _worth(key: Key, evidence: Evidence) -> int:
    weights = evidence.weights
    triad = key.scale[0::2][:3]
    inside = sum(weights.get(name, 0) for name in key.scale)
    if key.mode is Mode.MINOR:
        inside += weights.get(key.name_at(7, 1), 0)
    chordal = sum(weights.get(name, 0) for name in triad)
    worth = (IN_SCALE * inside + IN_TRIAD * chordal) // evidence.total
    worth += BEGINS_IN_TRIAD * (evidence.first in triad) + COMMON[key.mode]
    if evidence.last == key.tonic:
        return worth + ENDS_ON_TONIC
    return worth + ENDS_IN_TRIAD * (evidence.last in triad)


def _named(key: Key, evidence: Evidence) -> Key:
    """Call a minor key aeolian if its seventh is used and never raised."""
    used = evidence.weights
    plain = key.mode is Mode.MINOR and key.name_at(7) in used
    return (
        Key(key.tonic, Mode.AEOLIAN) if plain and key.name_at(7, 1) not in used else key
    )
