"""Cheapest paths through layers of states; knows no music.

Method: R. Bellman, "Dynamic Programming" (1957).

Letters: `here[u, s]` is the cost of state s in layer u; `moves(u)[r, s]` the cost of
going from state r of layer u - 1 to state s of layer u. All costs are whole numbers, so
sums are exact and the same on every machine. Ties: of two equally cheap ways the one
with the lower state number wins, looked at from the last layer backwards.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Costs = NDArray[np.int64]
Flags = NDArray[np.bool_]
Moves = Callable[[int], NDArray[np.int32]]


class Paths(NamedTuple):
    """The cheapest path and what every detour costs.

    Attributes:
        states: State of each layer on the cheapest path.
        cost: Its total.
        detour: Shape (layers, states): cost of the cheapest whole path through a state.
        ahead: Shape (layers, states): cost of the cheapest way from a state to the end,
            the state left out.
    """

    states: tuple[int, ...]
    cost: int
    detour: Costs
    ahead: Costs

    def joined(self, kept: Flags, here: Costs, moves: Moves, alike: Flags) -> "Paths":
        """Return the same where some layers count to the one before them.

        Args:
            kept: Whether each layer stays one of its own; the first one does.
            here: Cost of each state, as the paths were found.
            moves: Moves, likewise.
            alike: Shape (states, states): which states may follow one another inside
                what is one layer now. A detour through one of them is through all.
        """
        first = np.flatnonzero(kept)
        last = np.append(first[1:], len(here)) - 1
        detour = self.detour[first]
        for row in np.flatnonzero(last > first).tolist():
            way = self.detour[first[row]] - self.ahead[first[row]]
            for layer in range(first[row] + 1, last[row] + 1):
                steps = np.where(alike, moves(layer).astype(np.int64), _APART)
                way = (way[:, None] + steps).min(axis=0) + here[layer]
            detour[row] = way + self.ahead[last[row]]
        states = tuple(self.states[layer] for layer in last)
        return Paths(states, self.cost, detour, self.ahead[last])


_APART = 1 << 40
"""Cost of a step that would part what is one layer."""


def cheapest_path(here: Costs, moves: Moves) -> Paths:
    """Return the cheapest path through all layers and the price of every detour.

    Args:
        here: Shape (layers, states), at least one layer.
        moves: Costs into a layer, asked for layers 1 onwards, up and then down again.

    Returns:
        The path, its cost and the cost of the best path through each state.
    """
    layers, width = here.shape
    reach = np.empty((layers, width), np.int64)
    came = np.zeros((layers, width), np.int64)
    reach[0] = here[0]
    every = np.arange(width)
    # Forwards: the cheapest way into each state, and the state that it came from.
    for u in range(1, layers):
        ways = reach[u - 1][:, None] + moves(u)
        best = ways.argmin(axis=0)
        came[u] = best
        reach[u] = ways[best, every] + here[u]
    # Backwards along the notes of where each way came from.
    states = [int(reach[-1].argmin())]
    for u in range(layers - 1, 0, -1):
        states.append(int(came[u, states[-1]]))
    ahead = _ahead(here, moves)
    cost = int(reach[-1].min())
    return Paths(tuple(reversed(states)), cost, reach + ahead, ahead)


def _ahead(here: Costs, moves: Moves) -> Costs:
    """Return the cheapest way from each state to the end, the state left out."""
    layers, width = here.shape
    ahead = np.zeros((layers, width), np.int64)
    for u in range(layers - 1, 0, -1):
        ahead[u - 1] = (moves(u) + (here[u] + ahead[u])).min(axis=1)
    return ahead
