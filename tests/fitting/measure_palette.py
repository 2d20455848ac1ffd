"""Which chords each level may use in each slot of a tune."""

import numpy as np

from fitting.features_base import CHORD_NAMES, Flags
from fitting.features_heard import Sight

LEVELS = (1, 3, 4)
WIDE_MAJOR = "I II ii III iii IV iv V v VI vi bVII viio"
WIDE_MINOR = "i I II iio bIII III IV iv V v bVI VI bVII viio"


def name_palette(level: int, counts: dict[int, int], *, minor: bool) -> str:
    """Name the chords of a level in a key.

    Three chords at level 1 (four in a mixed minor), the chords of the key at level 3,
    borrowed ones too at level 4. A tune with flat sevenths is treated as modal.

    Args:
        level: 1, 3 or 4.
        counts: Notes of the tune by semitones above the keynote.
        minor: Whether the key has a minor third.
    """
    if level == 4:
        return WIDE_MINOR if minor else WIDE_MAJOR
    flat, sharp = counts[10], counts[11]
    if level == 1:
        return name_primary(counts) if minor else "I IV V"
    if not minor:
        return "I ii IV V v vi bVII" if flat > sharp else "I ii IV V vi"
    return "i bIII iv v V bVI bVII iio IV" if flat else "i bIII iv V bVI bVII iio"


def name_primary(counts: dict[int, int]) -> str:
    """Name the three or four chords of a minor key, by its sixths and sevenths."""
    if not counts[10]:
        return "i iv V"
    if counts[11]:
        return "i iv V bVII"
    return "i IV bVII" if counts[9] > counts[8] else "i bVI bVII"


def choose_palette(sight: Sight, level: int) -> Flags:
    """Mark the chords that a level allows, [slot, chord]."""
    slots, midi = sight.slots, sight.notes.midi
    allowed = np.zeros((len(slots.start), len(CHORD_NAMES)), bool)
    for minor in (False, True):
        rows = slots.minor == minor
        if rows.any():
            degrees = (midi[midi >= 0] - slots.tonic[rows][-1]) % 12
            counts = {d: int((degrees == d).sum()) for d in range(12)}
            names = name_palette(level, counts, minor=minor).split()
            chords = np.array([CHORD_NAMES.index(name) for name in names])
            allowed[np.ix_(rows, chords)] = True
    return allowed
