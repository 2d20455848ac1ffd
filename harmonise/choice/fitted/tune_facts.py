"""Pairs of degrees: which note a slot goes on to, comes from, or holds beside another.

A pair says more than its two notes apart: a fifth that falls to the third is a chord,
a fifth after a sixth may be a passing note. There are 144 pairs of each kind and one at
most in a slot, so that their costs are looked up and not multiplied out.

Facts of the tune that do not depend on the chord: degrees heard, and the place.
"""

import numpy as np

from harmonise.choice.fitted.words import (
    BAR_START,
    BARS_LEFT,
    DEGREES,
    HALF_BAR,
    HALVES,
    METRES,
    PLACES,
    Flags,
    Floats,
    Ints,
    Sight,
    Slots,
    Standing,
    closing_degrees,
    count_degrees,
    extreme_degrees,
    grain,
    one_hot,
    opening_degrees,
    shift,
)

PAIR_BLOCKS = (
    "first then middle note",
    "first then last note",
    "middle then last note",
    "lowest then highest note",
    "last note before, then first note",
    "first note of slot before, then first note",
    "first note, then first note of next slot",
    "first note, then first note of next bar",
)
BOTH = len(DEGREES) ** 2
PAIR_COLUMNS = tuple(f"{a} then {b}" for a in DEGREES for b in DEGREES)


def pair_codes(sight: Sight) -> Ints:
    """Return the number of each pair, [slot, kind]; -1 where there is no pair.

    Numbers of different kinds differ: pair `p` of kind `k` is `144 * k + p`.
    """
    d, frame = sight.heard, sight.frame
    first, middle, last = (degree_of(rows) for rows in (d.first, d.middle, d.last))
    none = [-1]
    before, old, new = np.r_[none, last], np.r_[none, first], np.r_[first[1:], none]
    far = np.r_[first[frame.first[1:]], none][frame.bar]
    pairs = (
        *((first, middle), (first, last), (middle, last), (d.low, d.high)),
        *((before[:-1], first), (old[:-1], first), (first, new), (first, far)),
    )
    left, right = (np.stack([pair[side] for pair in pairs], 1) for side in (0, 1))
    codes = left * len(DEGREES) + right + BOTH * np.arange(len(pairs))
    return np.where((left < 0) | (right < 0), -1, codes)


def degree_of(rows: Floats) -> Ints:
    """Return the degree that each row marks, -1 where it marks none."""
    return np.where(rows.any(1), rows.argmax(1), -1)


def look_up_pairs(codes: Ints, costs: Floats) -> Floats:
    """Return the sum of the costs of each slot's pairs, [slot, chord]."""
    padded = np.concatenate((costs, np.zeros((1, costs.shape[1]))))
    total: Floats = padded[codes].sum(1)
    return total


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
    "share of section",
    "first note of section",
    "last note of section",
    "lowest note of slot",
    "highest note of slot",
    "lowest note of bar",
    "left by leap",
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
    "first section",
    "second section",
    "last section",
    "bar as two bars before",
    "bar as four bars before",
)
TUNE_FACTS = (
    "up to 6 different notes",
    "7 different notes",
    "8 or more different notes",
    "has b7",
    "has 7",
    "2 to 3 notes a slot",
    "range over an eleventh",
    "three or more sections",
)
PLAIN_BLOCKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    *((name, DEGREES) for name in DEGREE_FACTS),
    ("both heard in slot", tuple(f"{DEGREES[a]} and {DEGREES[b]}" for a, b in PAIRS)),
    ("place", PLACE_FACTS),
    ("tune", TUNE_FACTS),
)
# Pairs come last: their costs are looked up.
X_BLOCKS = (*PLAIN_BLOCKS, *((name, PAIR_COLUMNS) for name in PAIR_BLOCKS))
PLAIN = sum(len(columns) for _, columns in PLAIN_BLOCKS)
X_NAMES = tuple(
    f"{block}: {column}" for block, columns in X_BLOCKS for column in columns
)


def tune_facts(sight: Sight) -> Floats:
    """Return the facts that do not depend on the chord; the first of `X_NAMES`."""
    present = (sight.heard.share > 0).astype(float)
    left, right = [a for a, _ in PAIRS], [b for _, b in PAIRS]
    return np.concatenate(
        (
            *here_facts(sight, present),
            *near_facts(sight),
            *ending_facts(sight),
            *wide_facts(sight),
            present[:, left] * present[:, right],
            place_facts(sight.slots, sight.frame, present),
            part_facts(sight.frame, sight.heard.bars),
            whole_facts(sight, present),
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
    """Return degrees near the ends of sections: the next five of `DEGREE_FACTS`."""
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


def wide_facts(sight: Sight) -> tuple[Floats, ...]:
    """Return degrees of sections, and extreme notes: the last seven of the facts."""
    notes, pieces, frame = sight.notes, sight.pieces, sight.frame
    part, size, parts = frame.part, len(frame.part), int(frame.part[-1]) + 1
    opening = opening_degrees(pieces, part, parts)[part]
    closing = closing_degrees(pieces, part, parts)[part]
    extremes = sight.heard.low, sight.heard.high
    bottom = extreme_degrees(notes, pieces, frame.bar, 1)
    shares = section_shares(sight)
    ends = (one_hot(d, 12) for d in (opening, closing, *extremes, bottom))
    return shares, *ends, count_degrees(pieces, left_by_leap(sight), None, size)


def section_shares(sight: Sight) -> Floats:
    """Return the share of each degree in the section of each slot."""
    part, length = sight.frame.part, sight.slots.length
    first = np.flatnonzero(np.r_[True, part[1:] != part[:-1]])
    total = np.add.reduceat(sight.heard.share * length[:, None], first, axis=0)
    return grain(total / np.add.reduceat(length, first)[:, None])[part]


def left_by_leap(sight: Sight) -> Flags:
    """Tell whether the tune leaves the note of each piece by more than a tone."""
    midi = np.r_[sight.notes.midi, -1]
    now, new = midi[sight.pieces.note], midi[sight.pieces.note + 1]
    leaps: Flags = (now >= 0) & (new >= 0) & (np.abs(new - now) > 2)
    return leaps


def part_facts(frame: Standing, bars: Floats) -> Floats:
    """Return the section's number and earlier bars: the last of `PLACE_FACTS`."""
    again = np.zeros((len(bars), 2))
    for column, by in enumerate((2, 4)):
        again[by:, column] = (bars[by:] == bars[:-by]).all(1)
    part = frame.part[:, None] == np.array((0, 1, frame.part[-1]))
    return np.concatenate((part, again[frame.bar]), 1)


def whole_facts(sight: Sight, present: Floats) -> Floats:
    """Return what tells simple tunes from richer ones; columns as `TUNE_FACTS`."""
    midi, size = sight.notes.midi[sight.notes.midi >= 0], len(present)
    has = present.max(0) > 0
    kinds, density = int(has.sum()), len(midi) / size
    flags = (
        *(kinds <= 6, kinds == 7, kinds >= 8, has[10], has[11]),
        *(2 <= density < 3, np.ptp(midi) > 17, sight.frame.part[-1] >= 2),
    )
    return np.repeat(np.array(flags, float)[None], size, 0)


def place_facts(slots: Slots, frame: Standing, present: Floats) -> Floats:
    """Return where each slot stands; the first of `PLACE_FACTS`."""
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
