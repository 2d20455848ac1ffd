"""A tune in another key: every note, key and chord moved by one interval.

The interval is taken from keynote to keynote, letters and semitones, so that the
spelling moves along: F# in G becomes E in F. Where a later key of the tune would need
more than seven sharps or flats, its like-sounding neighbour is taken and what stands in
it is spelled by that; a note never has more than two signs.
"""

from bisect import bisect_right
from collections.abc import Callable
from fractions import Fraction

from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, key_of_signature
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import ChordAt, KeyChange, Tune, TuneNote

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
            KeyChange(change.onset, _usual(change.key, letters, rise))
            for change in tune.keys
        )
        self._names = [
            _name_move((new.key.tonic.letter - old.key.tonic.letter) % 7, rise)
            for old, new in zip(tune.keys, self.keys, strict=True)
        ]

    def at(self, onset: Fraction) -> _Move:
        """Return how names at an onset move."""
        return self._names[max(0, bisect_right(self._onsets, onset) - 1)]

    def chord_at(self, own: ChordAt) -> ChordAt:
        """Return a chord of the tune, moved."""
        return own._replace(chord=moved_chord(own.chord, self.at(own.onset)))


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
