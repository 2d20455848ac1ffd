"""What sevenths, inversions and closes cost more, or less, than plain triads."""

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.board import Board
from harmonise.choice.fitted.slots import View
from harmonise.choice.grid import Grid, Ints
from harmonise.choice.palette import Offer
from harmonise.choice.progressions import RETREATS
from harmonise.choice.weights import Weights
from harmonise.theory.key import Mode


def uses(board: Board) -> Ints:
    """Return, shape (stretches, C), what the mere use of each chord costs."""
    table = np.zeros(board.real.shape, np.int64)
    for at, row in enumerate(board.offers):
        table[at, : len(row)] = [offer.cost for offer in row]
    return table


def sevenths(grid: Grid, board: Board, weights: Weights) -> Ints:
    """Return, shape (slots, C), the gain of a seventh that the tune itself sounds."""
    seventh = np.full(board.real.shape, -1)
    for at, row in enumerate(board.offers):
        seventh[at, : len(row)] = [_seventh_of(offer) for offer in row]
    if (seventh < 0).all():
        return np.zeros((grid.slots, board.real.shape[1]), np.int64)
    sounds = np.zeros((grid.slots, 12), np.bool_)
    heard = grid.midi >= 0
    sounds[grid.slot[heard], grid.midi[heard] % 12] = True
    own = seventh[board.stretch]
    there = np.take_along_axis(sounds, np.maximum(own, 0), axis=1) & (own >= 0)
    return np.where(there, weights.seventh, 0)


def _seventh_of(offer: Offer) -> int:
    """Return the pitch class of a chord's seventh; -1 for a triad."""
    classes = offer.chord.pitch_classes
    return classes[3] if len(classes) > 3 else -1


def bound_steps(
    board: Board, weights: Weights, *, every_beat: bool
) -> NDArray[np.int32]:
    """Return, shape (stretches, C, C), what sevenths, figures and H12 ask for."""
    weights = weights if every_beat else weights._replace(retreat=0)
    table = np.zeros((*board.real.shape, board.real.shape[1]), np.int32)
    for at, row in enumerate(board.offers):
        for before, first in enumerate(row):
            for after, second in enumerate(row):
                if before != after:
                    table[at, before, after] = _bound_step(first, second, weights)
    return table


def _bound_step(before: Offer, after: Offer, weights: Weights) -> int:
    """Charge chords that are bound to one successor: V7, V/x and the cadential 6/4."""
    if (before.family, after.family) in RETREATS:
        return weights.retreat + (weights.unresolved if before.numeral == "V7" else 0)
    if before.numeral in ("I6/4", "i6/4"):
        return 0 if after.family == "V" else 4 * weights.unresolved
    if before.family == after.family:
        loses = len(before.chord.pitch_classes) > len(after.chord.pitch_classes)
        return (3 if loses else 1) * weights.refigured
    if before.numeral == "V7":
        goes_on = 0 if after.family in ("vi", "VI") else weights.unresolved
        return weights.resolved if after.family in ("I", "i") else goes_on
    if before.family.startswith("V/"):
        target = before.family.partition("/")[2]
        return 0 if after.family == target else weights.unresolved
    return 0


def cadential(
    grid: Grid, board: Board, seen: View, weights: Weights
) -> NDArray[np.int32]:
    """Return, shape (slots, C, C), the gain of a 6/4 that leads to V at a close.

    The 6/4 stands on a stronger beat than its V, in the last two bars of a section
    (common practice).
    """
    first = np.zeros(board.real.shape, np.bool_)
    second = np.zeros(board.real.shape, np.bool_)
    for at, row in enumerate(board.offers):
        first[at, : len(row)] = [o.numeral in ("I6/4", "i6/4") for o in row]
        second[at, : len(row)] = [o.numeral in ("V", "V7") for o in row]
    gain = np.zeros((grid.slots, *2 * board.real.shape[1:]), np.int32)
    if not first.any():
        return gain
    falls = np.append(False, np.diff(grid.slot_weight) < 0)
    closes = seen.sight.frame.left[seen.first] <= 1
    slots = np.flatnonzero(falls & closes)
    before, here = board.stretch[slots - 1], board.stretch[slots]
    both = first[before][:, :, None] & second[here][:, None, :]
    gain[slots] = weights.cadential * both
    return gain


def plagal(grid: Grid, board: Board, seen: View, weights: Weights) -> NDArray[np.int32]:
    """Return, shape (slots, C, C), the cost of IV to I in the last two bars (H10).

    Major and minor keys only: in modes a plagal close is as good as any other.
    """
    gain = np.zeros((grid.slots, *2 * board.real.shape[1:]), np.int32)
    bar = seen.sight.frame.bar[seen.first]
    for slot in np.flatnonzero(bar >= bar[-1] - 1).tolist():
        stretch = int(board.stretch[slot])
        if board.keys[stretch].mode not in (Mode.MAJOR, Mode.MINOR):
            continue
        families = [offer.family for offer in board.offers[stretch]]
        fourth = [at for at, name in enumerate(families) if name in ("IV", "iv")]
        first = [at for at, name in enumerate(families) if name in ("I", "i")]
        gain[np.ix_([slot], fourth, first)] = weights.plagal
    return gain
