"""Words as sound, spoken by espeak-ng where that is installed.

It speaks 22,050 frames a second in one channel, as our recordings have; its own header
of an endless stream is passed over. Another release of it may speak otherwise.
"""

import shutil
import subprocess
from functools import lru_cache

import numpy as np

from harmonise.notation.sound.recording import RATE, Sound

PROGRAM = "espeak-ng"
_PACE = 150
"""Words a minute, slow enough to follow with the hands."""
_LOUDEST = 0.5
"""Highest frame of speech, of 1: about as loud as the piano."""
_HEADER = 44
"""Bytes of a plain WAV header (Microsoft and IBM, 1991)."""


@lru_cache(maxsize=256)
def speak(text: str) -> Sound | None:
    """Return words as sound; None where nothing can speak them."""
    program = shutil.which(PROGRAM)
    if program is None:
        return None
    # The words go in by standard input, so that none is taken for an option.
    done = subprocess.run(  # noqa: S603
        [program, "-v", "en-gb", "-s", str(_PACE), "--stdin", "--stdout"],
        input=_readable(text).encode(),
        capture_output=True,
        check=False,
    )
    rate = int.from_bytes(done.stdout[24:28], "little")
    if done.returncode or rate != RATE or len(done.stdout) <= _HEADER:
        return None
    packed = done.stdout[_HEADER:]
    frames = np.frombuffer(packed[: len(packed) // 2 * 2], "<i2").astype(np.float32)
    top = float(np.abs(frames).max(initial=1))
    return frames * np.float32(_LOUDEST / top)


def _readable(text: str) -> str:
    """Return words of which a lone A is the note and no article.

    >>> _readable("keep C, move G to A and E to F.")
    'keep C, move G to Eigh and E to F.'
    """
    words = text.split(" ")
    return " ".join(
        "Eigh" + w[1:] if w[:1] == "A" and not w[1:].isalpha() else w for w in words
    )
