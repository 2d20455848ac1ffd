"""Tunes for tests: random ones for laws, built without any reader."""

from collections.abc import Sequence
from fractions import Fraction

from hypothesis import strategies as st

from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar, KeyChange, Tempo, Tune, TuneNote

TIMES = ((4, 4), (3, 4), (2, 4), (6, 8), (2, 2), (9, 8), (12, 8), (3, 2), (5, 4))


def tune_of(
    notes: Sequence[tuple[Fraction, Pitch | None]],
    time: TimeSignature,
    key: Key,
    *,
    pickup: Fraction = Fraction(0),
    tempo: int = 0,
) -> Tune:
    """Return a tune of notes and rests (length, pitch), cut into bars."""
    onset = Fraction(0)
    made = []
    for length, pitch in notes:
        made.append(TuneNote(onset, length, pitch))
        onset += length
    bars = _bars(onset, time, pickup)
    rest = bars[-1].end - onset
    if rest:
        made.append(TuneNote(onset, rest, None))
    marks = (Tempo(Fraction(0), Fraction(tempo)),) if tempo else ()
    lines = tuple(bar.end for bar in bars[3::4] if bar.end < bars[-1].end)
    keys = (KeyChange(Fraction(0), key),)
    return Tune("Test", tuple(made), bars, keys, marks, (*lines, bars[-1].end))


def _bars(end: Fraction, time: TimeSignature, pickup: Fraction) -> tuple[Bar, ...]:
    bars: list[Bar] = []
    full = time.bar_length
    if pickup:
        bars.append(Bar(0, Fraction(0), pickup, time, offset=full - pickup))
    at = pickup
    while at < end or not bars:
        bars.append(Bar(len(bars) + (not pickup), at, full, time))
        at += full
    return tuple(bars)


@st.composite
def pitches(draw: st.DrawFn, key: Key, lowest: int = 4) -> Pitch:
    """A pitch, mostly of the key's scale, sometimes altered."""
    degree = draw(st.integers(0, 6))
    name = key.scale[degree]
    octave = draw(st.integers(lowest, 5))
    alter = draw(st.sampled_from([0] * 12 + [1, -1]))
    if abs(name.alter + alter) > 2:
        alter = 0
    return Pitch(name.letter, name.alter + alter, octave)


@st.composite
def tunes(
    draw: st.DrawFn, most_notes: int = 24, lowest: int = 4, modes: tuple[Mode, ...] = ()
) -> Tune:
    """A random tune of any metre, key and mode, with rests and perhaps a pickup."""
    time = TimeSignature(*draw(st.sampled_from(TIMES)))
    mode = draw(st.sampled_from(modes or tuple(Mode)))
    key = key_of_signature(draw(st.integers(-7, 7)), mode)
    lengths = st.sampled_from(
        [
            time.beat,
            time.beat,
            time.beat / 2,
            time.beat / 3,
            time.beat * 2,
            time.beat / 4,
        ]
    )
    sounding = st.tuples(lengths, pitches(key, lowest))
    silent = st.tuples(lengths, st.none())
    notes = draw(st.lists(sounding | sounding | sounding | silent, max_size=most_notes))
    notes.append((time.beat, Pitch(*key.scale[draw(st.integers(0, 6))], 4)))
    pickup = draw(st.sampled_from([Fraction(0), time.beat, time.beat / 2]))
    tempo = draw(st.sampled_from([0, 60, 160]))
    return tune_of(notes, time, key, pickup=pickup, tempo=tempo)
