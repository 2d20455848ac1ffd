"""A walk and an aural test as they sound: read back from the files, by spectrum."""

import io
import shutil
import wave
from fractions import Fraction

import numpy as np
import numpy.typing as npt
import pytest

from harmonise import arrange, read_tune
from harmonise.notation.sound import speech
from harmonise.notation.sound.performance import Playing
from harmonise.notation.sound.stretches import (
    UNSPOKEN,
    WRITING,
    format_heard,
    format_spoken_walk,
)
from harmonise.notation.spoken.spoken_walk import format_walk
from harmonise.theory.arrangement import Arrangement

Frames = npt.NDArray[np.float64]
C_MAJOR, F_MAJOR = (48, 60, 64, 67), (41, 60, 65, 69)
"""C3 C4 E4 G4 and F2 C4 F4 A4: note numbers of General MIDI, middle C is 60."""


def _done() -> Arrangement:
    text = "Key: C\nTime: 4/4\nTempo: 120\nG - - - | A - - - | G - - - |"
    return arrange(read_tune(text))


def _read(content: bytes) -> tuple[Frames, int]:
    with wave.open(io.BytesIO(content)) as file:
        packed = file.readframes(file.getnframes())
        return np.frombuffer(packed, "<i2") / 32768, file.getframerate()


def _begins(frames: Frames, rate: int) -> list[float]:
    """Return the seconds at which sound follows half a second of silence."""
    loud = np.flatnonzero(np.abs(frames) > 0.01)
    gaps = np.flatnonzero(np.diff(loud) > rate / 2)
    return [float(loud[0]) / rate, *(float(loud[at + 1]) / rate for at in gaps)]


def _strength(frames: Frames, rate: int, midi: int) -> float:
    """Return how strong a note's first partial is (ISO 16: A4 = 440 Hz)."""
    hertz = 440 * 2 ** ((midi - 69) / 12)
    spectrum = np.abs(np.fft.rfft(frames * np.hanning(len(frames)), 8 * len(frames)))
    at = round(hertz * 8 * len(frames) / rate)
    return float(spectrum[at - 3 : at + 4].max())


def _sounds(frames: Frames, rate: int, chord: tuple[int, ...]) -> bool:
    """Whether each right-hand note is louder than the keys on both sides of it."""
    return all(
        _strength(frames, rate, midi)
        > 3 * max(_strength(frames, rate, midi + step) for step in (-1, 1))
        for midi in chord[1:]
    )


def test_a_walk_plays_each_chord_after_its_words(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    speech.speak.cache_clear()
    walk = format_spoken_walk(_done(), Playing())
    assert not walk.spoken
    assert "\n".join(walk.words) + "\n" == format_walk(_done())
    frames, rate = _read(walk.content)
    begins = _begins(frames, rate)
    assert begins[0] == pytest.approx(UNSPOKEN + 0.4, abs=0.03)
    # A bar of 4/4 at 120 lasts two seconds.
    for begin, chord, other in zip(
        begins, (C_MAJOR, F_MAJOR, C_MAJOR), (F_MAJOR, C_MAJOR, F_MAJOR), strict=True
    ):
        start = int(begin * rate)
        heard = frames[start : start + rate]
        assert _sounds(heard, rate, chord)
        assert not _sounds(heard, rate, other)


@pytest.mark.skipif(not shutil.which("espeak-ng"), reason="espeak-ng speaks the words")
def test_a_walk_is_spoken_before_it_sounds() -> None:
    speech.speak.cache_clear()
    walk = format_spoken_walk(_done(), Playing(bars=(2, 2)))
    assert walk.spoken
    (words,) = walk.words
    assert words == (
        "Bar 2, beat 1. Next chord F: keep C, move E to F and G to A; left hand down "
        "to F."
    )
    frames, rate = _read(walk.content)
    # 0.4 s of pause, a bar of two seconds, its release of 0.15 s, 0.4 s of pause.
    told = frames[: len(frames) - int(2.95 * rate)]
    assert len(told) > 4 * rate
    assert np.abs(told).max() > 0.1
    bar = frames[len(frames) - int(2.55 * rate) :][:rate]
    assert _sounds(bar, rate, F_MAJOR)


def test_an_aural_test_is_heard_three_times_with_pauses() -> None:
    span = Fraction(0), Fraction(12)
    heard = format_heard(_done(), span, Playing(tempo=Fraction(240)))
    frames, rate = _read(heard)
    begins = _begins(frames, rate)
    # Three bars of a second each and 0.15 s of release, then the pause.
    round_ = 3 + 0.15 + WRITING
    assert begins == pytest.approx([0, round_, 2 * round_], abs=0.03)
    assert len(frames) / rate == pytest.approx(3 * round_, abs=0.01)
