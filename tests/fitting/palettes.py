"""Which chords each level may use in each slot, as the fit needs them."""

import numpy as np

from harmonise.choice.fitted.words import CHORD_NAMES, MEMBERS, Flags, Sight

TONICS = np.isin(CHORD_NAMES, ("I", "i"))


def name_palette(level: int, flat: int, sharp: int, *, minor: bool) -> str:
    """Name the chords that the engine offers, by the sevenths that a tune has.

    Args:
        level: 1 or 3.
        flat: Notes a tone below the keynote.
        sharp: Notes a semitone below it.
        minor: Whether the key has a minor third.
    """
    if minor:
        first = "i iv V bVII" if flat else "i iv V"
        more = "bIII bVI bVII iio v IV" if flat else "bIII bVI bVII iio"
    elif flat > sharp:
        first, more = "I IV bVII", "ii v vi V"
    else:
        first, more = "I IV V", "ii vi"
    return first if level == 1 else f"{first} {more}"


def choose_palette(sight: Sight, level: int) -> Flags:
    """Mark the chords that a level allows, [slot, chord]."""
    slots, midi = sight.slots, sight.notes.midi
    allowed = np.zeros((len(slots.start), len(CHORD_NAMES)), bool)
    for minor in (False, True):
        rows = slots.minor == minor
        if rows.any():
            degrees = (midi[midi >= 0] - slots.tonic[rows][-1]) % 12
            flat, sharp = int((degrees == 10).sum()), int((degrees == 11).sum())
            names = name_palette(level, flat, sharp, minor=minor).split()
            allowed[np.ix_(rows, np.isin(CHORD_NAMES, names))] = True
    return allowed


def permitted(sight: Sight, palette: Flags) -> Flags:
    """Mark the chords of a palette that no hard rule shuts out, [slot, chord].

    A note that fills its slot is a chord note, and the tonic comes last if the tune
    ends on 1 or 3; where no chord is left the whole palette is.
    """
    share, midi = sight.heard.share, sight.notes.midi
    full = (share.max(1) == 1)[:, None]
    allowed: Flags = palette & ~(full & ~((share @ MEMBERS) > 0.99))
    if int((midi[midi >= 0][-1] - sight.slots.tonic[-1]) % 12) in (0, 3, 4):
        allowed[-1] &= TONICS
    none = ~allowed.any(1)
    allowed[none] = palette[none]
    return allowed
