"""The cost table: named rows of whole milli-costs, and what they make a tune cost.

Lower is better. A row that the table does not name costs nothing.
"""

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.edge_facts import EDGE_NAMES
from harmonise.choice.fitted.fit_facts import FIT_NAMES
from harmonise.choice.fitted.tune_facts import X_BLOCKS, X_NAMES
from harmonise.choice.fitted.words import (
    CHORD_NAMES,
    INTERVALS,
    QUALITIES,
    QUALITY,
    ROOTS,
    SIZE,
    Floats,
    Ints,
)

FOLK = Path(__file__).parent / "folk.tsv"
HYMN = Path(__file__).parent / "hymn.tsv"
TWINS = 0.5
MOTION = (
    "unison",
    "semitone up",
    "tone up",
    "minor third up",
    "major third up",
    "fourth up",
    "tritone",
    "fifth up",
    "minor sixth up",
    "sixth up",
    "tone down",
    "semitone down",
)
REL_BLOCKS = ("share of slot", "share of bar", "first note")
BIGRAM_EDGES = ("anywhere", "bar line", "half-bar", "weak beat", "minor key")
MOTION_EDGES = ("bar line", "half-bar", "weak beat")


class Layout(NamedTuple):
    """Which cells each row of the table fills.

    Attributes:
        names: Name of each row.
        x: For every cell of [tune fact, chord], up to two rows (-1 for none).
        edge: For every cell of [fact of the boundary, chord, next chord], up to three.
        fits: Number of the first row of the facts of fit, which follow one another.
    """

    names: tuple[str, ...]
    x: Ints
    edge: Ints
    fits: int


@lru_cache(maxsize=1)
def layout() -> Layout:
    """Number every row that the table may hold."""
    names = [f"{fact} | {chord}" for fact in X_NAMES for chord in CHORD_NAMES]
    x = np.full((2, len(X_NAMES), SIZE), -1)
    x[0] = np.arange(len(names)).reshape(len(X_NAMES), SIZE)
    starts = np.cumsum([0, *(len(columns) for _, columns in X_BLOCKS[:-1])])
    interval = (np.arange(12)[:, None] - ROOTS) % 12
    for (block, _), start in zip(X_BLOCKS, starts, strict=True):
        if block in REL_BLOCKS:
            x[1, start : start + 12] = len(names) + QUALITY * 12 + interval
            names += [
                f"{block} | {i} of a {q} chord" for q in QUALITIES for i in INTERVALS
            ]
    fits = len(names)
    names += [f"fit | {name}" for name in FIT_NAMES]
    edge_names, edge = edge_rows(len(names))
    return Layout((*names, *edge_names), x, edge, fits)


def edge_rows(first: int) -> tuple[tuple[str, ...], Ints]:
    """Return names and cells of the rows about a change; `first` is their number."""
    names: list[str] = []
    cells = np.full((3, len(EDGE_NAMES), SIZE, SIZE), -1)
    other = ~np.eye(SIZE, dtype=bool)
    motion = (ROOTS[None, :] - ROOTS[:, None]) % 12
    for k, edge in enumerate(EDGE_NAMES):
        cells[0, k][other] = first + len(names)
        names.append(f"change | {edge}")
        if edge in MOTION_EDGES:
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


class Table(NamedTuple):
    """Costs by cell.

    Attributes:
        x: Costs [tune fact, chord].
        fits: Costs [fact of fit].
        edge: Costs [fact of the boundary, chord, next chord].
        change: The part of `edge` that any change of chord costs, [fact].
    """

    x: Floats
    fits: Floats
    edge: Floats
    change: Floats


def fill(rows: Floats) -> Table:
    """Spread the rows' costs over the cells."""
    where, padded = layout(), np.r_[rows, 0.0]
    fits = padded[where.fits : where.fits + len(FIT_NAMES)]
    edge = padded[where.edge]
    return Table(padded[where.x].sum(0), fits, edge.sum(0), edge[0, :, 0, 1])


def parse_rows(lines: Iterable[str]) -> Floats:
    """Parse `name<TAB>milli-cost` lines; empty lines and those with # are skipped.

    Returns:
        The cost of each row of the layout, 0 for those that are not named.

    Raises:
        ValueError: A name is not a row of the layout, or stands twice.
    """
    names = layout().names
    number = {name: i for i, name in enumerate(names)}
    rows = np.zeros(len(names))
    seen: set[str] = set()
    for line in lines:
        if not line.strip() or line.startswith("#"):
            continue
        name, cost = line.rstrip("\n").split("\t")
        if name not in number or name in seen:
            fault = "stands twice" if name in seen else "is no row of the layout"
            raise ValueError(f"cost table: {name!r} {fault}")
        seen.add(name)
        rows[number[name]] = int(cost)
    return rows


@lru_cache(maxsize=4)
def read_table(path: Path) -> Table:
    """Read a table of costs.

    Returns:
        The costs, with one chord more than `CHORDS`: the last costs nothing and stands
        for every chord that the table does not know.

    Raises:
        ValueError: A name is not a row of the layout, or stands twice.
    """
    table = fill(parse_rows(path.read_text("utf-8").splitlines()))
    one_more = ((0, 0), (0, 1))
    edge = np.pad(table.edge, (*one_more, (0, 1)))
    return table._replace(x=np.pad(table.x, one_more), edge=edge)
