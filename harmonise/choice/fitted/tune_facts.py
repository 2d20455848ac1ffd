"""Facts of the tune that do not depend on the chord: degrees heard, and the place."""

import numpy as np

from harmonise.choice.fitted.heard import Sight, closing_degrees
from harmonise.choice.fitted.words import (
    BAR_START,
    BARS_LEFT,
    DEGREES,
    HALF_BAR,
    HALVES,
    METRES,
    PLACES,
    Floats,
    Frame,
    Slots,
    one_hot,
    shift,
)

PAIRS = tuple((a, b) for a in range(12) for b in range(a + 1, 12))
DEGREE_FACTS = (
    "share of slot",
    "share of bar",
    "first note",
    "first note, bar line",
    "first note, half-bar",
    "heard in slot",
    "middle note, first slot",
    "middle note, later slot",
    "last note",
    "longest note",
    "share of slot before",
    "last note before",
    "share two slots before",
    "share of bar before",
    "share of next slot",
    "first note of next slot",
    "share of slot after next",
    "share of next bar",
    "first note of next bar",
    "share of bar after next",
    "last note of section, in its last bar",
    "share of slot, last bar of section",
    "share of slot, last bar but one",
    "share of bar, every fourth bar",
    "last note of tune",
)
PLACE_FACTS = (
    *(f"{bar} of section, {half}" for bar in BARS_LEFT for half in HALVES),
    *(f"bar {n + 1} of 8, {half}" for n in range(8) for half in HALVES),
    *(f"bar {n + 1} of 4, {half}" for n in range(4) for half in HALVES),
    *(f"{n} slots before the last of tune" for n in range(6)),
    *(f"slot {n + 1} of tune" for n in range(4)),
    *(f"{n} different notes in slot" for n in range(1, 5)),
    *METRES,
    "minor key",
    "always",
    *PLACES,
)
X_BLOCKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    *((name, DEGREES) for name in DEGREE_FACTS),
    ("both heard in slot", tuple(f"{DEGREES[a]} and {DEGREES[b]}" for a, b in PAIRS)),
    ("place", PLACE_FACTS),
)
X_NAMES = tuple(
    f"{block}: {column}" for block, columns in X_BLOCKS for column in columns
)


def tune_facts(sight: Sight) -> Floats:
    """Return the facts that do not depend on the chord; columns as `X_NAMES`."""
    present = (sight.heard.share > 0).astype(float)
    left, right = [a for a, _ in PAIRS], [b for _, b in PAIRS]
    return np.concatenate(
        (
            *here_facts(sight, present),
            *near_facts(sight),
            *ending_facts(sight),
            present[:, left] * present[:, right],
            place_facts(sight.slots, sight.frame, present),
        ),
        axis=1,
    )


def here_facts(sight: Sight, present: Floats) -> tuple[Floats, ...]:
    """Return degrees of the slot and its bar: the first ten of `DEGREE_FACTS`."""
    d, place = sight.heard, sight.slots.place
    opening, half = (place == BAR_START)[:, None], (place == HALF_BAR)[:, None]
    return (
        d.share,
        d.bars[sight.frame.bar],
        d.first,
        d.first * opening,
        d.first * half,
        present,
        d.middle * opening,
        d.middle * ~opening,
        d.last,
        d.longest,
    )


def near_facts(sight: Sight) -> tuple[Floats, ...]:
    """Return degrees of the slots and bars around: the next ten of `DEGREE_FACTS`."""
    d, bar = sight.heard, sight.frame.bar
    opening = d.first[sight.frame.first]
    return (
        shift(d.share, 1),
        shift(d.last, 1),
        shift(d.share, 2),
        shift(d.bars, 1)[bar],
        shift(d.share, -1),
        shift(d.first, -1),
        shift(d.share, -2),
        shift(d.bars, -1)[bar],
        shift(opening, -1)[bar],
        shift(d.bars, -2)[bar],
    )


def ending_facts(sight: Sight) -> tuple[Floats, ...]:
    """Return degrees near the ends of sections: the last five of `DEGREE_FACTS`."""
    d, frame, pieces, size = (
        sight.heard,
        sight.frame,
        sight.pieces,
        len(sight.slots.start),
    )
    closing = closing_degrees(pieces, frame.part, int(frame.part[-1]) + 1)[frame.part]
    ending = closing_degrees(pieces, np.zeros(size, np.int64), 1)[0]
    last, before = (frame.left == 0)[:, None], (frame.left == 1)[:, None]
    fourth = (frame.since % 4 == 3)[:, None]
    return (
        one_hot(closing, 12) * last,
        d.share * last,
        d.share * before,
        d.bars[frame.bar] * fourth,
        one_hot(np.full(size, ending), 12),
    )


def place_facts(slots: Slots, frame: Frame, present: Floats) -> Floats:
    """Return where each slot stands; columns as `PLACE_FACTS`."""
    size, later = len(slots.start), (slots.place != BAR_START).astype(np.int64)
    index = np.arange(size)
    return np.concatenate(
        (
            one_hot(np.minimum(frame.left, 8) * 2 + later, 18),
            one_hot(frame.since % 8 * 2 + later, 16),
            one_hot(frame.since % 4 * 2 + later, 8),
            one_hot(index[::-1], 6),
            one_hot(index, 4),
            one_hot(present.sum(1).astype(np.int64) - 1, 4),
            one_hot(np.full(size, slots.metre), 3),
            slots.minor[:, None].astype(float),
            np.ones((size, 1)),
            one_hot(slots.place, 3),
        ),
        axis=1,
    )
