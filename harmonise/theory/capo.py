"""The guitar beside the piano: where the capo goes, and which shapes are played.

Sounding key = shape key + fret, in semitones. Frets 0 to 5; shapes C, A, G, E and D,
in keys with a minor third Am, Em and Dm; shapes of open chords come first: G, D, A, C,
E (common practice). A key that an easy shape gives without a capo needs none: nobody
plays C with a capo on the fifth fret for the sake of G shapes. Only E, which wants B7,
is rather played with a capo.
"""

from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, major_fifths
from harmonise.theory.pitch import PitchClass, PitchName, parse_name

HIGHEST_FRET = 5

_MAJOR = tuple(map(parse_name, "GDACE"))
_MINOR = tuple(map(parse_name, "AED"))
_E = parse_name("E")
"""Keynotes of the shapes, the easiest for a beginner first. Am, Dm and E are all open
chords; Em needs Bm or B7, and Dm needs Gm."""


class Capo(NamedTuple):
    """A capo on its fret, and the keys on both sides of it.

    Attributes:
        fret: 0 for no capo, to 5.
        shape: The key that the guitarist's hand plays in.
        sounding: The key that is heard, in which the piano is.
    """

    fret: int
    shape: Key
    sounding: Key


def capo_choices(key: Key) -> tuple[Capo, ...]:
    """Return the ways to play a key with easy shapes, the best for a beginner first.

    Args:
        key: The sounding key. A mode has shapes on its own keynote: Dorian and Aeolian
            those of the minor, Mixolydian those of the major.

    Returns:
        At least one for every key, and never two with the same shape.

    >>> from harmonise.theory.key import parse_key
    >>> [(own.fret, str(own.shape)) for own in capo_choices(parse_key("Eb"))]
    [(1, 'D major'), (3, 'C major')]
    """
    tonics = _MINOR if key.mode.is_minor else _MAJOR
    choices = [
        Capo(
            (key.tonic.pitch_class - tonic.pitch_class) % 12, Key(tonic, key.mode), key
        )
        for tonic in tonics
    ]
    fitting = [own for own in choices if own.fret <= HIGHEST_FRET]
    return tuple(sorted(fitting, key=_takes_a_capo))


def _takes_a_capo(own: Capo) -> bool:
    return bool(own.fret) or (own.shape.tonic == _E and not own.shape.mode.is_minor)


def capo_on(key: Key, fret: int) -> Capo:
    """Return the choice that has its capo on a fret.

    Args:
        key: The sounding key.
        fret: 0 for none.

    Raises:
        OutputError: If no easy shape gives the key on that fret.
    """
    choices = capo_choices(key)
    for own in choices:
        if own.fret == fret:
            return own
    offers = " or ".join(f"{own.fret} (play {own.shape})" for own in choices)
    where = f"a capo on fret {fret}" if fret else "no capo"
    raise OutputError(
        f"With {where}, no easy shapes give {key}.", remedy=f"Take fret {offers}."
    )


def shape_chord(chord: Chord, capo: Capo) -> Chord:
    """Return the chord that the hand plays so that another sounds.

    It is moved down from key to key, so that its spelling moves along. Double signs,
    which chords foreign to the key may get, are written as the plain note.

    Args:
        chord: The sounding chord.
        capo: The capo.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.key import parse_key
    >>> str(shape_chord(parse_symbol("Bb7/D"), capo_on(parse_key("Eb"), 3)))
    'G7/B'
    """
    letters = (capo.shape.tonic.letter - capo.sounding.tonic.letter) % 7
    root = chord.root.up(letters, -capo.fret)
    moved = chord._replace(root=root)
    if any(abs(name.alter) > 1 for name in (moved.root, moved.bass)):
        return chord._replace(root=_plain(root.pitch_class, capo.shape))
    return moved


def _plain(pitch_class: PitchClass, key: Key) -> PitchName:
    """Return the name of a pitch class that is nearest a key, with one sign at most."""
    # Ordered by fifths, a scale reaches from one below its doh to five above.
    middle = key.fifths + 2
    names = [PitchName(letter, alter) for letter in range(7) for alter in (0, -1, 1)]
    own = [name for name in names if name.pitch_class == pitch_class]
    return min(own, key=lambda name: abs(major_fifths(name) - middle))


def shape_key(key: Key, capo: Capo) -> Key:
    """Return the key of the hand's shapes while a key of the tune sounds.

    Args:
        key: The capo's own sounding key, or one that the tune turns to later.
        capo: The capo.
    """
    return Key(shape_chord(Chord(key.tonic), capo).root, key.mode)
