"""Pairs of degrees: which note a slot goes on to, comes from, or holds beside another.

A pair says more than its two notes apart: a fifth that falls to the third is a chord,
a fifth after a sixth may be a passing note. There are 144 pairs of each kind and one at
most in a slot, so that their costs are looked up and not multiplied out.
"""

import numpy as np

from harmonise.choice.fitted.heard import Sight
from harmonise.choice.fitted.words import DEGREES, Floats, Ints, one_hot

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


def spread_pairs(codes: Ints) -> Floats:
    """Return a column for every pair of every kind, as the fit needs them."""
    size = BOTH * len(PAIR_BLOCKS)
    out = np.zeros((len(codes), size))
    for column in codes.T:
        out += one_hot(column, size)
    return out


def look_up_pairs(codes: Ints, costs: Floats) -> Floats:
    """Return the sum of the costs of each slot's pairs, [slot, chord]."""
    padded = np.concatenate((costs, np.zeros((1, costs.shape[1]))))
    total: Floats = padded[codes].sum(1)
    return total
