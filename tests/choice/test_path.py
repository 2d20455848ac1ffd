"""The cheapest path against trying every path and against networkx."""

from itertools import product

import networkx as nx
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from numpy.typing import NDArray

from harmonise.choice.path import cheapest_path

Layers = tuple[NDArray[np.int64], NDArray[np.int32]]


def layers_of(seed: int, layers: int, width: int, dearest: int) -> Layers:
    random = np.random.default_rng(seed)
    here = random.integers(0, dearest, (layers, width))
    moves = random.integers(0, dearest, (layers, width, width)).astype(np.int32)
    return here, moves


def price(
    here: NDArray[np.int64], moves: NDArray[np.int32], path: tuple[int, ...]
) -> int:
    total = int(here[0, path[0]])
    for u in range(1, len(path)):
        total += int(moves[u, path[u - 1], path[u]]) + int(here[u, path[u]])
    return total


SMALL = (st.integers(0, 2**32 - 1), st.integers(1, 5), st.integers(1, 4))


@given(*SMALL, st.sampled_from([2, 4, 1000]))
@settings(max_examples=examples(1000), deadline=None, derandomize=True)
def test_no_path_of_a_short_tune_is_cheaper(
    seed: int, layers: int, width: int, dearest: int
) -> None:
    here, moves = layers_of(seed, layers, width, dearest)
    every = {
        path: price(here, moves, path) for path in product(range(width), repeat=layers)
    }
    found = cheapest_path(here, lambda u: moves[u])
    assert found.cost == min(every.values()) == every[found.states]
    for u, s in product(range(layers), range(width)):
        through = min(cost for path, cost in every.items() if path[u] == s)
        assert found.detour[u, s] == through


@given(st.integers(0, 2**32 - 1), st.integers(2, 60), st.integers(1, 12))
@settings(max_examples=examples(200), deadline=None, derandomize=True)
def test_a_long_path_costs_what_networkx_finds(
    seed: int, layers: int, width: int
) -> None:
    here, moves = layers_of(seed, layers, width, 500)
    graph = nx.DiGraph()
    for s in range(width):
        graph.add_edge("start", (0, s), weight=int(here[0, s]))
        graph.add_edge((layers - 1, s), "end", weight=0)
    for u, r, s in product(range(1, layers), range(width), range(width)):
        weight = int(moves[u, r, s]) + int(here[u, s])
        graph.add_edge((u - 1, r), (u, s), weight=weight)
    length = nx.dijkstra_path_length(graph, "start", "end")
    assert cheapest_path(here, lambda u: moves[u]).cost == length


def test_of_equal_paths_the_lower_state_wins() -> None:
    here = np.zeros((4, 3), np.int64)
    moves = np.zeros((4, 3, 3), np.int32)
    assert cheapest_path(here, lambda u: moves[u]).states == (0, 0, 0, 0)
