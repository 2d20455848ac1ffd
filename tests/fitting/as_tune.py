"""Labelled tunes as the engine's own `Tune`s.

The labelled collections hold MIDI notes; they are spelled here by the key. A section of
the collection becomes a double bar.
"""

from fractions import Fraction
from itertools import pairwise
from typing import Any

from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote

_SHARPWARDS = range(-6, 7)


def as_tune(found: Any) -> Tune:  # noqa: ANN401 (made by the collection's own reader)
    """Return the tune of a labelled one, its chords left out.

    Args:
        found: `bars` (start, length, (beats, unit), whether a section begins), `notes`
            (onset, length, MIDI number or None), `keys` (onset, pitch class of the
            keynote, name of the mode), `beats` (start, position in the bar).
    """
    keys = tuple(KeyChange(at, key_of(tonic, mode)) for at, tonic, mode in found.keys)
    bars = _bars(found)
    notes: list[TuneNote] = []
    at = Fraction(0)
    for onset, length, midi in found.notes:
        if onset > at:
            notes.append(TuneNote(at, onset - at, None))
        key = [change.key for change in keys if change.onset <= onset][-1]
        pitch = None if midi is None else spell(midi, key)
        notes.append(TuneNote(onset, length, pitch))
        at = onset + length
    if at < bars[-1].end:
        notes.append(TuneNote(at, bars[-1].end - at, None))
    return Tune(found.id, tuple(notes), bars, keys, phrases=(bars[-1].end,))


def key_of(tonic: int, mode: str) -> Key:
    """Return the key with the fewest accidentals on a pitch class."""
    wanted = Mode(mode) if mode in {m.value for m in Mode} else Mode.MAJOR
    found = [key_of_signature(fifths, wanted) for fifths in _SHARPWARDS]
    fitting = [key for key in found if key.tonic.pitch_class == tonic]
    return min(fitting, key=lambda key: abs(key.fifths))


def spell(midi: int, key: Key) -> Pitch:
    """Return the pitch of a MIDI number: of the scale, or as it is usually altered.

    A sharp or flat on a letter beside the note is never written for a natural: F
    natural in D major is the lowered 3rd, not E sharp. Only the raised 4th, the leading
    note of the 5th, is always written as such.

    >>> str(spell(65, key_of(2, "major")))
    'F4'
    """
    order = [(degree, 0) for degree in range(1, 8)]
    usual = [(7, 1), (6, 1), (4, 1)] if key.mode.is_minor else [(7, -1), (4, 1)]
    others = [(degree, alter) for alter in (1, -1) for degree in range(1, 8)]
    # The sort is stable: among naturals, and among the rest, raised come first.
    others.sort(key=lambda altered: key.name_at(*altered).alter != 0)
    for degree, alter in (*order, *usual, *others):
        name: PitchName = key.name_at(degree, alter)
        if name.pitch_class == midi % 12:
            octave = (midi - name.alter) // 12 - 1
            return Pitch(name.letter, name.alter, octave)
    raise AssertionError(midi)


def _bars(found: Any) -> tuple[Bar, ...]:  # noqa: ANN401
    first = {beat.start: beat.position for beat in reversed(found.beats)}
    bars: list[Bar] = []
    number = 0
    rows = [*found.bars, None]
    for row, after in pairwise(rows):
        start, length, (beats, unit), _ = row
        time = TimeSignature(beats, unit)
        later = length < time.bar_length and first.get(start, 1) > 0
        offset = time.bar_length - length if later else Fraction(0)
        number += not later
        closes = after is not None and after[3]
        bars.append(Bar(number, start, length, time, double=closes, offset=offset))
    return tuple(bars)
