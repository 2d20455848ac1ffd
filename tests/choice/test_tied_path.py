"""The cheapest path with ties against trying every path."""

from itertools import product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples

from harmonise.choice.path import cheapest_path
from harmonise.choice.tied_path import cheapest_tied_path


class Chain:
    """A small chain of random costs, labels and groups, in plain lists."""

    def __init__(self, seed: int, layers: int, width: int, dearest: int) -> None:
        """Throw the dice."""
        dice = np.random.default_rng(seed)
        self.here = dice.integers(0, dearest, (layers, width))
        self.moves = dice.integers(0, dearest, (layers, width, width)).astype(np.int32)
        # Two states may have one label, as two shapes of one chord have.
        labels = dice.permutation(width) // (1 + seed % 2)
        self.labels = np.tile(labels, (layers, 1))
        self.groups = dice.integers(0, 1 + layers // 2, layers)

    def cost(self, path: tuple[int, ...]) -> int:
        """Return what a path costs."""
        total = int(self.here[0, path[0]])
        for u in range(1, len(path)):
            total += int(self.moves[u, path[u - 1], path[u]] + self.here[u, path[u]])
        return total

    def agrees(self, path: tuple[int, ...]) -> bool:
        """Whether every group has one label."""
        rows = zip(self.groups.tolist(), path, strict=True)
        pairs = {(group, int(self.labels[0, state])) for group, state in rows}
        return len(pairs) == len({group for group, _ in pairs})

    def every_path(self) -> list[tuple[int, ...]]:
        """Return all paths on which every group has one label."""
        layers, width = self.here.shape
        paths = product(range(width), repeat=layers)
        return [path for path in paths if self.agrees(path)]


CHAINS = st.builds(
    Chain,
    st.integers(0, 2**32 - 1),
    st.integers(1, 6),
    st.integers(1, 4),
    st.sampled_from([2, 30, 1000]),
)


@given(CHAINS, st.sampled_from([40, 3, 1]))
@settings(max_examples=examples(400), deadline=None, derandomize=True)
def test_no_path_that_agrees_is_cheaper_by_more_than_the_gap(
    chain: Chain, most: int
) -> None:
    paths, gap, _ = cheapest_tied_path(
        chain.here, lambda u: chain.moves[u], chain.labels, chain.groups, most
    )
    cheapest = min(map(chain.cost, chain.every_path()))
    assert chain.agrees(paths.states)
    assert chain.cost(paths.states) == paths.cost
    assert paths.cost - gap <= cheapest <= paths.cost
    assert gap == 0 or most < 40


def test_the_search_gives_up_with_a_gap_and_goes_on_without() -> None:
    # What comes next asks for other labels: 0 first and 1 last, at 5 each.
    here = np.array([[0, 5], [5, 0]])
    moves = np.zeros((2, 2, 2), np.int32)
    labels, groups = np.array([[0, 1], [0, 1]]), np.array([0, 0])
    found = cheapest_tied_path(here, lambda u: moves[u], labels, groups, 1)
    assert (found.paths.cost, found.gap) == (5, 5)
    found = cheapest_tied_path(here, lambda u: moves[u], labels, groups)
    assert (found.paths.states, found.paths.cost, found.gap) == ((0, 0), 5, 0)
    # A detour through the other label costs at least as much as the path itself.
    assert found.priced(found.paths.detour).tolist() == [[5, 5], [5, 5]]


@given(CHAINS)
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_no_detour_is_cheaper_than_the_path(chain: Chain) -> None:
    found = cheapest_tied_path(
        chain.here, lambda u: chain.moves[u], chain.labels, chain.groups
    )
    detour = found.priced(found.paths.detour)
    assert detour.min() == found.paths.cost


@given(CHAINS)
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_without_ties_the_path_is_the_cheapest_of_all(chain: Chain) -> None:
    free = np.arange(len(chain.here))
    found = cheapest_tied_path(chain.here, lambda u: chain.moves[u], chain.labels, free)
    plain = cheapest_path(chain.here, lambda u: chain.moves[u])
    assert found.gap == 0
    assert found.paths.states == plain.states
    assert (found.paths.detour == plain.detour).all()
