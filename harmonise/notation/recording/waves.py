"""Bytes of a sound file as one channel of 16,000 frames a second.

WAV is read here, whole numbers of 8 to 32 bits and floating point (Microsoft and IBM,
"Multimedia Programming Interface and Data Specifications 1.0", 1991). FLAC, OGG, MP3
and AIFF are read by soundfile. The rate is changed in the spectrum, so nothing is
mirrored into what is heard.
"""

import struct
from io import BytesIO
from typing import NamedTuple

import numpy as np

from harmonise.errors import LibraryError, NotationError
from harmonise.notation.recording.contour import RATE, Floats

LONGEST = 600
"""Seconds."""
_WHOLE, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_BROKEN = "Record it again, or save it once more as WAV."
_LEAST = RATE // 2
_TOP = 0.995
"""Part of the loudest frame from which one lies at the top."""
_LOUD = 0.2


class Wave(NamedTuple):
    """A sound.

    Attributes:
        frames: From -1 to 1, 16,000 a second.
        clipped: Share of its frames that were cut off at the top.
    """

    frames: Floats
    clipped: float


def read_sound(data: bytes) -> Wave:
    """Return a sound as one channel.

    Raises:
        NotationError: If it is broken, empty or longer than ten minutes.
        LibraryError: If soundfile, which reads all but WAV, is not installed.
    """
    channels, rate = _wav(data) if data[:4] == b"RIFF" else _by_library(data)
    if not len(channels) or not np.isfinite(channels).all():
        raise NotationError("This recording is empty or broken.", None, _BROKEN)
    if len(channels) > LONGEST * rate:
        what = "This recording is longer than ten minutes."
        raise NotationError(what, None, "Cut one tune out of it.")
    sound = channels.mean(axis=1)
    frames = _at_rate(sound - sound.mean(), rate)
    # A click of a few frames is silence to the ear, which needs some to hear at all.
    frames = np.pad(frames, (0, max(_LEAST - len(frames), 0)))
    return Wave(frames, _clipped(sound))


def _clipped(sound: Floats) -> float:
    """Return the share of frames at the top, if more pile up there than just below.

    In a sound that is whole the frames grow rarer towards its loudest one, but for a
    sine, of which a fifth lies in that tenth and a sixteenth at the very top.
    """
    level = np.abs(sound)
    top = level.max()
    if top < _LOUD:
        return 0.0
    piled = float((level >= _TOP * top).mean())
    below = float(((level >= 0.9 * top) & (level < 0.99 * top)).mean())
    return piled if piled > below else 0.0


def _wav(data: bytes) -> tuple[Floats, int]:
    """Return channels side by side, and the rate, of a WAV file."""
    at, about, kind = 12, None, 0
    while at + 8 <= len(data):
        name, size = data[at : at + 4], struct.unpack_from("<I", data, at + 4)[0]
        body = data[at + 8 : at + 8 + size]
        if name == b"fmt " and len(body) >= 16:
            about = struct.unpack_from("<HHIIHH", body)
            kind = struct.unpack_from("<H", body, 24)[0] if len(body) > 25 else kind
        elif name == b"data" and about:
            code, channels, rate, _, _, bits = about
            code = kind if code == _EXTENSIBLE else code
            numbers = _numbers(body, code, bits)
            if numbers is not None and channels and 1000 <= rate <= 400_000:
                whole = len(numbers) // channels * channels
                return numbers[:whole].reshape(-1, channels), rate
            break
        at += 8 + size + size % 2
    raise NotationError("This WAV file is broken, or of a rare kind.", None, _BROKEN)


def _numbers(body: bytes, code: int, bits: int) -> Floats | None:
    """Return the frames of a WAV file as numbers from -1 to 1; None if it is none."""
    if code == _FLOAT and bits in (32, 64):
        return np.frombuffer(_even(body, bits // 8), f"<f{bits // 8}").astype(float)
    if code != _WHOLE:
        return None
    if bits == 8:
        return np.frombuffer(body, np.uint8) / 128.0 - 1
    if bits == 24:
        parts = np.frombuffer(_even(body, 3), np.uint8).reshape(-1, 3).astype(np.int32)
        whole = parts[:, 0] << 8 | parts[:, 1] << 16 | parts[:, 2] << 24
        return whole / 2.0**31
    if bits in (16, 32):
        size = bits // 8
        return np.frombuffer(_even(body, size), f"<i{size}") / 2.0 ** (bits - 1)
    return None


def _even(body: bytes, size: int) -> bytes:
    """Return bytes without a part of a number at their end."""
    return body[: len(body) // size * size]


def _by_library(data: bytes) -> tuple[Floats, int]:
    try:
        import soundfile  # noqa: PLC0415 (loaded for such recordings alone)
    except (ImportError, OSError) as error:
        need = "Recordings other than WAV need"
        raise LibraryError(need, "soundfile") from error
    try:
        with soundfile.SoundFile(BytesIO(data)) as file:
            rate = file.samplerate
            most = (LONGEST + 1) * rate
            return file.read(most, dtype="float64", always_2d=True), rate
    except (RuntimeError, TypeError, ValueError) as error:
        raise NotationError("This recording is broken.", None, _BROKEN) from error


def _at_rate(sound: Floats, rate: int) -> Floats:
    """Return a sound at 16,000 frames a second."""
    if rate == RATE:
        return sound
    # Whole seconds, so that both lengths are products of small numbers.
    seconds = -(-len(sound) // rate)
    spectrum = np.fft.rfft(sound, seconds * rate)
    length = seconds * RATE
    kept = spectrum[: length // 2 + 1]
    return np.fft.irfft(kept, length)[: len(sound) * RATE // rate] * (RATE / rate)
