"""A tune made of scale degrees, with its usual chords, for the tests."""

import numpy as np

from fitting.fit_chain import Batch, pack
from fitting.fit_tunes import Example
from harmonise.choice.fitted.words import (
    BAR_START,
    CHORD_NAMES,
    HALF_BAR,
    SIMPLE,
    Notes,
    Sight,
    Slots,
    look,
)

TONIC, SUBDOMINANT, DOMINANT = (CHORD_NAMES.index(name) for name in ("I", "IV", "V"))
# Four crotchets a bar, as semitones above the keynote.
BARS = (
    (0, 4, 7, 4),
    (11, 2, 7, 2),
    (0, 5, 9, 5),
    (0, 4, 7, 4),
    (11, 2, 11, 2),
    (0,) * 4,
)
ROW = (
    *(TONIC, TONIC, DOMINANT, DOMINANT, SUBDOMINANT, SUBDOMINANT),
    *(TONIC, TONIC, DOMINANT, DOMINANT, TONIC, TONIC),
)


def tune(tonic: int = 0, bars: int = 6) -> Sight:
    """Return bars of the above in a major key: two slots a bar, two sections."""
    degrees = np.array(BARS[:bars]).ravel()
    slots = np.arange(2 * bars)
    return look(
        Slots(
            start=slots * 2,
            length=np.full(len(slots), 2),
            place=np.where(slots % 2 == 0, BAR_START, HALF_BAR),
            bar=slots // 2,
            section=(slots >= 6).astype(np.int64),
            tonic=np.full(len(slots), tonic),
            minor=np.zeros(len(slots), bool),
            metre=SIMPLE,
            crotchet=1,
        ),
        Notes(np.arange(len(degrees)), np.ones_like(degrees), degrees + 60 + tonic),
    )


def batch() -> Batch:
    """Return two tunes with chords, the first of them shorter by a bar."""
    tunes = [(tune(bars=bars), np.array(ROW[: 2 * bars])) for bars in (5, 6)]
    return pack([Example(t.slots, t.notes, row, t.slots.bar) for t, row in tunes])
