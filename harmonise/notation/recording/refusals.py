"""What is no tune: silence, noise and drums, speech, and several notes at once."""

import numpy as np

from harmonise.errors import MelodyError
from harmonise.notation.recording.contour import (
    HOP,
    RATE,
    VOICED,
    Floats,
    SungContour,
)

_SILENT = -62.0
"""Decibels below full scale that the loud parts of a recording must reach."""
_LEAST = 0.25
"""Seconds with a pitch that a tune has at least."""
_VOICED_SHARE, _NOISE_SHARE = 0.35, 0.08
"""Share of the sounding frames that have a pitch in any tune, and even in chords."""
_STEADY, _STEADY_SHARE = 0.45, 0.6
"""Semitones within which a fifth of a second stays if it is sung, and the share."""
_ALONE = 0.74
"""Share of the sound between 100 Hz and 5 kHz that one line's partials hold in three
quarters of the frames. Old tunes by eleven sounds have 0.77 at least, two of them at
once 0.72 at most but where a piano fades under the other."""


def assert_tune_heard(sound: Floats, contour: SungContour) -> None:
    """Guard that a recording holds one line of notes.

    Raises:
        MelodyError: If it is silent, noise or drums, speech, or several notes at once.
    """
    if contour.loud < _SILENT:
        what = "This recording is silent."
        remedy = "Look whether the microphone is on, and go nearer to it."
        raise MelodyError(what, None, remedy)
    voiced, share = contour.voiced >= VOICED, voiced_share(contour)
    # Chords confuse the ear, so that it often hears no pitch in them: first comes what
    # is noise for certain, then what is too full, then what has little pitch.
    if share >= _NOISE_SHARE and share_of_line(sound, contour) < _ALONE:
        what = "Several notes sound at once in this recording, as in chords."
        remedy = "Sing or play the tune alone, one note after the other."
        raise MelodyError(what, None, remedy)
    if share < _VOICED_SHARE or voiced.sum() * HOP < _LEAST:
        what = "No pitch is heard in this recording: it sounds like drums or noise."
        raise MelodyError(what, None, "Sing, whistle or play one line of notes.")
    if steadiness(contour) < _STEADY_SHARE:
        what = "The pitch of this recording never rests, as in speech."
        raise MelodyError(what, None, "Sing the tune: hold each note for its time.")


def voiced_share(contour: SungContour) -> float:
    """Return which share of the sounding frames has a pitch."""
    level = contour.level[::2][: len(contour.voiced)]
    loud = level > contour.loud - 25
    return float(np.mean(contour.voiced[: len(level)][loud] >= VOICED))


def steadiness(contour: SungContour) -> float:
    """Return which share of the frames with a pitch lies in steady stretches."""
    size = round(0.2 / HOP)
    pitch, voiced = contour.pitch, contour.voiced >= VOICED
    if len(pitch) <= size:
        return 1.0
    rows = np.lib.stride_tricks.sliding_window_view(pitch, size)
    whole = np.lib.stride_tricks.sliding_window_view(voiced, size).all(axis=1)
    spread = np.percentile(rows, 90, axis=1) - np.percentile(rows, 10, axis=1)
    steady = whole & (spread < 2 * _STEADY)
    covered = np.zeros(len(pitch), bool)
    for start in np.flatnonzero(steady):
        covered[start : start + size] = True
    return float(covered[voiced].mean()) if voiced.any() else 0.0


def share_of_line(sound: Floats, contour: SungContour) -> float:
    """Return which share of the sound the partials of the heard pitch hold."""
    size = 2048
    frames = np.flatnonzero(contour.voiced >= 0.8)
    frames = frames[:: max(len(frames) // 400, 1)]
    hertz = np.fft.rfftfreq(size, 1 / RATE)
    band = (hertz > 100) & (hertz < 5000)
    shares = []
    padded = np.pad(sound, size // 2)
    for frame in frames:
        begin = round(frame * HOP * RATE)
        part = padded[begin : begin + size]
        if len(part) < size:
            continue
        power = np.abs(np.fft.rfft(part * np.hanning(size))) ** 2
        f0 = 440 * 2 ** ((contour.pitch[frame] - 69) / 12)
        number = np.maximum(np.round(hertz / f0), 1)
        near = np.abs(hertz - number * f0) < np.maximum(20.0, 0.03 * number * f0)
        shares.append(power[band & near].sum() / max(power[band].sum(), 1e-12))
    return float(np.percentile(shares, 25)) if shares else 1.0
