"""Rules between the tune's notes and the chord under them."""

import numpy as np

from harmonise.choice.board import Board
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.weights import Weights
from harmonise.theory.key import Mode


def lawful(grid: Grid, board: Board, member: Flags, *, every_beat: bool) -> Flags:
    """Return where no hard rule breaks, shape (slots, C).

    Args:
        grid: The parts.
        board: What is on offer.
        member: Whether each part is in each chord, shape (parts, C).
        every_beat: Whether each slot's first note must be a chord note.
    """
    fits = _fits(grid, member, every_beat=every_beat)
    found: Flags = fits & ~_false_relation(grid, board)
    return found & ~_bare_leading_note(grid, board)


def _fits(grid: Grid, member: Flags, *, every_beat: bool) -> Flags:
    """Return where no hard rule breaks: a note that fills its slot is in the chord."""
    span = np.diff(grid.slot_start)
    bound = grid.length == span[grid.slot]
    if every_beat:
        bound |= grid.order == 0
    broken = np.zeros((grid.slots, member.shape[1]), np.bool_)
    np.logical_or.at(broken, grid.slot[bound], ~member[bound])
    return ~broken


def accents(grid: Grid, member: Flags, weights: Weights) -> Ints:
    """Return, shape (slots, C), what long non-chord notes on first beats cost."""
    long = (grid.order == 0) & (grid.length >= grid.beat)
    first = grid.slot_weight[grid.slot[long]] == 3
    cost = np.where(first, weights.accented, weights.accented // 2)[:, None]
    found = np.zeros((grid.slots, member.shape[1]), np.int64)
    found[grid.slot[long]] = np.where(member[long], 0, cost)
    return found


def _false_relation(grid: Grid, board: Board) -> Flags:
    """Return where the natural 7th of a minor or modal tune would meet the raised one.

    Common practice: no dominant with a raised third sounds under the natural 7th.
    """
    tonic = np.array([key.tonic.pitch_class for key in board.keys])
    minor = np.array([key.mode is not Mode.MAJOR for key in board.keys])
    own = tonic[board.stretch]
    raised = board.member[np.arange(len(tonic)), :, (tonic + 11) % 12]
    natural = grid.midi % 12 == (own[grid.slot] + 10) % 12
    natural &= (grid.midi >= 0) & minor[board.stretch[grid.slot]]
    meets = np.zeros(grid.slots, np.bool_)
    meets[grid.slot[natural]] = True
    found: Flags = meets[:, None] & raised[board.stretch]
    return found


def _bare_leading_note(grid: Grid, board: Board) -> Flags:
    """Return chords without the raised 7th where it opens and fills half of a slot.

    Minor tunes only; common practice: the leading note belongs to the dominant.
    """
    tonic = np.array([key.tonic.pitch_class for key in board.keys])
    minor = np.array([key.mode.is_minor for key in board.keys])
    own = board.stretch[grid.slot]
    raised = (grid.order == 0) & (grid.midi >= 0) & minor[own]
    raised &= grid.midi % 12 == (tonic[own] + 11) % 12
    raised &= 2 * grid.length >= np.diff(grid.slot_start)[grid.slot]
    bare = np.zeros(grid.slots, np.bool_)
    bare[grid.slot[raised]] = True
    holds: Flags = board.member[np.arange(len(tonic)), :, (tonic + 11) % 12]
    own_holds = holds[board.stretch]
    bare &= own_holds.any(axis=1)
    found: Flags = bare[:, None] & ~own_holds
    return found
