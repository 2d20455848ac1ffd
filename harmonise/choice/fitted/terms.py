"""The costs of the table, parted into the few terms that a reason can name."""

from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.costing import Columns, facts_of, named_notes, pairs_of
from harmonise.choice.fitted.fit_facts import COVER_NAMES, cover_facts
from harmonise.choice.fitted.heard import Sight, share_with_twins
from harmonise.choice.fitted.slots import View
from harmonise.choice.fitted.table import TWINS, Table
from harmonise.choice.fitted.tune_facts import X_BLOCKS
from harmonise.choice.fitted.words import Floats, Ints

HERE, BAR, BEFORE, AFTER, PLACE = "here", "bar", "before", "after", "place"
NAMED = (HERE, BAR, BEFORE, AFTER, PLACE)

_BLOCKS = {
    "share of bar": BAR,
    "share of slot before": BEFORE,
    "last note before": BEFORE,
    "share two slots before": BEFORE,
    "share of bar before": BEFORE,
    "share of next slot": AFTER,
    "first note of next slot": AFTER,
    "share of slot after next": AFTER,
    "share of next bar": AFTER,
    "first note of next bar": AFTER,
    "share of bar after next": AFTER,
    "last note of section, in its last bar": PLACE,
    "share of slot, last bar of section": PLACE,
    "share of slot, last bar but one": PLACE,
    "share of bar, every fourth bar": PLACE,
    "last note of tune": PLACE,
    "place": PLACE,
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


def terms_of(table: Table, seen: View, kinds: list[Columns], kind: Ints) -> Terms:
    """Part the costs of every chord into terms; their sum is the cost itself."""
    facts = facts_of(seen.sight)
    places, width = len(seen.group), len(kinds[0].triad)
    here = {name: np.zeros((places, width)) for name in NAMED}
    step = np.zeros((places, width, width))
    for number, columns in enumerate(kinds):
        rows = kind == number
        if not rows.any():
            continue
        for name, cost in _terms(table, facts.tune, seen.sight, columns).items():
            here[name][rows] = share_with_twins(cost, facts.twin, TWINS)[rows]
        step[rows] = pairs_of(table, facts, columns)[rows]
    change = facts.edge @ table.change
    step -= change[:, None, None] * ~np.eye(width, dtype=bool)
    stays = np.diagonal(step, axis1=1, axis2=2).copy()
    stays[seen.first] = 0
    here[HERE] = here[HERE] + stays
    summed = {n: np.add.reduceat(cost, seen.first, axis=0) for n, cost in here.items()}
    return Terms(summed, change[seen.first], step[seen.first])


def _terms(
    table: Table, tune: Floats, sight: Sight, columns: Columns
) -> dict[str, Floats]:
    found = {name: np.zeros((len(tune), len(columns.triad))) for name in NAMED}
    at = 0
    for block, names in X_BLOCKS:
        part = slice(at, at + len(names))
        at += len(names)
        costs = tune[:, part] @ table.x[part][:, columns.triad]
        found[_BLOCKS.get(block, HERE)] += costs
    covers = cover_facts(sight, columns.member)
    for number, name in enumerate(COVER_NAMES):
        term = BAR if "bar" in name.split() else HERE
        found[term] += table.fits[number] * covers[number]
    found[HERE] += named_notes(table, sight, columns)
    return found
