"""The costs of the table, parted into the few terms that a reason can name."""

from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.costing import (
    Columns,
    Facts,
    facts_of,
    named_notes,
    pairs_of,
)
from harmonise.choice.fitted.fit_facts import COVER_NAMES, cover_facts
from harmonise.choice.fitted.heard import share_with_twins
from harmonise.choice.fitted.pairs import PAIR_BLOCKS, look_up_pairs
from harmonise.choice.fitted.slots import View
from harmonise.choice.fitted.table import TWINS, Table
from harmonise.choice.fitted.tune_facts import X_BLOCKS
from harmonise.choice.fitted.words import Floats, Ints

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


def _terms(table: Table, facts: Facts, columns: Columns) -> dict[str, Floats]:
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
