"""A tune in another key, and the shapes of a guitar with a capo beside it.

Every note, key and chord moves by one interval, from keynote to keynote, letters and
semitones, so that the spelling moves along: F# in G becomes E in F. Where a later key
of the tune would need more than seven sharps or flats, its like-sounding neighbour is
taken and what stands in it is spelled by that; a note never has more than two signs.

The guitar's sounding key is its shape key and the fret, in semitones. Frets 0 to 5;
shapes C, A, G, E and D, in keys with a minor third Am, Em and Dm; shapes of open chords
come first: G, D, A, C, E (common practice). A key that an easy shape gives without a
capo needs none: nobody plays C with a capo on the fifth fret for the sake of G shapes.
Only E, which wants B7, is rather played with a capo.
"""

from bisect import bisect_right
from collections.abc import Callable
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, key_of_signature, major_fifths
from harmonise.theory.pitch import Pitch, PitchName, parse_name
from harmonise.theory.tune import ChordAt, Tune, TuneNote

_LOWEST, _HIGHEST = 57, 81
"""A3 and A5: a tune that stays between them is easy to write chords under."""
_MOST_SIGNS = 7
_Move = Callable[[PitchName], PitchName]


def transposed(tune: Tune, key: Key, semitones: int | None = None) -> Tune:
    """Return a tune in another key of its mode.

    Args:
        tune: The tune.
        key: The key that its first key becomes.
        semitones: How far everything moves, up or (negative) down, a distance between
            the two keynotes; None for the shorter way that is in easy reach.

    >>> from fractions import Fraction
    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.theory.metre import TimeSignature
    >>> from harmonise.theory.pitch import parse_pitch
    >>> from harmonise.theory.tune import Bar, KeyChange, TuneNote
    >>> one = Fraction(1)
    >>> tune = Tune(
    ...     "", (TuneNote(one * 0, one, parse_pitch("E4")),),
    ...     (Bar(1, one * 0, one, TimeSignature(1, 4)),),
    ...     (KeyChange(one * 0, parse_key("C")),),
    ... )
    >>> str(transposed(tune, parse_key("Bb")).notes[0].pitch)
    'D4'
    """
    rise = (key.tonic.pitch_class - tune.key.tonic.pitch_class) % 12
    shift = _shift(tune, rise) if semitones is None else semitones
    moves = _Moves(tune, key, rise)

    def moved(note: TuneNote) -> TuneNote:
        if note.pitch is None:
            return note
        name = moves.at(note.onset)
        graces = tuple(
            grace._replace(pitch=_raised(grace.pitch, shift, name))
            for grace in note.graces
        )
        return note._replace(pitch=_raised(note.pitch, shift, name), graces=graces)

    return tune._replace(
        notes=tuple(map(moved, tune.notes)),
        keys=moves.keys,
        locks=tuple(map(moves.chord_at, tune.locks)),
        symbols=tuple(map(moves.chord_at, tune.symbols)),
        were_locked=tuple(map(moves.chord_at, tune.were_locked)),
    )


def key_moved(key: Key, semitones: int, *, flat: bool = False) -> Key:
    """Return the usual key some semitones away, with the fewest sharps or flats.

    Args:
        key: The key to start from.
        semitones: How far, up or (negative) down.
        flat: Whether six flats are taken for six sharps.

    >>> from harmonise.theory.key import parse_key
    >>> str(key_moved(parse_key("C"), 3)), str(key_moved(parse_key("C"), 6, flat=True))
    ('Eb major', 'Gb major')
    """
    if semitones % 12 == 0:
        return key
    signs = (key.fifths + 7 * semitones + 5) % 12 - 5
    if signs == 6 and (flat or key.mode.is_minor):
        signs = -6
    return key_of_signature(signs, key.mode)


class _Moves:
    """How names move, stretch by stretch between the changes of key."""

    def __init__(self, tune: Tune, key: Key, rise: int) -> None:
        letters = (key.tonic.letter - tune.key.tonic.letter) % 7
        self._onsets = [change.onset for change in tune.keys]
        self.keys = tuple(
            change._replace(key=_usual(change.key, letters, rise))
            for change in tune.keys
        )
        self._names = [
            _name_move((new.key.tonic.letter - old.key.tonic.letter) % 7, rise)
            for old, new in zip(tune.keys, self.keys, strict=True)
        ]

    def at(self, onset: Fraction) -> _Move:
        """Return how names at an onset move."""
        return self._names[max(0, bisect_right(self._onsets, onset) - 1)]

    def chord_at(self, placed: ChordAt) -> ChordAt:
        """Return a chord of the tune, moved."""
        return placed._replace(chord=moved_chord(placed.chord, self.at(placed.onset)))


def moved_chord(chord: Chord, move: _Move) -> Chord:
    """Return a chord whose root's name is moved."""
    return chord._replace(root=move(chord.root))


def along_the_fifths(chord: Chord, fifths: int) -> Chord:
    """Return a chord moved along the line of fifths, upwards or (negative) downwards.

    >>> from harmonise.theory.chord import parse_symbol
    >>> along_the_fifths(parse_symbol("G7/B"), 2).symbol
    'A7/C#'
    """
    # A fifth is four letters and seven semitones.
    return moved_chord(chord, _name_move(4 * fifths % 7, 7 * fifths % 12))


def _usual(key: Key, letters: int, rise: int) -> Key:
    moved = Key(key.tonic.up(letters, rise), key.mode)
    if abs(moved.fifths) <= _MOST_SIGNS:
        return moved
    around = -12 if moved.fifths > 0 else 12
    return key_of_signature(moved.fifths + around, key.mode)


def _name_move(letters: int, rise: int) -> _Move:
    def move(name: PitchName) -> PitchName:
        moved = name.up(letters, rise)
        while abs(moved.alter) > 2:
            moved = moved.up(1 if moved.alter > 0 else -1, 0)
        return moved

    return move


def _raised(pitch: Pitch, shift: int, name: _Move) -> Pitch:
    return name(pitch.name).at(pitch.midi + shift)


def _shift(tune: Tune, rise: int) -> int:
    """Return the semitones to move, up or down, that keep a tune nearest its reach."""
    heights = [note.pitch.midi for note in tune.sounding if note.pitch]
    low, high = min(heights), max(heights)

    def outside(shift: int) -> tuple[int, int, int]:
        below, above = _LOWEST - (low + shift), high + shift - _HIGHEST
        return max(0, below) + max(0, above), abs(shift), shift

    return min((rise, rise - 12), key=outside)


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
    >>> [(capo.fret, str(capo.shape)) for capo in capo_choices(parse_key("Eb"))]
    [(1, 'D major'), (3, 'C major')]
    """
    tonics = _MINOR if key.mode.is_minor else _MAJOR
    frets = [(key.tonic.pitch_class - tonic.pitch_class) % 12 for tonic in tonics]
    fitting = [
        Capo(fret, Key(tonic, key.mode), key)
        for tonic, fret in zip(tonics, frets, strict=True)
        if fret <= HIGHEST_FRET
    ]
    # The open keys first, but for E with a major third, which wants B7.
    last = None if key.mode.is_minor else _E
    return tuple(
        sorted(fitting, key=lambda capo: capo.fret > 0 or capo.shape.tonic == last)
    )


def capo_on(key: Key, fret: int) -> Capo:
    """Return the choice that has its capo on a fret.

    Args:
        key: The sounding key.
        fret: 0 for none.

    Raises:
        OutputError: If no easy shape gives the key on that fret.
    """
    choices = capo_choices(key)
    for capo in choices:
        if capo.fret == fret:
            return capo
    offers = " or ".join(f"{capo.fret} (play {capo.shape})" for capo in choices)
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
    if all(abs(name.alter) < 2 for name in (moved.root, moved.bass)):
        return moved
    # Ordered by fifths, a scale reaches from one below its doh to five above; the name
    # nearest its middle is the plainest.
    middle = capo.shape.fifths + 2
    names = [PitchName(letter, alter) for letter in range(7) for alter in (0, -1, 1)]
    same = [name for name in names if name.pitch_class == root.pitch_class]
    plain = min(same, key=lambda name: abs(major_fifths(name) - middle))
    return chord._replace(root=plain)


def shape_key(key: Key, capo: Capo) -> Key:
    """Return the key of the hand's shapes while a key of the tune sounds.

    Args:
        key: The capo's own sounding key, or one that the tune turns to later.
        capo: The capo.
    """
    return Key(shape_chord(Chord(key.tonic), capo).root, key.mode)
