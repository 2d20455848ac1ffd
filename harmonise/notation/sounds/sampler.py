"""Notes of the piano as sound, made from a few recorded ones.

The nearest sample is played faster or slower until it has the wanted pitch in equal
temperament, A4 = 440 Hz (ISO 16). Between its frames the curve of Catmull and Rom is
drawn. When a key is let go the note fades within `RELEASE` seconds, as under a damper.
The same call gives the same frames.
"""

import wave
from functools import cache, lru_cache

import numpy as np
import numpy.typing as npt

from harmonise.notation.sounds.samples import Sample, samples
from harmonise.notation.writing.playing import HIGH_CLICK

Sound = npt.NDArray[np.float32]

RATE = 22_050
"""Frames a second."""
RELEASE = 0.15
"""Seconds in which a note fades when its key is let go."""
LONGEST = 12 * RATE
"""Frames after which even a held string is silent."""

_RELEASE = round(RELEASE * RATE)
_FADE = (np.cos(np.linspace(0, np.pi, _RELEASE)) / 2 + 0.5).astype(np.float32)
_CLICKS = (1200.0, 800.0)
"""Hertz of the high and the low click."""


def note(midi: int, held: int) -> Sound:
    """Return a note of the piano at full loudness.

    Args:
        midi: Note number.
        held: How many frames its key is held down.
    """
    sound = _string(midi)[: held + _RELEASE].copy()
    fading = sound[held:]
    fading *= _FADE[: len(fading)]
    return sound


@cache
def click(midi: int) -> Sound:
    """Return a click of the count-in: `HIGH_CLICK` or the low one."""
    hertz = _CLICKS[0] if midi == HIGH_CLICK else _CLICKS[1]
    seconds = np.arange(RATE // 10) / RATE
    wood = np.sin(2 * np.pi * hertz * seconds) * np.exp(-60 * seconds)
    return wood.astype(np.float32)


def loudness(velocity: int) -> float:
    """Return the factor for a velocity: twice the velocity is 12 decibels more.

    Source: General MIDI Level 1, 40 log10(velocity / 127) decibels.
    """
    return (velocity / 127) ** 2


@lru_cache(maxsize=128)
def _string(midi: int) -> Sound:
    """Return a note whose key is never let go."""
    sample = min(samples(), key=lambda own: abs(own.midi - midi))
    ratio = 2 ** ((midi - sample.midi - sample.cents / 100) / 12)
    places = np.arange(LONGEST, dtype=np.float64) * np.float64(ratio)
    sound = _between(_endless(sample, int(places[-1]) + 4), places)
    sound[-_RELEASE:] *= _FADE
    return sound


def _endless(sample: Sample, frames: int) -> npt.NDArray[np.float64]:
    """Return a sample for as long as one likes, its last part going round."""
    with wave.open(str(sample.path)) as file:
        packed = file.readframes(file.getnframes())
    raw = np.frombuffer(packed, "<i2") / 32768
    after = np.arange(max(frames - sample.loop, 0))
    tail = raw[sample.loop + after % (len(raw) - sample.loop)]
    falling = 10 ** (-sample.decay / 20 * after / RATE)
    return np.concatenate([raw[: sample.loop], tail * falling])


def _between(sound: npt.NDArray[np.float64], places: npt.NDArray[np.float64]) -> Sound:
    """Return a sound at places between its frames.

    Source: Catmull and Rom, "A class of local interpolating splines", 1974.
    """
    # One frame of silence before, so that every place has a frame on its left.
    sound = np.concatenate([[0.0], sound, [0.0, 0.0]])
    whole = places.astype(np.int64)
    part = places - whole
    a, b, c, d = (sound[whole + step] for step in range(4))
    drawn = b + part / 2 * (
        c - a + part * (2 * a - 5 * b + 4 * c - d + part * (3 * (b - c) + d - a))
    )
    return drawn.astype(np.float32)
