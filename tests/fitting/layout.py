"""Every row that a table may hold, numbered, and the cells that each row fills.

The engine reads a table row by row and never lists all rows; the fit needs them all.
"""

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.chord_facts import EDGE_DEGREES, EDGE_NAMES, FIT_NAMES
from harmonise.choice.fitted.table import (
    BIGRAM_EDGES,
    MET,
    MOTION,
    MOTION_EDGES,
    REL_BLOCKS,
    ROOT_BLOCKS,
    CostTable,
)
from harmonise.choice.fitted.tune_facts import PAIR_BLOCKS, X_BLOCKS, X_NAMES
from harmonise.choice.fitted.words import (
    CHORD_NAMES,
    DEGREES,
    INTERVALS,
    QUALITIES,
    QUALITY,
    ROOTS,
    SIZE,
    Floats,
    Ints,
)


class Layout(NamedTuple):
    """Which cells each row of the table fills.

    The first rows are those of one fact of the tune and one chord, fact by fact.

    Attributes:
        others: Names of the rows after those.
        x: For every cell of [tune fact, chord], up to two rows (-1 for none).
        edge: For every cell of [fact of the boundary, chord, next chord], up to three.
        fits: Number of the first row of the facts of fit, which follow one another.
    """

    others: tuple[str, ...]
    x: Ints
    edge: Ints
    fits: int

    @property
    def names(self) -> tuple[str, ...]:
        """Name of each row. There are many: reading a table does without them."""
        first = [f"{fact} | {chord}" for fact in X_NAMES for chord in CHORD_NAMES]
        return (*first, *self.others)

    @property
    def size(self) -> int:
        """Number of rows."""
        return len(X_NAMES) * SIZE + len(self.others)


@lru_cache(maxsize=1)
def layout() -> Layout:
    """Number every row that the table may hold."""
    names: list[str] = []
    plain = len(X_NAMES) * SIZE
    x = np.full((2, len(X_NAMES), SIZE), -1)
    x[0] = np.arange(plain).reshape(len(X_NAMES), SIZE)
    start = 0
    for block, columns in X_BLOCKS:
        shared_names, cells = shared_rows(block, columns)
        end = start + len(columns)
        x[1, start:end] = np.where(cells < 0, -1, cells + plain + len(names))
        names += shared_names
        start = end
    fits = plain + len(names)
    names += [f"fit | {name}" for name in FIT_NAMES]
    edge_names, edge = edge_rows(plain + len(names))
    return Layout((*names, *edge_names), x, edge, fits)


def shared_rows(block: str, columns: tuple[str, ...]) -> tuple[list[str], Ints]:
    """Return rows of a block that many chords share, and their cells; -1 for none."""
    above = (np.arange(12)[:, None] - ROOTS) % 12
    if block in ROOT_BLOCKS:
        roots, which = np.unique(ROOTS, return_inverse=True)
        known = [DEGREES[root] for root in roots.tolist()]
        names = [f"{block}: {c} | root {d}" for c in columns for d in known]
        return names, np.arange(len(columns))[:, None] * len(known) + which
    kinds: tuple[str, ...] = INTERVALS
    if block in REL_BLOCKS:
        cells = above
    elif block in PAIR_BLOCKS:
        kinds = tuple(f"{i} then {j}" for i in INTERVALS for j in INTERVALS)
        cells = (above[:, None] * 12 + above[None]).reshape(144, SIZE)
    else:
        return [], np.full((len(columns), SIZE), -1)
    names = [f"{block} | {kind} of a {q} chord" for q in QUALITIES for kind in kinds]
    return names, QUALITY * len(kinds) + cells


def edge_rows(first: int) -> tuple[tuple[str, ...], Ints]:
    """Return names and cells of the rows about a change; `first` is their number."""
    met = [
        f"change | {k}, {i} | root {m}" for k in MET for i in INTERVALS for m in MOTION
    ]
    names, cells = list(met), np.full((3, len(EDGE_NAMES), SIZE, SIZE), -1)
    other = ~np.eye(SIZE, dtype=bool)
    motion = (ROOTS[None, :] - ROOTS[:, None]) % 12
    for k, edge in enumerate(EDGE_NAMES):
        cells[0, k][other] = first + len(names)
        names.append(f"change | {edge}")
        if edge in EDGE_DEGREES:
            cells[1, k] = np.where(other, first + met_rows(edge) * 12 + motion, -1)
        elif edge in MOTION_EDGES:
            cells[1, k] = np.where(other, first + len(names) + motion, -1)
            names += [f"change | {edge} | root {m}" for m in MOTION]
        elif " of 4" in edge or " of section" in edge:
            target = first + len(names) + np.arange(SIZE)
            cells[1, k] = np.where(other, target[None, :], -1)
            names += [f"change | {edge} | to {c}" for c in CHORD_NAMES]
        if edge in BIGRAM_EDGES:
            bigrams = np.arange(SIZE * SIZE).reshape(SIZE, SIZE)
            cells[2, k] = first + len(names) + bigrams
            names += [
                f"step | {edge} | {a} - {b}" for a in CHORD_NAMES for b in CHORD_NAMES
            ]
    return tuple(names), cells


def met_rows(edge: str) -> Ints:
    """Return which chord member the note at a boundary is, [chord, next chord].

    The first note is measured from the new chord's root, the last from the old one's.
    """
    kind, degree = divmod(EDGE_DEGREES.index(edge), 12)
    above = (degree - ROOTS) % 12
    member = above[:, None] if kind == MET.index("after last note") else above[None, :]
    return kind * 12 + member + np.zeros((SIZE, SIZE), np.int64)


def fill(rows: Floats) -> CostTable:
    """Spread the rows' costs over the cells."""
    where, padded = layout(), np.r_[rows, 0.0]
    fits = padded[where.fits : where.fits + len(FIT_NAMES)]
    edge = padded[where.edge]
    return CostTable(padded[where.x].sum(0), fits, edge.sum(0))


def parse_rows(lines: Iterable[str]) -> Floats:
    """Parse `name<TAB>milli-cost` lines; empty lines and those with # are skipped.

    Returns:
        The cost of each row of the layout, 0 for those that are not named.

    Raises:
        ValueError: A name is not a row of the layout, or stands twice.
    """
    rows, seen = np.zeros(layout().size), set[str]()
    number = _numbers()
    for line in lines:
        if not line.strip() or line.startswith("#"):
            continue
        name, cost = line.rstrip("\n").split("\t")
        at = number(name)
        if at is None or name in seen:
            fault = "stands twice" if name in seen else "is no row of the layout"
            raise ValueError(f"cost table: {name!r} {fault}")
        seen.add(name)
        rows[at] = int(cost)
    return rows


def _numbers() -> Callable[[str], int | None]:
    """Return what tells the number of a row by its name, None for no row."""
    facts = {fact: number * SIZE for number, fact in enumerate(X_NAMES)}
    chords = {chord: number for number, chord in enumerate(CHORD_NAMES)}
    first = len(X_NAMES) * SIZE
    others = {name: first + number for number, name in enumerate(layout().others)}

    def number(name: str) -> int | None:
        fact, _, chord = name.rpartition(" | ")
        if fact in facts and chord in chords:
            return facts[fact] + chords[chord]
        return others.get(name)

    return number
