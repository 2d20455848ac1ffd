"""Cheapest paths through layers of states; knows no music.

Method: R. Bellman, "Dynamic Programming" (1957); the k best paths as in D. Eppstein's
survey of k shortest paths, here by keeping the k best ways into every state.

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
Moves = Callable[[int], NDArray[np.int32]]


class Paths(NamedTuple):
    """The cheapest path and what every detour costs.

    Attributes:
        states: State of each layer on the cheapest path.
        cost: Its total.
        detour: Shape (layers, states): cost of the cheapest whole path through a state.
    """

    states: tuple[int, ...]
    cost: int
    detour: Costs


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
    for u in range(1, layers):
        ways = reach[u - 1][:, None] + moves(u)
        best = ways.argmin(axis=0)
        came[u] = best
        reach[u] = ways[best, every] + here[u]
    states = [int(reach[-1].argmin())]
    for u in range(layers - 1, 0, -1):
        states.append(int(came[u, states[-1]]))
    detour = reach + _ahead(here, moves)
    return Paths(tuple(reversed(states)), int(reach[-1].min()), detour)


def _ahead(here: Costs, moves: Moves) -> Costs:
    """Return the cheapest way from each state to the end, the state left out."""
    layers, width = here.shape
    ahead = np.zeros((layers, width), np.int64)
    for u in range(layers - 1, 0, -1):
        ahead[u - 1] = (moves(u) + (here[u] + ahead[u])).min(axis=1)
    return ahead


def best_paths(
    here: Costs, moves: Moves, count: int
) -> list[tuple[int, tuple[int, ...]]]:
    """Return the `count` cheapest paths, cheapest first, each with its cost.

    Args:
        here: Shape (layers, states).
        moves: Costs into a layer.
        count: How many are wanted, at least 1.

    Returns:
        Pairs of cost and states; fewer when there are fewer paths.
    """
    layers, width = here.shape
    reach = here[0][:, None]
    trail: list[NDArray[np.int64]] = []
    for u in range(1, layers):
        kept = reach.shape[1]
        ways = (reach[:, :, None] + moves(u)[:, None, :]).reshape(width * kept, width)
        order = np.argsort(ways, axis=0, kind="stable")[:count]
        reach = np.take_along_axis(ways, order, axis=0).T + here[u][:, None]
        trail.append(order.T)
    ends = np.argsort(reach, axis=None, kind="stable")[:count]
    return [
        (int(reach.flat[end]), _trace(int(end), reach.shape[1], trail)) for end in ends
    ]


def _trace(end: int, kept: int, trail: list[NDArray[np.int64]]) -> tuple[int, ...]:
    state, rank = divmod(end, kept)
    states = [state]
    for layer in range(len(trail) - 1, -1, -1):
        before = trail[layer - 1].shape[1] if layer else 1
        state, rank = divmod(int(trail[layer][state, rank]), before)
        states.append(state)
    return tuple(reversed(states))
