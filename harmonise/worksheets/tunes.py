"""Tunes made ready for worksheets: cut to whole lines, and moved to other keys.

A cut tune is a tune by itself: it has its own end, and repeats that would reach past it
are dropped. Words and tempo are left out, so that pupils see notes and boxes alone.
"""

from fractions import Fraction

from harmonise.errors import MelodyError
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, key_of_signature
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tune, TuneNote

_LOWEST, _HIGHEST = 57, 81
"""A3 and A5: a tune that stays between them is easy to write chords under."""


def opening(tune: Tune, bars: int) -> Tune:
    """Return the first whole lines of a tune, without words, tempo and repeats.

    Args:
        tune: The tune.
        bars: Full bars at most, if the first line is not longer.

    Raises:
        MelodyError: If no note sounds in it.
    """
    end = _cut(tune, bars)
    notes = tuple(_plain(note, end) for note in tune.notes if note.onset < end)
    if not any(note.pitch for note in notes):
        raise MelodyError(
            f"No note sounds in the first {bars} bars of this tune.",
            None,
            "Ask for more bars.",
        )
    return tune._replace(
        notes=notes,
        bars=tuple(_plain_bar(bar, end) for bar in tune.bars if bar.start < end),
        keys=tuple(change for change in tune.keys if change.onset < end),
        tempos=(),
        phrases=(*(mark for mark in tune.phrases if mark < end), end),
        locks=_within(tune.locks, end),
        symbols=_within(tune.symbols, end),
        verses=0,
        end_text=(),
    )


def _cut(tune: Tune, bars: int) -> Fraction:
    """Return where to stop: at the last end of a line within so many full bars."""
    full = [bar for bar in tune.bars if bar.number > 0 and not bar.offset]
    if len(full) <= bars:
        return tune.end
    limit = full[bars].start
    inside = [end for end in tune.phrases if 0 < end <= limit and _holds(tune, end)]
    return inside[-1] if inside else limit


def _holds(tune: Tune, end: Fraction) -> bool:
    """Whether at least two full bars stand before a place."""
    return sum(bar.number > 0 and bar.start < end for bar in tune.bars) >= 2


def _plain(note: TuneNote, end: Fraction) -> TuneNote:
    length = min(note.end, end) - note.onset
    return TuneNote(note.onset, length, note.pitch, line=note.line)


def _plain_bar(bar: Bar, end: Fraction) -> Bar:
    return Bar(
        bar.number,
        bar.start,
        min(bar.end, end) - bar.start,
        bar.time,
        double=bar.double and bar.end < end,
        offset=bar.offset,
    )


def _within(chords: tuple[ChordAt, ...], end: Fraction) -> tuple[ChordAt, ...]:
    return tuple(
        own._replace(end=min(own.end, end)) for own in chords if own.onset < end
    )


def transposed(tune: Tune, key: Key) -> Tune:
    """Return a tune in another key of its mode, moved the shorter way that is in reach.

    Args:
        tune: The tune.
        key: The key that its first key becomes.

    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.theory.metre import TimeSignature
    >>> from harmonise.theory.pitch import parse_pitch
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
            note._replace(pitch=moved(note.pitch)) if note.pitch else note
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


def related_keys(key: Key) -> tuple[Key, ...]:
    """Return the other keys of a mode, those with the most similar signature first.

    >>> from harmonise.theory.key import parse_key
    >>> [str(own.tonic) for own in related_keys(parse_key("G"))[:4]]
    ['F', 'D', 'C', 'Bb']
    """
    count = abs(key.fifths)

    def apart(fifths: int) -> tuple[int, int]:
        return abs(abs(fifths) - count), abs(fifths - key.fifths)

    others = [fifths for fifths in range(-5, 7) if fifths != key.fifths]
    others.sort(key=lambda fifths: (*apart(fifths), -fifths))
    return tuple(key_of_signature(fifths, key.mode) for fifths in others)
