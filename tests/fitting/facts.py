"""Every fact of a tune that the cost table weighs, in one place."""

from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.chord_facts import (
    cover_facts,
    edge_facts,
    look_at_steps,
    name_notes,
    note_weights,
    sum_by_slot,
)
from harmonise.choice.fitted.tune_facts import BOTH, PAIR_BLOCKS, pair_codes, tune_facts
from harmonise.choice.fitted.words import MEMBERS, Floats, Ints, Sight, one_hot, twins


class Facts(NamedTuple):
    """Everything that the table weighs.

    Attributes:
        x: Facts of the tune, one row a slot; columns as `X_NAMES`.
        fits: How each chord fits, [fact, slot, chord]; facts as `FIT_NAMES`.
        edge: Facts of the boundary before each slot; columns as `EDGE_NAMES`.
        twin: Slots with the same number are the same place of identical bars.
    """

    x: Floats
    fits: Floats
    edge: Floats
    twin: Ints


def spread_pairs(codes: Ints) -> Floats:
    """Return a column for every pair of every kind, as the fit needs them."""
    size = BOTH * len(PAIR_BLOCKS)
    out = np.zeros((len(codes), size))
    for column in codes.T:
        out += one_hot(column, size)
    return out


def facts(sight: Sight, chords: Ints) -> Facts:
    """Return every fact, for fitting and for reasons.

    Args:
        sight: The tune.
        chords: Indices into `CHORDS`.
    """
    slot, size = sight.pieces.slot, len(sight.slots.start)
    weights = note_weights(sight)
    named = [
        sum_by_slot(flags * weight[:, None], slot, size)
        for flags in name_notes(sight.pieces, look_at_steps(sight), MEMBERS[:, chords])
        for weight in weights
    ]
    fits = np.concatenate((cover_facts(sight, MEMBERS[:, chords]), np.stack(named)))
    x = np.concatenate((tune_facts(sight), spread_pairs(pair_codes(sight))), 1)
    return Facts(x, fits, edge_facts(sight), twins(sight))
