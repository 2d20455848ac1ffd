"""The cost of every path there is, one by one in a table: no method, no cleverness."""

from collections.abc import Sequence

import numpy as np


def every_cost(layers: Sequence[np.ndarray], moves: Sequence[np.ndarray]) -> np.ndarray:
    """Return the cost of every way to take one state of each layer.

    Args:
        layers: Cost of each state of a layer.
        moves: Cost of going from each state of a layer to each of the next.

    Returns:
        A table with an axis for each layer, in whole numbers.
    """
    costs = np.asarray(layers[0], dtype=np.int64)
    for move, layer in zip(moves, layers[1:], strict=True):
        costs = costs[..., None] + move.astype(np.int64) + layer.astype(np.int64)
    return costs
