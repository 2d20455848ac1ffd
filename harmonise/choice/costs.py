"""What chords cost before any voicing is looked at.

All costs are whole thousandths, added up along a path. Which chord suits the tune and
which follows which is told by a table fitted to human arrangers' chords (`fitted/`);
beside it stand the rules that are never broken (`lawful`) and what that table does not
know: sevenths and figures (`figures`), and how the hands move (`leading`).

What sevenths, inversions and closes cost more, or less, than plain triads.

Rules between the tune's notes and the chord under them.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.fitted.costing import Columns, columns_of, price
from harmonise.choice.fitted.table import FOLK, HYMN, CostTable, read_table
from harmonise.choice.fitted.view import View, view
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Board, Offer, member_of_parts
from harmonise.choice.weights import Weights
from harmonise.rules.steps import RETREATS
from harmonise.theory.chord import Quality
from harmonise.theory.key import Mode
from harmonise.theory.tune import Tune


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


NEVER = 1 << 26
"""Cost of a broken hard rule: more than any path of 2,000 bars costs by taste."""


class ChordCosts(NamedTuple):
    """What chords cost before any voicing is looked at. C counts columns of the board.

    Attributes:
        here: Shape (slots, C).
        step: Shape (slots, C, C): from the chord before (rows) to the chord here.
        fits: Shape (slots, C): whether the hard rules allow the chord here.
        accent: Shape (slots, C): the part of `here` that long non-chord notes on
            first beats make.
        table: The fitted table used.
        seen: The tune as the table sees it.
        kinds: Columns of each kind of key.
        kind: Kind of key of each place that the table sees.
        twin: Places with the same number are the same place of identical bars.
    """

    here: NDArray[np.int64]
    step: NDArray[np.int32]
    fits: Flags
    accent: Ints
    table: CostTable
    seen: View
    kinds: list[Columns]
    kind: Ints
    twin: Ints


def chord_costs(
    tune: Tune, grid: Grid, board: Board, weights: Weights, *, every_beat: bool
) -> ChordCosts:
    """Return the costs of every chord and every step between two chords.

    Args:
        tune: The tune.
        grid: Its parts.
        board: What is on offer.
        weights: The weights beside the table.
        every_beat: Whether chords may change on every beat, as in hymns; then each
            slot's first note must be a chord note.
    """
    member = member_of_parts(grid, board)
    fits = lawful(grid, board, member, every_beat=every_beat)
    table = read_table(HYMN if every_beat else FOLK)
    seen = view(tune, grid, board.keys, board.stretch, every_beat=every_beat)
    kinds, kind = _kinds(board, seen)
    priced = price(table, seen, kinds, kind)
    here = priced.here + uses(board)[board.stretch] + sevenths(grid, board, weights)
    accent = accents(grid, member, weights)
    here += accent + np.where(fits, 0, NEVER)
    here[~(board.allowed & board.real[board.stretch])] = 8 * NEVER
    bound = bound_steps(board, weights, every_beat=every_beat)
    step = priced.step + bound[board.stretch]
    step += cadential(grid, board, seen, weights)
    step += plagal(grid, board, seen, weights)
    return ChordCosts(
        here, step, fits, accent, table, seen, kinds, kind, priced.twin
    )  # fmt: skip


_THIRDS = {
    Quality.MAJOR: "M",
    Quality.DOMINANT_SEVENTH: "M",
    Quality.MAJOR_SEVENTH: "M",
    Quality.MAJOR_SIXTH: "M",
    Quality.MINOR: "m",
    Quality.MINOR_SEVENTH: "m",
    Quality.MINOR_SIXTH: "m",
    Quality.DIMINISHED: "d",
    Quality.HALF_DIMINISHED: "d",
    Quality.DIMINISHED_SEVENTH: "d",
}


def _kinds(board: Board, seen: View) -> tuple[list[Columns], Ints]:
    """Return the columns of each kind of key, and the kind of each place.

    Keys whose offers stand at the same degrees are of one kind.
    """
    kinds: dict[bytes, int] = {}
    columns: list[Columns] = []
    number = []
    for at, (key, row) in enumerate(zip(board.keys, board.offers, strict=True)):
        third = [_THIRDS.get(offer.chord.quality, "") for offer in row]
        third += [""] * (board.real.shape[1] - len(row))
        found = columns_of(board.root[at], third, key.tonic.pitch_class)
        name = found.triad.tobytes()
        if name not in kinds:
            kinds[name] = len(columns)
            columns.append(found)
        number.append(kinds[name])
    return columns, np.array(number)[board.stretch[seen.group]]
