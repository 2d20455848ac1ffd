"""An arrangement as a recording, played by a few recorded notes of a piano.

The nearest recorded note is played faster or slower until it has the wanted pitch in
equal temperament, A4 = 440 Hz (ISO 16): its first partial is at most 3 cents out from
A1 to C7. Between its frames the curve of Catmull and Rom
is drawn. When a key is let go the note fades within `RELEASE` seconds, as under a
damper.

The notes are mixed block by block, so that the frames written are all that grows with
the length of the piece. Every piece is mixed with the same gain; one whose loudest
place would go over the top is turned down as a whole, so that nothing is ever clipped
and no limiter is heard to work. The file is 16-bit PCM WAV, one channel, 22,050 frames
a second; the same arrangement gives the same bytes.
"""

import json
import os
import struct
import wave
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import cache, lru_cache
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from harmonise.errors import OutputError
from harmonise.notation.signed import UNSIGNED, sign_in_place
from harmonise.notation.sound.performance import (
    AS_WRITTEN,
    HIGH_CLICK,
    LOW_CLICK,
    Performance,
    Playing,
    Speed,
    Struck,
    perform,
    rung,
)
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.metre import TimeSignature

FOLDER = Path(__file__).parent / "piano"


class Sample(NamedTuple):
    """One recorded note: a mono WAV file of 16 bits at 22,050 Hz.

    Attributes:
        path: Where the file is.
        midi: Note number.
        cents: How much sharper than equal temperament (A4 = 440 Hz) its first partial
            is; below A1 the recording has hardly any, and its higher ones count.
        loop: Number of the frame from which its last part goes round to the end.
        decay: How much that part is to fall, in decibels a second.
    """

    path: Path
    midi: int
    cents: float
    loop: int
    decay: float


@cache
def samples() -> tuple[Sample, ...]:
    """Return the samples, lowest first.

    >>> [sample.midi for sample in samples()]
    [26, 34, 42, 50, 58, 66, 74, 78, 84, 94]
    """
    rows = json.loads((FOLDER / "samples.json").read_text("utf-8"))
    return tuple(
        Sample(FOLDER / row["file"], *(row[name] for name in Sample._fields[1:]))
        for row in rows
    )


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
    sample = min(samples(), key=lambda note: abs(note.midi - midi))
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


HOURS = 3
"""Longest recording."""

_GAIN = 0.8
_TOP = 0.98
"""Highest that a frame may be, of 1."""
_BLOCK = 10 * RATE


class _Strike(NamedTuple):
    """A note in frames."""

    start: int
    end: int
    midi: int
    gain: float
    clicks: bool


def format_wav(arrangement: Arrangement, playing: Playing = AS_WRITTEN) -> bytes:
    """Return an arrangement as a WAV file.

    Args:
        arrangement: The arrangement.
        playing: Tempo, speed, count-in, hands, bars.

    Raises:
        OutputError: If there are no such bars, tempo or speed, or the recording would
            be too long.
    """
    strikes, end = _strikes(perform(arrangement, playing))
    if end > HOURS * 3600 * RATE:
        raise OutputError(
            f"This recording would last longer than {HOURS} hours.",
            remedy="Choose a faster speed, fewer times or fewer bars.",
        )
    content, top = _recorded(strikes, end, _GAIN)
    if top > _TOP:
        content, _ = _recorded(strikes, end, _GAIN * _TOP / top)
    return content


def format_clicks(tempo: Fraction, time: TimeSignature, bars: int) -> bytes:
    """Return a click track as a WAV file: a bar to count in, then some bars.

    Args:
        tempo: Counted beats a minute.
        time: Time signature; the first beat of each bar sounds high.
        bars: Bars after the first.

    Raises:
        OutputError: If the track would be too long.
    """
    seconds = 60 / (tempo * time.beat)
    strikes = []
    for bar in range(bars + 1):
        for beat in time.beat_starts:
            at = round((bar * time.bar_length + beat) * seconds * RATE)
            midi = LOW_CLICK if beat else HIGH_CLICK
            strikes.append(_Strike(at, at + RATE // 10, midi, 0.7, clicks=True))
    end = round((bars + 1) * time.bar_length * seconds * RATE)
    if end > HOURS * 3600 * RATE:
        raise OutputError(
            f"This click track would last longer than {HOURS} hours.",
            remedy="Choose fewer bars.",
        )
    return _recorded(strikes, end, _GAIN)[0]


def mixed(performance: Performance) -> Sound:
    """Return a short performance as sound, to be joined with others."""
    strikes, end = _strikes(performance)
    return np.concatenate([block.copy() for block in _blocks(strikes, end)])


def format_sounds(sounds: Sequence[Sound]) -> bytes:
    """Return sounds one after the other as a WAV file.

    Raises:
        OutputError: If the recording would be too long.
    """
    if sum(map(len, sounds)) > HOURS * 3600 * RATE:
        raise OutputError(
            f"This recording would last longer than {HOURS} hours.",
            remedy="Choose a faster speed, fewer times or fewer bars.",
        )
    top = max(float(np.abs(sound).max(initial=0)) for sound in sounds)
    return _packed(iter(sounds), sum(map(len, sounds)), min(_GAIN, _TOP / (top or 1)))[
        0
    ]


def _strikes(performance: Performance) -> tuple[list[_Strike], int]:
    """Return the notes in frames, in order, and how many frames there are in all."""
    clock = _Clock(performance.speeds)
    rows: list[Struck] = [*performance.clicks, *performance.notes]
    lengths = [click.length for click in performance.clicks] + rung(performance)
    strikes = [
        _Strike(
            clock.frame(row.at),
            clock.frame(row.at + length),
            row.midi,
            loudness(row.velocity),
            row.voice is None,
        )
        for row, length in zip(rows, lengths, strict=True)
    ]
    end = max((strike.end for strike in strikes), default=0)
    return sorted(strikes), end + round(RELEASE * RATE)


class _Clock:
    """Frames by time in crotchets."""

    def __init__(self, speeds: Sequence[Speed]) -> None:
        self._speeds = speeds
        self._seconds = [Fraction(0)]
        for before, after in pairwise(speeds):
            lasts = (after.at - before.at) * 60 / before.per_minute
            self._seconds.append(self._seconds[-1] + lasts)

    def frame(self, at: Fraction) -> int:
        """Return the frame at a time, to the nearest."""
        number = bisect_right(self._speeds, at, key=lambda speed: speed.at) - 1
        speed = self._speeds[number]
        seconds = self._seconds[number] + (at - speed.at) * 60 / speed.per_minute
        return round(seconds * RATE)


def _recorded(strikes: Sequence[_Strike], end: int, gain: float) -> tuple[bytes, float]:
    """Return a WAV file, and its highest frame, which may be over the top."""
    return _packed(_blocks(strikes, end), end, gain)


def _packed(blocks: Iterator[Sound], end: int, gain: float) -> tuple[bytes, float]:
    """Return blocks of sound as a WAV file, and its highest frame."""
    packed = BytesIO()
    top = 0.0
    with wave.open(packed, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.setnframes(end)
        for block in blocks:
            frames = block * np.float32(gain)
            top = max(top, float(np.abs(frames).max(initial=0)))
            whole = np.rint(np.clip(frames, -1, 1) * 32767)
            file.writeframesraw(whole.astype("<i2").tobytes())
    _sign(packed)
    return packed.getvalue(), top


def _sign(packed: BytesIO) -> None:
    """Append a chunk to a WAV file that says who wrote it.

    Source: Microsoft and IBM, "Multimedia Programming Interface and Data
    Specifications 1.0", 1991: a LIST chunk of form INFO, in it ISFT, the software.
    """
    text = f"{UNSIGNED}\0".encode()
    text += b"\0" * (len(text) % 2)
    told = b"INFOISFT" + struct.pack("<I", len(UNSIGNED) + 1) + text
    packed.seek(0, os.SEEK_END)
    packed.write(b"LIST" + struct.pack("<I", len(told)) + told)
    with packed.getbuffer() as data:
        data[4:8] = struct.pack("<I", len(data) - 8)
        sign_in_place(data, len(data) - len(text))


def _blocks(strikes: Sequence[_Strike], end: int) -> Iterator[Sound]:
    """Yield the mixed sound, a block at a time, `end` frames in all."""
    mix = np.zeros(_BLOCK + LONGEST, np.float32)
    waiting = iter(strikes)
    strike = next(waiting, None)
    for begin in range(0, end, _BLOCK):
        while strike and strike.start < begin + _BLOCK:
            length = strike.end - strike.start
            midi = strike.midi
            sound = click(midi) if strike.clicks else note(midi, length)
            at = strike.start - begin
            mix[at : at + len(sound)] += sound * np.float32(strike.gain)
            strike = next(waiting, None)
        yield mix[: min(_BLOCK, end - begin)]
        mix[:LONGEST] = mix[_BLOCK:]
        mix[LONGEST:] = 0
