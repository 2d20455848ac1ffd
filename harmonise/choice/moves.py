"""Voice leading between neighbouring slots: motion, parallels, lighter shapes.

Parallel fifths and octaves are the common-practice test: two voices a fifth or octave
apart in both chords that move in the same direction. Which way the left hand moves
depends on where the key puts its window, so against it fifths and octaves count in
both motions, for less: the same tune gets the same chords in every key.
"""

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.shapes import HandNotes
from harmonise.choice.weights import Weights

_BASS = 3
_PAIRS = ((0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3))


def shape_costs(hands: HandNotes, weights: Weights) -> NDArray[np.int64]:
    """Return, shape (slots, C, 2 kinds), what a shape costs by itself."""
    cost = np.zeros(hands.bass.shape, np.int64)
    cost[:, :, 1] += weights.revoiced
    return cost


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
        two kinds each.
    """
    before = hands.leave[first - 1 : last - 1].reshape(last - first, -1, 4)
    here = hands.entry[first:last].reshape(last - first, -1, 4)
    there = [before[:, :, None, voice] >= 0 for voice in range(4)]
    sound = [there[voice] & (here[:, None, :, voice] >= 0) for voice in range(4)]
    moved = [
        np.where(sound[v], here[:, None, :, v] - before[:, :, None, v], 0)
        for v in range(4)
    ]
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
        together = moved[upper] % 12 > 0
    else:
        together = np.sign(moved[upper]) * np.sign(moved[lower]) > 0
    found: NDArray[np.bool_] = (old == new) & (old > 0) & together
    return found


def _perfect(notes: NDArray[np.int16], upper: int, lower: int) -> NDArray[np.int8]:
    """Return 1 for a fifth, 2 for an octave or unison, 0 for any other interval."""
    both = (notes[..., upper] >= 0) & (notes[..., lower] >= 0)
    interval = (notes[..., upper] - notes[..., lower]) % 12
    return np.where(both, (interval == 7) + 2 * (interval == 0), 0).astype(np.int8)
