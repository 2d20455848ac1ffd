"""What chords cost before any voicing is looked at.

All costs are whole thousandths, added up along a path. Which chord suits the tune and
which follows which is told by a table fitted to human arrangers' chords (`fitted/`);
beside it stand the rules that are never broken (`lawful`) and what that table does not
know: sevenths and figures (`figures`), and how the hands move (`leading`).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.board import Board, member_of_parts
from harmonise.choice.figures import bound_steps, cadential, plagal, sevenths, uses
from harmonise.choice.fitted.costing import Columns, columns_of, price
from harmonise.choice.fitted.slots import View, view
from harmonise.choice.fitted.table import FOLK, HYMN, Table, read_table
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.lawful import accents, lawful
from harmonise.choice.weights import Weights
from harmonise.theory.chord import Quality
from harmonise.theory.tune import Tune

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
    table: Table
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
