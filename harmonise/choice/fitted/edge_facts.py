"""Facts of the boundary before each slot, where a chord may change."""

import numpy as np

from harmonise.choice.fitted.heard import Sight
from harmonise.choice.fitted.words import (
    BAR_START,
    BARS_LEFT,
    DEGREES,
    METRES,
    PLACES,
    Flags,
    Floats,
    one_hot,
    shift,
)

EDGE_PLACES = (*PLACES, *(f"{p}, {m}" for p in PLACES for m in METRES))
EDGE_BARS = (
    *(f"bar line before bar {n + 1} of 4" for n in range(4)),
    *(f"inside bar {n + 1} of 4" for n in range(4)),
)
_ENDS = (*BARS_LEFT[:4], "4 or more bars before the last")
EDGE_ENDS = (
    *(f"bar line before the {n} of section" for n in _ENDS),
    *(f"inside the {n} of section" for n in _ENDS),
)
EDGE_MISC = (
    "tune note held over",
    "bar repeats the one before",
    "same first note as the slot before",
    "minor key",
    *(
        f"{n}, {p}"
        for n in ("one note in slot", "two notes in slot", "four or more notes in slot")
        for p in ("bar line", "inside the bar")
    ),
)
EDGE_DEGREES = (
    *(f"first note {d}, bar line" for d in DEGREES),
    *(f"first note {d}, inside the bar" for d in DEGREES),
    *(f"after last note {d}" for d in DEGREES),
)
EDGE_SECTION = (
    "opening of section",
    "last bar of section",
    "last bar but one of section",
    *(f"slot {n} from the end of section" for n in range(1, 4)),
    "no note in common with the slot before",
    "tune of few notes, bar line",
    "tune of few notes, inside the bar",
)
EDGE_NAMES = (
    "anywhere",
    *EDGE_PLACES,
    *EDGE_BARS,
    *EDGE_ENDS,
    *EDGE_MISC,
    *EDGE_DEGREES,
    *EDGE_SECTION,
)


def edge_facts(sight: Sight) -> Floats:
    """Return facts of the boundary before each slot; columns as `EDGE_NAMES`."""
    slots, frame, heard = sight.slots, sight.frame, sight.heard
    size = len(slots.start)
    inside = (slots.place != BAR_START).astype(np.int64)
    opening = 1.0 - inside[:, None]
    again = bars_again(heard.bars)[frame.bar][:, None] * opening
    same = (shift(heard.first, 1) * heard.first).sum(1)[:, None]
    place, metre = one_hot(slots.place, 3), one_hot(np.full(size, slots.metre), 3)
    return np.concatenate(
        (
            np.ones((size, 1)),
            place,
            products(place, metre),
            one_hot(frame.since % 4 + 4 * inside, 8),
            one_hot(np.minimum(frame.left, 4) + 5 * inside, 10),
            held_over(sight)[:, None],
            again,
            same,
            slots.minor[:, None],
            products(crowd(sight), np.concatenate((opening, 1.0 - opening), 1)),
            heard.first * opening,
            heard.first * (1.0 - opening),
            shift(heard.last, 1),
            section_edges(sight),
        ),
        axis=1,
    ).astype(float)


def products(left: Floats, right: Floats) -> Floats:
    """Return every product of a column of `left` with one of `right`, row by row."""
    cells = left[:, :, None] * right[:, None, :]
    return cells.reshape(len(left), left.shape[1] * right.shape[1])


def section_edges(sight: Sight) -> Flags:
    """Return where sections open and end, and how; columns as `EDGE_SECTION`.

    A tune of few notes has fewer than two a slot.
    """
    frame, present = sight.frame, sight.heard.share > 0
    opens, bar = np.r_[True, np.diff(frame.part) > 0], sight.slots.place == BAR_START
    starts = np.flatnonzero(opens)
    ends = np.r_[starts[1:], len(bar)]
    back = ends[frame.part] - np.arange(len(bar))
    alien = np.r_[True, ~(present[1:] & present[:-1]).any(1)]
    few = (sight.notes.midi >= 0).sum() < 2 * len(bar)
    return np.stack(
        (
            *(opens & bar & (frame.bar > 0), frame.left == 0, frame.left == 1),
            *(back == n for n in range(1, 4)),
            *(alien, bar & few, ~bar & few),
        ),
        axis=1,
    )


def held_over(sight: Sight) -> Flags:
    """Tell whether a note of the tune is held into each slot."""
    slots, pieces = sight.slots, sight.pieces
    opens = pieces.start == slots.start[pieces.slot]
    begun = sight.notes.onset[pieces.note] < pieces.start
    over = pieces.slot[opens & begun & (pieces.degree >= 0)]
    return np.bincount(over, minlength=len(slots.start)) > 0


def bars_again(bars: Floats) -> Flags:
    """Tell whether each bar has the same shares of degrees as the one before."""
    again = np.zeros(len(bars), bool)
    again[1:] = (bars[1:] == bars[:-1]).all(1)
    return again


def crowd(sight: Sight) -> Floats:
    """Tell whether each slot has one, two, or four or more notes and rests."""
    count = np.bincount(sight.pieces.slot, minlength=len(sight.slots.start))
    return np.stack((count == 1, count == 2, count >= 4), 1).astype(float)
