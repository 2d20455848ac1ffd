"""A tune in another key: every note, key and chord moved by one interval.

The interval is taken from keynote to keynote, letters and semitones, so that the
spelling moves along: F# in G becomes E in F.
"""

from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import ChordAt, KeyChange, Tune

_LOWEST, _HIGHEST = 57, 81
"""A3 and A5: a tune that stays between them is easy to write chords under."""


def transposed(tune: Tune, key: Key) -> Tune:
    """Return a tune in another key of its mode, moved the shorter way that is in reach.

    Args:
        tune: The tune.
        key: The key that its first key becomes.

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
    old = tune.key.tonic
    letters = (key.tonic.letter - old.letter) % 7
    rise = (key.tonic.pitch_class - old.pitch_class) % 12
    shift = _shift(tune, rise)

    def moved(pitch: Pitch) -> Pitch:
        return pitch.name.up(letters, rise).at(pitch.midi + shift)

    def chords(found: tuple[ChordAt, ...]) -> tuple[ChordAt, ...]:
        return tuple(
            own._replace(chord=_moved_chord(own.chord, letters, rise)) for own in found
        )

    return tune._replace(
        notes=tuple(
            note._replace(
                pitch=moved(note.pitch),
                graces=tuple(
                    grace._replace(pitch=moved(grace.pitch)) for grace in note.graces
                ),
            )
            if note.pitch
            else note
            for note in tune.notes
        ),
        keys=tuple(
            KeyChange(change.onset, _moved_key(change.key, letters, rise))
            for change in tune.keys
        ),
        locks=chords(tune.locks),
        symbols=chords(tune.symbols),
    )


def _moved_chord(chord: Chord, letters: int, rise: int) -> Chord:
    return chord._replace(root=chord.root.up(letters, rise))


def _moved_key(key: Key, letters: int, rise: int) -> Key:
    return Key(key.tonic.up(letters, rise), key.mode)


def _shift(tune: Tune, rise: int) -> int:
    """Return the semitones to move, up or down, that keep a tune nearest its reach."""
    heights = [note.pitch.midi for note in tune.sounding if note.pitch]
    low, high = min(heights), max(heights)

    def outside(shift: int) -> tuple[int, int, int]:
        below, above = _LOWEST - (low + shift), high + shift - _HIGHEST
        return max(0, below) + max(0, above), abs(shift), shift

    return min((rise, rise - 12), key=outside)
