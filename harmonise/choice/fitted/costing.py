"""What every chord on offer costs by the fitted table, slot by slot, and why.

The table knows triads by their root above the keynote. A chord with a seventh or other
figures costs what its triad costs. A chord that the table does not know (only a lock
brings one) costs nothing.
"""

from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.fitted.chord_facts import (
    EDGE_NAMES,
    WEIGHTS,
    cover_facts,
    edge_facts,
    look_at_steps,
    name_notes,
    note_weights,
    sum_by_slot,
)
from harmonise.choice.fitted.table import TWINS, CostTable
from harmonise.choice.fitted.tune_facts import (
    PLAIN,
    look_up_pairs,
    pair_codes,
    tune_facts,
)
from harmonise.choice.fitted.view import View
from harmonise.choice.fitted.words import (
    CHORDS,
    MEMBERS,
    SIZE,
    Flags,
    Floats,
    Ints,
    Sight,
    share_with_twins,
    twins,
)

Costs = NDArray[np.int64]


class Columns(NamedTuple):
    """The chords on offer in keys of one kind, one a column.

    Attributes:
        triad: Number of each triad in `CHORDS`; `SIZE` for one that is not there.
        member: Whether a degree is in the triad, [12 degrees, column].
    """

    triad: Ints
    member: Flags


def columns_of(root: Ints, third: list[str], tonic: int) -> Columns:
    """Return the columns of one key.

    Args:
        root: Pitch class of each root.
        third: Quality of each triad: M, m, d, or "" for any other.
        tonic: Pitch class of the keynote.
    """
    known = {(above, quality): k for k, (_, above, quality) in enumerate(CHORDS)}
    names = zip(((root - tonic) % 12).tolist(), third, strict=True)
    index = np.array([known.get(name, SIZE) for name in names])
    return Columns(index, _TRIADS[:, index])


_TRIADS = np.concatenate((MEMBERS, np.zeros((12, 1), np.bool_)), axis=1)


class Priced(NamedTuple):
    """Costs of a tune by the table, in thousandths; U chord slots, C columns.

    Attributes:
        here: Shape (U, C).
        step: Shape (U, C, C): from the chord before (rows) to the chord here.
        twin: Places with the same number are the same place of identical bars.
    """

    here: Costs
    step: NDArray[np.int32]
    twin: Ints


def price(table: CostTable, seen: View, kinds: list[Columns], kind: Ints) -> Priced:
    """Return the costs of all chords in all slots.

    Args:
        table: The table of costs.
        seen: The tune as the table sees it.
        kinds: Columns of each kind of key.
        kind: Kind of each of the table's places.
    """
    facts, width = facts_of(seen.sight), len(kinds[0].triad)
    here = np.zeros((len(kind), width), np.int64)
    step = np.zeros((len(kind), width, width), np.int32)
    for rows, columns in _rows_of(kinds, kind):
        costs = unary_of(table, facts, columns) * seen.share[:, None]
        here[rows] = np.rint(costs).astype(np.int64)[rows]
        step[rows] = pairs_of(table, facts, columns)[rows]
    # The table tells of steps inside a key; into a new one it has nothing to say.
    tonic = seen.sight.slots.tonic
    new_key = np.append(True, (tonic[1:] != tonic[:-1]) | (kind[1:] != kind[:-1]))
    step[new_key] = 0
    here = np.add.reduceat(here + _stays(step, seen), seen.first, axis=0)
    return Priced(here, step[seen.first], facts.twin)


def _rows_of(kinds: list[Columns], kind: Ints) -> Iterator[tuple[Flags, Columns]]:
    """Yield the places of each kind of key that the tune has, and its columns."""
    for number, columns in enumerate(kinds):
        if (kind == number).any():
            yield kind == number, columns


def _stays(step: NDArray[Any], seen: View) -> NDArray[Any]:
    """Return what it costs in each place that the chord of its slot goes on there."""
    stays = np.diagonal(step, axis1=1, axis2=2).astype(np.result_type(step, np.int64))
    stays[seen.first] = 0
    return stays


class Facts(NamedTuple):
    """Facts of a tune that no chord changes.

    Attributes:
        sight: The tune.
        tune: Facts of each place.
        pairs: Numbers of its pairs of degrees.
        edge: Facts of the boundary before each place.
        twin: Places with the same number are the same place of identical bars.
    """

    sight: Sight
    tune: Floats
    pairs: Ints
    edge: Floats
    twin: Ints


def facts_of(sight: Sight) -> Facts:
    """Return the facts of a tune that no chord changes."""
    edge, twin = edge_facts(sight), twins(sight)
    return Facts(sight, tune_facts(sight), pair_codes(sight), edge, twin)


def unary_of(table: CostTable, facts: Facts, columns: Columns) -> Floats:
    """Return the cost of each chord in each place, [place, column]."""
    costs = product(facts.tune, table.x[:PLAIN, columns.triad])
    costs += look_up_pairs(facts.pairs, table.x[PLAIN:, columns.triad])
    if table.fits.any():
        costs += fit_of(table, facts.sight, columns)
    # Identical bars want the same chords, so their places share half of their costs.
    return share_with_twins(costs, facts.twin, TWINS)


def fit_of(table: CostTable, sight: Sight, columns: Columns) -> Floats:
    """Return what cover and named non-chord notes cost, [place, column]."""
    covers = cover_facts(sight, columns.member)
    covered: Floats = np.tensordot(table.fits[: len(covers)], covers, 1)
    # A named note costs by its name and by its weight: where it stands, how long.
    prices = table.fits[len(covers) :].reshape(-1, len(WEIGHTS)) @ note_weights(sight)
    names = name_notes(sight.pieces, look_at_steps(sight), columns.member)
    total = sum(
        flags * cost[:, None] for flags, cost in zip(names, prices, strict=True)
    )
    return covered + sum_by_slot(total, sight.pieces.slot, len(sight.slots.start))


def pairs_of(table: CostTable, facts: Facts, columns: Columns) -> NDArray[np.int32]:
    """Return the cost of each step before each place, [place, before, here]."""
    index = columns.triad
    cells = table.edge[:, index[:, None], index]
    costs = product(facts.edge, cells.reshape(len(EDGE_NAMES), -1))
    found = np.rint(costs).astype(np.int32)
    return found.reshape(-1, len(index), len(index))


def product(rows: Floats, cells: Floats) -> Floats:
    """Return the matrix product, worked out a few rows at a time.

    So small products stay on one core: waking others costs more than they save.
    """
    some = max(8, _SMALL // max(1, cells.size))
    if len(rows) <= some:
        return rows @ cells
    parts = [rows[at : at + some] @ cells for at in range(0, len(rows), some)]
    return np.concatenate(parts)


_SMALL = 250_000
"""Multiplications that a matrix library does on one core."""
