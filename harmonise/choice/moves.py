"""The states of a slot and what it costs to go from one to another.

Parallel fifths and octaves are the common-practice test: two voices a fifth or octave
apart in both chords that move in the same direction. Which way the left hand moves
depends on where the key puts its window, so against it fifths and octaves count in
both motions, for less: the same tune gets the same chords in every key.
"""

from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.costs import ChordCosts
from harmonise.choice.grid import Grid, Ints
from harmonise.choice.shapes import HandNotes
from harmonise.choice.weights import Weights

_BASS = 3
_PAIRS = ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3))


INVALID = 1 << 28
"""Cost of a step between states that contradict each other."""
_CHUNK_BYTES = 400_000
"""Moves are worked out in chunks of about this size, which stay in a near cache."""
_MOST_LAYERS = 128
_KEEP_BYTES = 100_000_000
"""Moves are kept for the way back while they fit in so much memory."""
_STRENGTHS = 3
"""Metric weights of the beats on which chords begin: 3, 2 and 1."""


class States(NamedTuple):
    """The states of a layer: entry s of each array belongs to state s.

    Attributes:
        column: Column of the menu.
        strength: Metric weight, 3 to 1, of the beat on which the chord began.
        kind: Kind of right-hand shape.
    """

    column: Ints
    strength: Ints
    kind: Ints

    def shapes(self, kinds: int) -> Ints:
        """Return the number of each shape, counted chord by chord, so many kinds each.

        Args:
            kinds: How many kinds of shape a chord has.
        """
        return self.column * kinds + self.kind


def states_of(grid: Grid, hands: HandNotes) -> States:
    """Return the states of every layer; only strengths that a tune has are counted."""
    _, width, kinds = hands.bass.shape
    strengths = sorted({_STRENGTHS, *grid.slot_weight.tolist()}, reverse=True)
    rows = product(range(width), strengths, range(kinds))
    return States(*map(np.array, zip(*rows, strict=True)))


def costs_of_states(
    grid: Grid, costs: ChordCosts, hands: HandNotes, states: States, weights: Weights
) -> NDArray[np.int64]:
    """Return the cost of each state by itself."""
    # The second kind of every shape is not the plain close triad.
    kinds = np.zeros(hands.bass.shape, np.int64)
    kinds[:, :, 1:] = weights.revoiced
    shape = kinds.reshape(grid.slots, -1)
    shapes = states.shapes(hands.bass.shape[2])
    here: NDArray[np.int64] = costs.here[:, states.column] + shape[:, shapes]
    # The first chord of a tune counts as begun on a strong beat.
    here[0] += np.where(states.strength == _STRENGTHS, 0, INVALID)
    return here


class ChordMoves:
    """The moves between layers, worked out a chunk at a time to bound memory."""

    def __init__(
        self,
        grid: Grid,
        costs: ChordCosts,
        hands: HandNotes,
        states: States,
        weights: Weights,
    ) -> None:
        """Keep what moves depend on; nothing is worked out yet."""
        self._grid, self._costs, self._hands = grid, costs, hands
        self._weights = weights
        _, width, kinds = hands.bass.shape
        shapes = states.shapes(kinds)
        self._by_weight = np.array(
            [_by_weight(states, weights), _afresh(states)], np.int32
        )
        # Where in a flat table of chords, or of shapes, each pair of states looks.
        self._chords = states.column[:, None] * width + states.column
        self._shapes = shapes[:, None] * (width * kinds) + shapes
        layer_bytes = 4 * len(states.column) ** 2
        self._chunk = max(16, min(_MOST_LAYERS, _CHUNK_BYTES // layer_bytes))
        self._kept: dict[int, NDArray[np.int32]] = {}
        self._keeps_all = grid.slots * layer_bytes <= _KEEP_BYTES

    def __call__(self, layer: int) -> NDArray[np.int32]:
        """Return the cost of every move into a layer from the one before."""
        number, at = divmod(layer - 1, self._chunk)
        if number not in self._kept:
            if not self._keeps_all:
                self._kept.clear()
            first = number * self._chunk + 1
            last = min(self._grid.slots, first + self._chunk)
            self._kept[number] = self._work_out(first, last)
        table: NDArray[np.int32] = self._kept[number][at]
        return table

    def _work_out(self, first: int, last: int) -> NDArray[np.int32]:
        size = last - first
        step = self._costs.step[first:last].reshape(size, -1)
        lead = leading_costs(self._hands, self._weights, first, last)
        moves = step[:, self._chords]
        moves += lead.reshape(size, -1)[:, self._shapes]
        fresh = self._costs.fresh[first:last].astype(np.int64)
        moves += self._by_weight[fresh, self._grid.slot_weight[first:last]]
        return moves


def _by_weight(states: States, weights: Weights) -> list[NDArray[np.int64]]:
    """Return, shape (4, S, S), which states may follow one another, and what it costs.

    One table for each metric weight, 0 to 3, of the later slot.
    """
    before, here = states.strength[:, None], states.strength
    new = states.column[:, None] != states.column
    tables = []
    for weight in range(_STRENGTHS + 1):
        # A new chord begins with the weight of its slot. One that stays remembers the
        # beat on which it began, until it meets a stronger one: a syncopation, that is
        # paid for once.
        stays = np.where(before >= weight, before == here, here == weight)
        valid = np.where(new, here == weight, stays)
        cost = np.where(~new & (before < weight), weights.syncopation, 0)
        tables.append(np.where(valid, cost, INVALID))
    return tables


def _afresh(states: States) -> list[NDArray[np.int64]]:
    """Return the same tables for slots that open a section.

    Nothing is remembered over a section's end: whatever stood there, its chord begins
    anew with the weight of this place (common practice).
    """
    before, here = states.strength[:, None], states.strength
    return [
        np.where((before > 0) & (here == weight), 0, INVALID)
        for weight in range(_STRENGTHS + 1)
    ]


def leading_costs(
    hands: HandNotes, weights: Weights, first: int, last: int
) -> NDArray[np.int32]:
    """Return the cost of going from every shape to every shape.

    Args:
        hands: What is played.
        weights: The table of weights.
        first: First slot, at least 1.
        last: Slot after the last.

    Returns:
        Shape (last - first, shapes before, shapes here); shapes count chord by chord,
        all kinds of each.
    """
    before = hands.leave[first - 1 : last - 1].reshape(last - first, -1, 4)
    here = hands.entry[first:last].reshape(last - first, -1, 4)
    old, new = before.transpose(2, 0, 1)[..., None], here.transpose(2, 0, 1)[:, :, None]
    pairs = zip(old, new, strict=True)
    # A voice that is silent on either side does not move.
    moved = [np.where((a >= 0) & (b >= 0), b - a, 0) for a, b in pairs]
    # Only the inner voices pay for their way: tune and bass go where they must.
    cost = weights.motion * (np.abs(moved[1]) + np.abs(moved[2])).astype(np.int32)
    for upper, lower in _PAIRS:
        weight = weights.with_bass if lower == _BASS else weights.parallel
        cost += weight * _parallel(before, here, moved, (upper, lower))
    return cost


def _parallel(
    before: NDArray[np.int16],
    here: NDArray[np.int16],
    moved: list[NDArray[np.int16]],
    pair: tuple[int, int],
) -> NDArray[np.bool_]:
    upper, lower = pair
    old = _perfect(before, upper, lower)[:, :, None]
    new = _perfect(here, upper, lower)[:, None, :]
    if lower == _BASS:
        # Whichever way the left hand turns: it counts that the upper voice moves.
        together = moved[upper] % 12 > 0
    else:
        together = np.sign(moved[upper]) * np.sign(moved[lower]) > 0
    parallel: NDArray[np.bool_] = (old == new) & (old > 0) & together
    return parallel


def _perfect(notes: NDArray[np.int16], upper: int, lower: int) -> NDArray[np.int8]:
    """Return 1 for a fifth, 2 for an octave or unison, 0 for any other interval."""
    both = (notes[..., upper] >= 0) & (notes[..., lower] >= 0)
    interval = (notes[..., upper] - notes[..., lower]) % 12
    return np.where(both, (interval == 7) + 2 * (interval == 0), 0).astype(np.int8)
