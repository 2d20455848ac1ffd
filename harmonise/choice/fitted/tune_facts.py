"""Facts of the tune that do not depend on the chord: degrees heard, and the place.

Beside single degrees there are pairs: which note a slot goes on to, comes from, or
holds beside another. A pair says more than its two notes apart: a fifth that falls to
the third is a chord, a fifth after a sixth may be a passing note. There are 144 pairs
of each kind and one at most in a slot, so that their costs are looked up and not
multiplied out.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.words import (
    BAR_START,
    BARS_LEFT,
    DEGREES,
    HALF_BAR,
    HALVES,
    METRES,
    PLACES,
    Degrees,
    Flags,
    Floats,
    Ints,
    Sight,
    Standing,
    bars_again,
    count_degrees,
    extreme_degrees,
    grain,
    last_degrees,
    one_hot,
    shift,
)

PAIR_BLOCKS = (
    "first then middle note", "first then last note", "middle then last note",
    "lowest then highest note", "last note before, then first note",
    "first note of slot before, then first note",
    "first note, then first note of next slot",
    "first note, then first note of next bar",
)  # fmt: skip
BOTH = len(DEGREES) ** 2
PAIR_COLUMNS = tuple(f"{a} then {b}" for a in DEGREES for b in DEGREES)


def pair_codes(sight: Sight) -> Ints:
    """Return the number of each pair, [slot, kind]; -1 where there is no pair.

    Numbers of different kinds differ: pair `p` of kind `k` is `144 * k + p`.
    """
    d, frame = sight.heard, sight.frame
    # The same order as `PAIR_BLOCKS`; beyond either end of the tune there is no note.
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


class _SlotsSeen(NamedTuple):
    """A tune made ready for the rows of facts; flags of slots are columns.

    Attributes:
        sight: The tune.
        heard: Its degrees.
        frame: Where each slot stands.
        present: Whether each degree sounds in each slot, as numbers.
        opening: Whether a slot opens a bar.
        half: Whether it begins at a half-bar.
        last: Whether it is in the last bar of its section.
        before: Whether it is in the last bar but one.
        order: The sounding pieces, in time.
    """

    sight: Sight
    heard: Degrees
    frame: Standing
    present: Floats
    opening: Flags
    half: Flags
    last: Flags
    before: Flags
    order: Ints

    def marked(self, group: Ints, order: Ints) -> Floats:
        """Return the degree of each slot's group that comes last in an order."""
        return one_hot(last_degrees(self.sight.pieces, group, order), 12)

    def at_half(self, index: Ints) -> Ints:
        """Return numbers of bars made numbers of their first and their later slots."""
        return index * 2 + ~self.opening[:, 0]


def _seen(sight: Sight) -> _SlotsSeen:
    place, left = sight.slots.place[:, None], sight.frame.left[:, None]
    return _SlotsSeen(
        sight, sight.heard, sight.frame, (sight.heard.share > 0).astype(float),
        place == BAR_START, place == HALF_BAR, left == 0, left == 1,
        np.flatnonzero(sight.pieces.degree >= 0),
    )  # fmt: skip


# The degrees heard, 12 columns a row: the table weighs each of them for each chord. A
# chord is known by its own notes, by what leads to it and what it leads to, and by the
# bars around, for a folk tune says most things twice.
_DEGREE_ROWS: dict[str, Callable[[_SlotsSeen], Floats]] = {
    "share of slot": lambda s: s.heard.share,
    "share of bar": lambda s: s.heard.bars[s.frame.bar],
    "first note": lambda s: s.heard.first,
    "first note, bar line": lambda s: s.heard.first * s.opening,
    "first note, half-bar": lambda s: s.heard.first * s.half,
    "heard in slot": lambda s: s.present,
    "middle note, first slot": lambda s: s.heard.middle * s.opening,
    "middle note, later slot": lambda s: s.heard.middle * ~s.opening,
    "last note": lambda s: s.heard.last,
    "longest note": lambda s: s.heard.longest,
    "share of slot before": lambda s: shift(s.heard.share, 1),
    "last note before": lambda s: shift(s.heard.last, 1),
    "share two slots before": lambda s: shift(s.heard.share, 2),
    "share of bar before": lambda s: shift(s.heard.bars, 1)[s.frame.bar],
    "share of next slot": lambda s: shift(s.heard.share, -1),
    "first note of next slot": lambda s: shift(s.heard.first, -1),
    "share of slot after next": lambda s: shift(s.heard.share, -2),
    "share of next bar": lambda s: shift(s.heard.bars, -1)[s.frame.bar],
    "first note of next bar": lambda s: shift(s.heard.first[s.frame.first], -1)[
        s.frame.bar
    ],
    "share of bar after next": lambda s: shift(s.heard.bars, -2)[s.frame.bar],
    "last note of section, in its last bar": lambda s: (
        s.marked(s.frame.part, s.order) * s.last
    ),
    "share of slot, last bar of section": lambda s: s.heard.share * s.last,
    "share of slot, last bar but one": lambda s: s.heard.share * s.before,
    "share of bar, every fourth bar": lambda s: (
        s.heard.bars[s.frame.bar] * (s.frame.since % 4 == 3)[:, None]
    ),
    "last note of tune": lambda s: s.marked(0 * s.frame.part, s.order),
    "share of section": lambda s: section_shares(s.sight),
    "first note of section": lambda s: s.marked(s.frame.part, s.order[::-1]),
    "last note of section": lambda s: s.marked(s.frame.part, s.order),
    "lowest note of slot": lambda s: one_hot(s.heard.low, 12),
    "highest note of slot": lambda s: one_hot(s.heard.high, 12),
    "lowest note of bar": lambda s: one_hot(
        extreme_degrees(s.sight.notes, s.sight.pieces, s.frame.bar, 1), 12
    ),
    "left by leap": lambda s: count_degrees(
        s.sight.pieces, left_by_leap(s.sight), None, len(s.present)
    ),
}
DEGREE_FACTS = tuple(_DEGREE_ROWS)
# Where a slot stands: most sections have four or eight bars, and close on the tonic.
_PLACE_ROWS: tuple[tuple[tuple[str, ...], Callable[[_SlotsSeen], Floats]], ...] = (
    (
        tuple(f"{bar} of section, {half}" for bar in BARS_LEFT for half in HALVES),
        lambda s: one_hot(s.at_half(np.minimum(s.frame.left, 8)), 18),
    ),
    (
        tuple(f"bar {n + 1} of 8, {half}" for n in range(8) for half in HALVES),
        lambda s: one_hot(s.at_half(s.frame.since % 8), 16),
    ),
    (
        tuple(f"bar {n + 1} of 4, {half}" for n in range(4) for half in HALVES),
        lambda s: one_hot(s.at_half(s.frame.since % 4), 8),
    ),
    (
        tuple(f"{n} slots before the last of tune" for n in range(6)),
        lambda s: one_hot(np.arange(len(s.present))[::-1], 6),
    ),
    (
        tuple(f"slot {n + 1} of tune" for n in range(4)),
        lambda s: one_hot(np.arange(len(s.present)), 4),
    ),
    (
        tuple(f"{n} different notes in slot" for n in range(1, 5)),
        lambda s: one_hot(s.present.sum(1).astype(np.int64) - 1, 4),
    ),
    (METRES, lambda s: one_hot(np.full(len(s.present), s.sight.slots.metre), 3)),
    (("minor key",), lambda s: s.sight.slots.minor[:, None].astype(float)),
    (("always",), lambda s: np.ones((len(s.present), 1))),
    (PLACES, lambda s: one_hot(s.sight.slots.place, 3)),
    (
        ("first section", "second section", "last section"),
        lambda s: s.frame.part[:, None] == np.array((0, 1, s.frame.part[-1])),
    ),
    (
        ("bar as two bars before", "bar as four bars before"),
        lambda s: np.stack(
            [bars_again(s.heard.bars, by)[s.frame.bar] for by in (2, 4)], 1
        ),
    ),
)
PLACE_FACTS = tuple(name for names, _ in _PLACE_ROWS for name in names)
# What tells simple tunes from richer ones: of the whole tune, the same in every slot.
TUNE_FACTS = (
    "up to 6 different notes", "7 different notes", "8 or more different notes",
    "has b7", "has 7", "2 to 3 notes a slot", "range over an eleventh",
    "three or more sections",
)  # fmt: skip
PAIRS = tuple((a, b) for a in range(12) for b in range(a + 1, 12))
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
    seen = _seen(sight)
    left, right = [a for a, _ in PAIRS], [b for _, b in PAIRS]
    both = seen.present[:, left] * seen.present[:, right]
    rows = [fact(seen) for fact in _DEGREE_ROWS.values()]
    places = [fact(seen) for _, fact in _PLACE_ROWS]
    return np.concatenate((*rows, both, *places, _whole(seen)), axis=1)


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


def _whole(seen: _SlotsSeen) -> Floats:
    """Return the facts of the whole tune; columns as `TUNE_FACTS`."""
    notes, size = seen.sight.notes.midi, len(seen.present)
    midi, has = notes[notes >= 0], seen.present.max(0) > 0
    kinds, density = int(has.sum()), len(midi) / size
    flags = (
        *(kinds <= 6, kinds == 7, kinds >= 8, has[10], has[11]),
        *(2 <= density < 3, np.ptp(midi) > 17, seen.frame.part[-1] >= 2),
    )
    return np.repeat(np.array(flags, float)[None], size, 0)
