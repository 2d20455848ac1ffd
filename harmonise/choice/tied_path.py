"""The cheapest path on which some layers have to agree; knows no music.

States carry *labels*, and all layers of a *group* must have one label. Left to itself
the chain mostly agrees, and then its cheapest path is the answer. Where it does not,
that path's cost is a bound, and for a group and a label so is the dearest of the
cheapest paths through the label, layer by layer. The search takes what has the lowest
bound, fixes a label for one group that disagrees, and looks again: the first path that
agrees is the cheapest, for no bound is lower.

Method: branch and bound, best bound first; A. H. Land and A. G. Doig, "An Automatic
Method of Solving Discrete Programming Problems" (1960). All bounds are whole numbers,
and of equals the older is taken, so that every machine finds the same path.
"""

from heapq import heappop, heappush
from typing import NamedTuple

import numpy as np

from harmonise.choice.path import Costs, Flags, Moves, Paths, cheapest_path

MOST_PATHS = 40
"""Paths that are tried before one that agrees is taken with its gap."""
_OUT = 1 << 44
"""Cost of a state whose label is ruled out: far beyond every broken hard rule."""
_BEYOND = 1 << 43
"""Costs from here on are those of ruled-out labels."""


class TiedPaths(NamedTuple):
    """A path on which the groups agree.

    Attributes:
        paths: The path; a detour leaves the ties of its own layer aside, and keeps what
            the search fixed elsewhere.
        gap: By how much another such path may be cheaper at most; 0 if none is.
        least: Shape (layers, states): what a path costs at least through a state whose
            label was ruled out in the search; 0 for all others.
    """

    paths: Paths
    gap: int
    least: Costs

    def priced(self, detour: Costs, kept: Flags | slice = slice(None)) -> Costs:
        """Return detours in which ruled-out states have the least that they cost.

        Args:
            detour: Shape (layers, states), as found with those states ruled out.
            kept: The layers that it speaks of, where some count to the one before.
        """
        return np.where(detour >= _BEYOND, self.least[kept], detour)


_Fixed = tuple[tuple[int, int], ...]


def cheapest_tied_path(
    here: Costs, moves: Moves, labels: Costs, groups: Costs, most: int = MOST_PATHS
) -> TiedPaths:
    """Return the cheapest path on which all layers of a group have the same label.

    Args:
        here: Shape (layers, states), at least one layer.
        moves: Costs into a layer, asked for layers 1 onwards, up and then down again.
        labels: Shape (layers, states): label of each state, negative where the layer
            has no such state.
        groups: Shape (layers,): number of the group of each layer.
        most: Paths to try before one that agrees is taken with its gap.
    """
    chain = _Chain(here, moves, labels, groups)
    free = chain.solve(())
    # Each row: bound, age, labels fixed for groups, and the path if it was looked for.
    heap: list[tuple[int, int, _Fixed, Paths | None]] = [(free.cost, 0, (), free)]
    age = 0
    while True:
        bound, born, fixed, paths = heappop(heap)
        if paths is None:
            paths = chain.solve(fixed)
            heappush(heap, (paths.cost, born, fixed, paths))
            continue
        group = chain.dearest_tie(paths)
        if group is None:
            return TiedPaths(paths, 0, chain.least_of_ruled_out(paths, fixed, free))
        if chain.tried >= most:
            fixed = chain.settled(paths)
            paths = chain.solve(fixed)
            least = chain.least_of_ruled_out(paths, fixed, free)
            return TiedPaths(paths, paths.cost - bound, least)
        for label, cost in chain.through(paths, group).items():
            age += 1
            heappush(heap, (max(cost, bound), age, (*fixed, (group, label)), None))


class _Chain:
    """The layers and their groups, and how often a cheapest path was asked for."""

    def __init__(self, here: Costs, moves: Moves, labels: Costs, groups: Costs) -> None:
        self._here, self._moves = here, moves
        self._labels, self._groups = labels, groups
        members: dict[int, list[int]] = {}
        for layer, group in enumerate(groups.tolist()):
            members.setdefault(group, []).append(layer)
        self._members = {g: np.array(m) for g, m in members.items() if len(m) > 1}
        # Each layer is compared with the first one of its group.
        self._first = np.array([members[group][0] for group in groups.tolist()])
        self.tried = 0

    def solve(self, fixed: _Fixed) -> Paths:
        """Return the cheapest path with some labels fixed, all other ties left out."""
        self.tried += 1
        here = self._here.copy() if fixed else self._here
        for group, label in fixed:
            layers = self._members[group]
            here[layers] += np.where(self._labels[layers] == label, 0, _OUT)
        return cheapest_path(here, self._moves)

    def dearest_tie(self, paths: Paths) -> int | None:
        """Return, of the groups that disagree on a path, the one that costs most."""
        chosen = self._labels[np.arange(len(self._labels)), np.array(paths.states)]
        apart = sorted({*self._groups[chosen != chosen[self._first]].tolist()})
        costs = [min(self.through(paths, group).values()) for group in apart]
        return apart[costs.index(max(costs))] if apart else None

    def through(self, paths: Paths, group: int) -> dict[int, int]:
        """Return for each label what a path costs at least with it in a whole group."""
        return {
            label: int(least.max())
            for label, least in self._least(paths, group).items()
        }

    def _least(self, paths: Paths, group: int) -> dict[int, Costs]:
        """Return for each label the cheapest path through it in each layer."""
        layers = self._members[group]
        labels, detour = self._labels[layers], paths.detour[layers]
        return {
            label: np.where(labels == label, detour, 2 * _OUT).min(axis=1)
            for label in sorted({*labels.ravel().tolist()})
            if label >= 0
        }

    def settled(self, paths: Paths) -> _Fixed:
        """Return for every group the label that suits its layers best on the whole."""
        rows = []
        for group in self._members:
            sums = {g: int(c.sum()) for g, c in self._least(paths, group).items()}
            rows.append((group, min(sums, key=sums.__getitem__)))
        return tuple(rows)

    def least_of_ruled_out(self, paths: Paths, fixed: _Fixed, free: Paths) -> Costs:
        """Return what paths through labels that were ruled out cost at least."""
        least = np.zeros_like(self._here)
        for group, label in fixed:
            layers = self._members[group]
            for other, cost in self.through(free, group).items():
                if other != label:
                    out = self._labels[layers] == other
                    least[layers] = np.where(out, max(cost, paths.cost), least[layers])
        return least
