"""The bundled piano samples: where they are and how they are tuned."""

import json
from functools import cache
from pathlib import Path
from typing import NamedTuple

FOLDER = Path(__file__).parent / "piano"


class Sample(NamedTuple):
    """One recorded note: a mono WAV file of 16 bits at 22,050 Hz.

    Attributes:
        path: Where the file is.
        midi: Note number.
        cents: How much sharper than equal temperament (A4 = 440 Hz) it is.
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
