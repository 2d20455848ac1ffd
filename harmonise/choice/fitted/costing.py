"""What every chord on offer costs by the fitted table, slot by slot.

The table knows triads by their root above the keynote. A chord with a seventh or other
figures costs what its triad costs. A chord that the table does not know (only a lock
brings one) costs nothing.

The costs of the table, parted into the few terms that a reason can name.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.fitted.chord_facts import (
    COVER_NAMES,
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
    PAIR_BLOCKS,
    PLAIN,
    X_BLOCKS,
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
    sight, places = seen.sight, len(seen.group)
    unary = np.zeros((places, len(kinds[0].triad)), np.int64)
    pair = np.zeros((places, *2 * unary.shape[1:]), np.int32)
    facts = facts_of(sight)
    for number, columns in enumerate(kinds):
        rows = kind == number
        if rows.any():
            unary[rows] = unary_of(table, facts, columns)[rows]
            pair[rows] = pairs_of(table, facts, columns)[rows]
    tonic = sight.slots.tonic
    new_key = np.append(True, (tonic[1:] != tonic[:-1]) | (kind[1:] != kind[:-1]))
    pair[new_key] = 0
    return Priced(*_by_slot(unary, pair, seen), facts.twin)


def _by_slot(
    unary: Costs, pair: NDArray[np.int32], seen: View
) -> tuple[Costs, NDArray[np.int32]]:
    """Add up the places that a chord slot holds; inside one the chord stays."""
    if len(seen.first) == len(seen.group):
        return unary, pair
    stays = np.diagonal(pair, axis1=1, axis2=2).astype(np.int64).copy()
    stays[seen.first] = 0
    here = np.add.reduceat(unary + stays, seen.first, axis=0)
    return here, pair[seen.first]


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


def unary_of(table: CostTable, facts: Facts, columns: Columns) -> Costs:
    """Return the cost of each chord in each place, [place, column]."""
    costs = product(facts.tune, table.x[:PLAIN, columns.triad])
    costs += look_up_pairs(facts.pairs, table.x[PLAIN:, columns.triad])
    costs += fit_of(table, facts.sight, columns)
    return np.rint(share_with_twins(costs, facts.twin, TWINS)).astype(np.int64)


def fit_of(table: CostTable, sight: Sight, columns: Columns) -> Floats:
    """Return what cover and named non-chord notes cost, [place, column]."""
    covers = cover_facts(sight, columns.member)
    covered: Floats = np.tensordot(table.fits[: len(covers)], covers, 1)
    return covered + named_notes(table, sight, columns)


def named_notes(table: CostTable, sight: Sight, columns: Columns) -> Floats:
    """Return what named non-chord notes cost, [place, column]."""
    slot, size = sight.pieces.slot, len(sight.slots.start)
    names = name_notes(sight.pieces, look_at_steps(sight), columns.member)
    costs = table.fits[len(COVER_NAMES) :].reshape(-1, len(WEIGHTS)) @ note_weights(
        sight
    )
    total = np.zeros((len(slot), columns.member.shape[1]))
    for flags, cost in zip(names, costs, strict=True):
        total += flags * cost[:, None]
    return sum_by_slot(total, slot, size)


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


HERE, BAR, BEFORE, AFTER, PLACE = "here", "bar", "before", "after", "place"
NAMED = (HERE, BAR, BEFORE, AFTER, PLACE)

_BLOCKS = {
    "share of bar": BAR,
    "lowest note of bar": BAR,
    "share of slot before": BEFORE,
    "last note before": BEFORE,
    "share two slots before": BEFORE,
    "share of bar before": BEFORE,
    "last note before, then first note": BEFORE,
    "first note of slot before, then first note": BEFORE,
    "share of next slot": AFTER,
    "first note of next slot": AFTER,
    "share of slot after next": AFTER,
    "share of next bar": AFTER,
    "first note of next bar": AFTER,
    "share of bar after next": AFTER,
    "first note, then first note of next slot": AFTER,
    "first note, then first note of next bar": AFTER,
    "last note of section, in its last bar": PLACE,
    "share of slot, last bar of section": PLACE,
    "share of slot, last bar but one": PLACE,
    "share of bar, every fourth bar": PLACE,
    "last note of tune": PLACE,
    "share of section": PLACE,
    "first note of section": PLACE,
    "last note of section": PLACE,
    "place": PLACE,
    "tune": PLACE,
}
"""Term of each block of facts; those left out speak of the notes here."""


class Terms(NamedTuple):
    """Costs by term, in thousandths; U chord slots, C columns.

    Attributes:
        here: For each of `NAMED`, shape (U, C).
        change: Shape (U,): what any change of chord before a slot costs.
        step: Shape (U, C, C): what the step costs beside that.
    """

    here: dict[str, Floats]
    change: Floats
    step: Floats


def terms_of(table: CostTable, seen: View, kinds: list[Columns], kind: Ints) -> Terms:
    """Part the costs of every chord into terms; their sum is the cost itself."""
    facts = facts_of(seen.sight)
    places, width = len(seen.group), len(kinds[0].triad)
    here = {name: np.zeros((places, width)) for name in NAMED}
    step = np.zeros((places, width, width))
    for number, columns in enumerate(kinds):
        rows = kind == number
        if not rows.any():
            continue
        for name, cost in _terms(table, facts, columns).items():
            here[name][rows] = share_with_twins(cost, facts.twin, TWINS)[rows]
        step[rows] = pairs_of(table, facts, columns)[rows]
    change = facts.edge @ table.change
    step -= change[:, None, None] * ~np.eye(width, dtype=bool)
    stays = np.diagonal(step, axis1=1, axis2=2).copy()
    stays[seen.first] = 0
    here[HERE] = here[HERE] + stays
    summed = {n: np.add.reduceat(cost, seen.first, axis=0) for n, cost in here.items()}
    return Terms(summed, change[seen.first], step[seen.first])


def _terms(table: CostTable, facts: Facts, columns: Columns) -> dict[str, Floats]:
    found = {name: np.zeros((len(facts.tune), len(columns.triad))) for name in NAMED}
    at = 0
    for block, names in X_BLOCKS:
        part = slice(at, at + len(names))
        at += len(names)
        cells = table.x[part][:, columns.triad]
        if block in PAIR_BLOCKS:
            kind = PAIR_BLOCKS.index(block)
            codes = facts.pairs[:, kind : kind + 1]
            own = np.where(codes < 0, -1, codes - kind * len(names))
            found[_BLOCKS.get(block, HERE)] += look_up_pairs(own, cells)
        else:
            found[_BLOCKS.get(block, HERE)] += facts.tune[:, part] @ cells
    covers = cover_facts(facts.sight, columns.member)
    for number, name in enumerate(COVER_NAMES):
        term = BAR if "bar" in name.split() else HERE
        found[term] += table.fits[number] * covers[number]
    found[HERE] += named_notes(table, facts.sight, columns)
    return found
