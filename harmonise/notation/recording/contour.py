"""What the ear hears first in a recording: its pitch, and how loud it is, by frames.

The pitch is found by swift-f0, a small network whose model lies in its wheel, twice:
in its whole compass, and once more inside the compass of the singer, which takes away
most slips to a harmonic. A line that lies higher than the network hears, as whistling
may, is played to it at half its speed. Levels are of our own spectrum, twice as fine in
time: of all that sounds, and of 1 to 5 kHz, where a consonant is heard as a dip even if
the voice does not stop.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from harmonise.errors import LibraryError

Floats = npt.NDArray[np.float64]

RATE = 16_000
"""Frames of sound a second, as the network wants them."""
HOP = 0.016
"""Seconds from one pitch to the next."""
FINE = 0.008
"""Seconds from one level to the next."""
VOICED = 0.5
"""Confidence from which a frame has a pitch, as its makers calibrated it."""

_STEP = 128
_WINDOW = 512
_BANDS = (0, 80, 300, 600, 1000, 1600, 2400, 3400, 5000, 7600)
_HIGH = slice(4, 8)
"""Bands from 1 to 5 kHz."""
_FLOOR = 1e-9
_SHRILL = 1500.0
"""Hertz above which a line is heard at half its speed."""
_FEW = 8
"""Frames with a pitch below which the line may lie too high to be heard."""
_LOUD = 0.32
"""Seconds of the loudest frames, of which the quietest is called loud."""
_COMPASS = 9
"""Semitones around the middle of the line that the second hearing keeps to, beyond the
line's own lowest and highest tenth."""


class SungContour(NamedTuple):
    """A recording as the ear hears it.

    Attributes:
        pitch: Semitones, 69 for 440 Hz, one a frame of 16 ms.
        voiced: From 0 to 1, how surely that frame has a pitch.
        level: Decibels of all that sounds, one a frame of 8 ms.
        bands: Decibels of nine bands, one row a frame of 8 ms.
    """

    pitch: Floats
    voiced: Floats
    level: Floats
    bands: Floats

    @property
    def loud(self) -> float:
        """Decibels of the loud parts, however short they are; no slam of a door."""
        frames = min(round(_LOUD / FINE), len(self.level) // 20 + 1)
        return float(np.sort(self.level)[-frames])

    @property
    def high(self) -> Floats:
        """Decibels between 1 and 5 kHz, one a frame of 8 ms."""
        power = 10 ** (self.bands[:, _HIGH] / 10)
        loud: Floats = 10 * np.log10(power.sum(axis=1))
        return loud


def hear_contour(sound: Floats) -> SungContour:
    """Return pitch and levels of a sound.

    Args:
        sound: One channel, 16,000 frames a second, from -1 to 1.

    Raises:
        LibraryError: If swift-f0 is not installed.
    """
    bands = _bands(sound)
    level = 10 * np.log10(np.sum(10 ** (bands / 10), axis=1))
    pitch, voiced = _pitch(sound)
    return SungContour(pitch, voiced, level, bands)


def _bands(sound: Floats) -> Floats:
    """Return decibels of each band, one row for each 8 milliseconds."""
    padded = np.pad(sound, (_WINDOW // 2, _WINDOW))
    count = len(sound) // _STEP + 1
    hertz = np.fft.rfftfreq(_WINDOW, 1 / RATE)
    edges = np.searchsorted(hertz, _BANDS)
    shape = np.hanning(_WINDOW)
    rows = np.empty((count, len(_BANDS) - 1))
    # By blocks, so that ten minutes of singing need no more memory than one.
    for begin in range(0, count, 4096):
        starts = np.arange(begin, min(begin + 4096, count)) * _STEP
        frames = padded[starts[:, None] + np.arange(_WINDOW)] * shape
        power = np.abs(np.fft.rfft(frames, axis=1)) ** 2 / _WINDOW**2
        sums = np.add.reduceat(power, edges[:-1], axis=1)
        sums[:, -1] = power[:, edges[-2] : edges[-1]].sum(axis=1)
        rows[begin : begin + len(starts)] = 10 * np.log10(sums + _FLOOR)
    return rows


def _pitch(sound: Floats) -> tuple[Floats, Floats]:
    try:
        from swift_f0 import SwiftF0  # noqa: PLC0415 (loaded for recordings alone)
    except ImportError as error:
        raise LibraryError("Listening to a recording needs", "swift-f0") from error
    # One thread that does not spin: the same sums in the same order, on every machine.
    ear = SwiftF0(threads=1, spin=False)
    first = ear.detect(sound, RATE)
    heard = np.sort(first.pitch_hz[first.confidence >= VOICED])
    shrill = len(heard) >= _FEW and heard[len(heard) // 2] > _SHRILL
    factor = 1
    if shrill or len(heard) < _FEW:
        # Twice the frames, told as the same rate, are an octave lower to the network.
        factor, sound = 2, _doubled(sound)
        first = ear.detect(sound, RATE)
        heard = np.sort(first.pitch_hz[first.confidence >= VOICED])
    pitch, voiced = first.pitch_hz, first.confidence
    if len(heard) >= _FEW:
        low, high = heard[len(heard) // 10], heard[-1 - len(heard) // 10]
        wide = 2 ** (_COMPASS / 12)
        again = ear.detect(sound, RATE, low / wide, high * wide)
        # Outside its compass the network trusts nothing; but there it had slipped, and
        # the pitch inside is the one that was meant.
        pitch, voiced = again.pitch_hz, np.maximum(again.confidence, voiced)
    return _semitones(factor * pitch[::factor]), voiced[::factor]


def _doubled(sound: Floats) -> Floats:
    """Return a sound with twice as many frames, its spectrum unchanged."""
    spectrum = np.fft.rfft(sound)
    return 2 * np.fft.irfft(spectrum, 2 * len(sound))


def _semitones(hertz: Floats) -> Floats:
    heard: Floats = 69 + 12 * np.log2(np.maximum(hertz, 1.0) / 440)
    return heard
