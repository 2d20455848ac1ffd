"""Which key a tune is in, judged by its notes, and doubts about a key that was told.

The guess weighs what a musician looks at first: the share of the notes that lie in the
scale, the share that lies in the tonic triad, the last note, and the first strong
beat. Spelling counts: F# is never taken for Gb. Weights are whole numbers, set by
trying them on 879 fiddle and pipe tunes that musicians labelled (see the tests). A key
that was told is never changed in silence: where it may be wrong, a question is asked.
"""

from collections.abc import Sequence
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from harmonise.errors import Remark
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.numerals import diatonic_triad
from harmonise.theory.pitch import PitchName
from harmonise.theory.tune import Tune, TuneNote

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
    notes: Sequence[TuneNote],
    downbeat: Fraction = Fraction(0),
    fifths: int | None = None,
) -> tuple[Key, ...]:
    """Return the keys that a tune may be in, the likeliest first.

    Args:
        notes: Notes and rests in order.
        downbeat: Onset of the first strong beat, in crotchets: the end of the pickup.
        fifths: Sharps of the signature, flats negative, where it is known.

    Returns:
        One key of each tonic that comes within a tenth of the best; the major key
        alone if nothing sounds. A minor scale without its raised seventh is called
        aeolian if the natural seventh is used.

    >>> from harmonise.theory.pitch import parse_pitch
    >>> tune = [parse_pitch(name) for name in "G4 A4 B4 G4 F#4 D4 G4".split()]
    >>> notes = [TuneNote(Fraction(i), Fraction(1), p) for i, p in enumerate(tune)]
    >>> str(guess_keys(notes)[0])
    'G major'
    """
    evidence = weigh_notes(notes, downbeat)
    if evidence is None:
        return (key_of_signature(fifths or 0, Mode.MAJOR),)
    modes = (Mode.MAJOR, Mode.MINOR, Mode.DORIAN, Mode.MIXOLYDIAN)
    signatures = range(-7, 8) if fifths is None else (fifths,)
    keys = [key_of_signature(signs, mode) for signs in signatures for mode in modes]
    worths = {key: _worth(key, evidence) for key in keys}
    ordered = sorted(worths, key=lambda key: (-worths[key], abs(key.fifths)))
    least = worths[ordered[0]] * NEAR
    by_tonic: dict[PitchName, Key] = {}
    for key in ordered:
        if worths[key] >= least:
            by_tonic.setdefault(key.tonic, key)
    return tuple(_named(key, evidence) for key in by_tonic.values())


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
    plain = key.mode is Mode.MINOR and key.name_at(7) in evidence.weights
    raised = key.name_at(7, 1) in evidence.weights
    return Key(key.tonic, Mode.AEOLIAN) if plain and not raised else key


_MODE_CHORDS = {
    Mode.MAJOR: (1, 4, 5),
    Mode.MINOR: (1, 4, 5),
    Mode.DORIAN: (1, 4, 7),
    Mode.MIXOLYDIAN: (1, 4, 7),
    Mode.AEOLIAN: (1, 6, 7),
}
_ORDINALS = ("", "1st", "2nd", "3rd", "4th", "5th", "6th", "7th")
_PENTATONIC = (1, 2, 3, 5, 6)


def doubts(tune: Tune) -> tuple[Remark, ...]:
    """Return what speaks against the key that a tune is said to be in.

    The key is never changed. Codes: H30 the key may be another, H29 the tune does not
    end on its keynote (common practice: such an end is worth a word, always), H26 five
    notes only, so that several can be home.
    """
    downbeat = tune.bars[0].end if tune.bars[0].offset else Fraction(0)
    evidence = weigh_notes(tune.notes, downbeat)
    if evidence is None:
        return ()
    key = tune.keys[-1].key
    bare = any(remark.code == "E14" for remark in tune.remarks)
    asked = _DOUBTS.get(key.mode, ()) if len(tune.keys) == 1 and not bare else ()
    question = next(filter(None, (doubt(key, evidence) for doubt in asked)), None)
    question = question or _open_end(key, evidence)
    five = _five_notes(key, evidence, guess_keys(tune.notes, downbeat))
    return tuple(remark for remark in (question, five) if remark)


def _dorian(key: Key, evidence: Evidence) -> Remark | None:
    """Doubt a key whose tune ends on D with B natural and without C#, say."""
    dorian = Key(evidence.last, Mode.DORIAN)
    akin = key.fifths == dorian.fifths or key.tonic == dorian.tonic
    sixth = dorian.scale[5]
    fits = all(name in dorian.scale for name in evidence.weights)
    # The minor third tells it from major, the major sixth from minor.
    telling = {dorian.scale[2], sixth} <= evidence.weights.keys()
    if not (akin and fits and telling):
        return None
    ends = f"the tune ends on {evidence.last} and uses {_spoken(sixth)}:"
    return _question(key, ends, dorian)


def _mixolydian(key: Key, evidence: Evidence) -> Remark | None:
    """Doubt a major key whose seventh is always lowered."""
    lowered = key.name_at(7, -1)
    if lowered not in evidence.weights or key.name_at(7) in evidence.weights:
        return None
    every = f"every {str(lowered)[0]} is {_spoken(lowered)}:"
    return _question(key, every, Key(key.tonic, Mode.MIXOLYDIAN))


def _aeolian(key: Key, evidence: Evidence) -> Remark | None:
    """Doubt a minor key whose seventh is used but never raised."""
    raised, plain = key.name_at(7, 1), key.name_at(7)
    if plain not in evidence.weights or raised in evidence.weights:
        return None
    lacks = (
        f"the tune has no raised 7th ({raised}), only {_spoken(plain)}: "
        f"the chord {key.name_at(5)} may sound foreign."
    )
    return _question(key, lacks, Key(key.tonic, Mode.AEOLIAN))


def _relative_minor(key: Key, evidence: Evidence) -> Remark | None:
    """Doubt a major key whose tune ends on its sixth degree."""
    if evidence.last != key.scale[5]:
        return None
    raised = key.name_at(5, 1)
    ends = f"the tune ends on {evidence.last}"
    if raised in evidence.weights:
        return _question(key, f"{ends} with {raised}:", Key(evidence.last, Mode.MINOR))
    return _question(key, f"{ends}:", Key(evidence.last, Mode.AEOLIAN))


def _open_end(key: Key, evidence: Evidence) -> Remark | None:
    """Tell that a tune ends off its keynote, and what that may mean."""
    degree, alter = key.degree(evidence.last)
    if (degree, alter) == (1, 0):
        return None
    where = f"The tune ends on {evidence.last}, "
    where += f"the {_ORDINALS[degree]} of {key}" if not alter else f"foreign to {key}"
    tonic = _chords(key, (1,))
    if degree == 5 and not alter:
        # It begins on 5 or 2 too and has the flat 7th of 5: 5 itself may be home.
        begins = evidence.first in (key.scale[4], key.scale[1])
        if begins and key.mode is Mode.MAJOR and key.scale[3] in evidence.weights:
            other = Key(evidence.last, Mode.MIXOLYDIAN)
            return Remark(
                "H29",
                f"{where}, and uses {_spoken(key.scale[3])}: {other}? Chords "
                f"{_chords(other)}.",
                remedy=f"If so, set the key to {other}.",
            )
        return Remark("H29", f"{where}: it ends open.")
    if degree == 3 and not alter:
        return Remark("H29", f"{where}. The last chord is still {tonic}.")
    if degree == 2 and not alter:
        return Remark(
            "H29",
            f"{where}: a tune that leads round to its beginning?",
            remedy="If not, look at the key again.",
        )
    return Remark("H29", f"{where}.", None, "Is the key right?")


def _five_notes(
    key: Key, evidence: Evidence, guesses: tuple[Key, ...]
) -> Remark | None:
    """Tell of a tune without two of the degrees that would settle its home."""
    used = set(evidence.weights)
    scale = next((s for s in _pentatonics(key) if used == set(s)), None)
    if scale is None:
        return None
    # Where a scale has no semitones no leading note points home, so the end has to.
    home = evidence.last if evidence.last in scale else key.tonic
    likely = [guess.tonic for guess in guesses if guess.tonic in scale]
    by_custom = [scale[place] for place in (0, 4, 1, 3, 2)]  # 1, 6, 2, 5, 3.
    second = next(name for name in [*likely, *by_custom] if name != home)
    notes = " ".join(str(name) for name in scale)
    what = (
        f"The tune has five notes only ({notes}), so several can be its home: {home}, "
        f"where it ends, or {second}."
    )
    return Remark("H26", what, None, "Set the key if you hear it otherwise.")


def _pentatonics(key: Key) -> list[tuple[PitchName, ...]]:
    """Return the three five-note scales of a signature: 1 2 3 5 6 of I, IV and V."""
    fifths = key.fifths
    majors = [
        key_of_signature(fifths + more, Mode.MAJOR)
        for more in (-1, 0, 1)
        if abs(fifths + more) <= 7
    ]
    return [
        tuple(major.scale[degree - 1] for degree in _PENTATONIC) for major in majors
    ]


def _question(key: Key, reason: str, other: Key) -> Remark:
    what = f"The key is {key}, but {reason} {other}? Chords {_chords(other)}."
    return Remark("H30", what, None, f"If so, set the key to {other}.")


_DOUBTS = {
    Mode.MAJOR: (_dorian, _mixolydian, _relative_minor),
    Mode.MINOR: (_dorian, _aeolian),
    Mode.AEOLIAN: (_dorian,),
}
"""What may be the matter with a key of each mode, the likeliest first."""


def _chords(key: Key, degrees: tuple[int, ...] = ()) -> str:
    """Return the symbols of a key's three chords: "Dm, G, C"; V of minor is major."""
    symbols = []
    for degree in degrees or _MODE_CHORDS[key.mode]:
        triad = diatonic_triad(key, degree)
        # The other modes have no leading note, so their fifth degree stays as it is.
        raised = key.mode is Mode.MINOR and degree == 5
        symbols.append(str(triad.root) if raised else triad.symbol)
    return ", ".join(symbols)


def _spoken(name: PitchName) -> str:
    return str(name) if name.alter else f"{name} natural"
