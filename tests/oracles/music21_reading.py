"""What music21 has to say, in our spelling: the oracle of the theory tests.

music21 writes flats as "-" and knows the tonic of a mode only through the Key itself;
both traps are shut here, once.
"""

from collections.abc import Sequence

from music21 import chord as chord21  # noqa: TID251 (the oracle of the tests)
from music21 import harmony as harmony21  # noqa: TID251
from music21 import interval as interval21  # noqa: TID251
from music21 import key as key21  # noqa: TID251
from music21 import pitch as pitch21  # noqa: TID251
from music21 import roman as roman21  # noqa: TID251
from music21 import scale as scale21  # noqa: TID251

from harmonise.theory.chord import Chord, Quality
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch, PitchName


def typed(name: str) -> str:
    """Return a music21 name in our spelling: B-4 is Bb4."""
    return name.replace("-", "b")


def foreign(name: object) -> str:
    """Return one of our names in music21's spelling."""
    return str(name).replace("b", "-")


def oracle_key(key: Key) -> key21.Key:
    """Return music21's key of the same tonic and mode."""
    return key21.Key(foreign(key.tonic), key.mode.value)


def oracle_scale(key: Key) -> list[str]:
    """Return the names of the seven degrees, by music21."""
    found = oracle_key(key)
    return [typed(found.pitchFromDegree(degree).name) for degree in range(1, 8)]


def oracle_leading_note(key: Key) -> str:
    """Return the seventh degree of music21's harmonic minor scale."""
    scale = scale21.HarmonicMinorScale(foreign(key.tonic))
    return typed(scale.pitchFromDegree(7).name)


_KINDS = {
    Quality.DOMINANT_SEVENTH: "dominant-seventh",
    Quality.HALF_DIMINISHED: "half-diminished-seventh",
}
"""music21's names of kinds where they are not MusicXML's."""


def oracle_symbol(root: PitchName, quality: Quality) -> list[str]:
    """Return the members of music21's chord symbol of a root and a kind."""
    kind = _KINDS.get(quality, quality.value)
    symbol = harmony21.ChordSymbol(root=foreign(root), kind=kind)
    return [typed(pitch.name) for pitch in symbol.pitches]


def oracle_numeral(chord: Chord, key: Key) -> str:
    """Return the numeral that music21 gives a chord, figures with our strokes."""
    found = roman21.romanNumeralFromChord(oracle_chord(chord), oracle_key(key)).figure
    return typed(found).replace("o", "°").replace("64", "6/4")


def oracle_roman(figure: str, key: Key) -> list[str]:
    """Return the members, from the bass up, that music21 reads from a numeral."""
    plain = figure.replace("°", "o")
    for stroke in ("6/4", "6/5", "4/3", "4/2"):
        plain = plain.replace(stroke, stroke.replace("/", ""))
    roman = roman21.RomanNumeral(plain, oracle_key(key))
    return [typed(pitch.name) for pitch in roman.pitches]


def oracle_chord(chord: Chord) -> chord21.Chord:
    """Return the chord as music21's, the members closely stacked above the bass."""
    names = [*chord.members[chord.inversion :], *chord.members[: chord.inversion]]
    low = 48
    pitches = []
    for name in names:
        low = low + 1 + (name.pitch_class - low - 1) % 12
        pitches.append(oracle_pitch(name.at(low)))
    return chord21.Chord(pitches)


def oracle_pitch(pitch: Pitch) -> pitch21.Pitch:
    """Return a pitch as music21's."""
    return pitch21.Pitch(foreign(pitch.name) + str(pitch.octave))


def oracle_interval(lower: Pitch, upper: Pitch) -> interval21.Interval:
    """Return the interval from one pitch to another."""
    return interval21.Interval(oracle_pitch(lower), oracle_pitch(upper))


def oracle_letters_up(name: PitchName, interval: str) -> str:
    """Return the name a music21 interval ("M3", "P5") above a name."""
    return typed(pitch21.Pitch(foreign(name)).transpose(interval).name)


def oracle_stack(pitches: Sequence[Pitch]) -> chord21.Chord:
    """Return pitches, as they lie, as music21's chord."""
    return chord21.Chord([oracle_pitch(pitch) for pitch in pitches])


def oracle_semitones(interval: str) -> int:
    """Return the semitones of an interval named as M3 or P5."""
    return int(interval21.Interval(interval).semitones)
