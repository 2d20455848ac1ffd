"""The cost table: named rows of whole milli-costs, and what they make a tune cost.

Lower is better. A row that the table does not name costs nothing.
"""

from collections.abc import Iterable
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.chord_facts import EDGE_DEGREES, EDGE_NAMES, FIT_NAMES
from harmonise.choice.fitted.tune_facts import (
    DEGREE_FACTS,
    PAIR_BLOCKS,
    X_BLOCKS,
    X_NAMES,
)
from harmonise.choice.fitted.words import (
    CHORD_NAMES,
    DEGREES,
    INTERVALS,
    QUALITIES,
    QUALITY,
    ROOTS,
    SIZE,
    Flags,
    Floats,
    Ints,
)

FOLK = Path(__file__).parent / "folk.tsv"
HYMN = Path(__file__).parent / "hymn.tsv"
TWINS = 0.5
MOTION = (
    "unison", "semitone up", "tone up", "minor third up", "major third up",
    "fourth up", "tritone", "fifth up", "minor sixth up", "sixth up", "tone down",
    "semitone down",
)  # fmt: skip
# Blocks of which rows are shared by all chords on a root, whatever their third.
ROOT_BLOCKS = (
    "place", "last note of tune", "first note of section", "last note of section",
)  # fmt: skip
# Blocks of which rows are shared by all major (minor, diminished) chords, by the
# interval of the note above the root.
REL_BLOCKS = tuple(b for b in DEGREE_FACTS if b not in ("heard in slot", *ROOT_BLOCKS))
BIGRAM_EDGES = (
    "anywhere", "bar line", "half-bar", "weak beat", "minor key", "opening of section",
    "last bar of section", "last bar but one of section",
)  # fmt: skip
MOTION_EDGES = ("bar line", "half-bar", "weak beat")
# The notes at a boundary, in the order of `EDGE_DEGREES`.
MET = ("first note at bar line", "first note inside the bar", "after last note")


class CostTable(NamedTuple):
    """Costs by cell.

    Attributes:
        x: Costs [tune fact, chord].
        fits: Costs [fact of fit].
        edge: Costs [fact of the boundary, chord, next chord].
    """

    x: Floats
    fits: Floats
    edge: Floats


class _Sheet:
    """An empty table that rows are put on, one by one."""

    def __init__(self) -> None:
        self.x = np.zeros((len(X_NAMES), SIZE + 1))
        self.fits = np.zeros(len(FIT_NAMES))
        self.edge = np.zeros((len(EDGE_NAMES), SIZE + 1, SIZE + 1))
        self._flat = self.x.reshape(-1)

    def put(self, name: str, cost: int) -> None:
        """Put a row on the sheet.

        Raises:
            KeyError: The name is none of a row.
            ValueError: It has too many parts, or too few.
        """
        head, *rest = name.split(" | ")
        if head == "step":
            edge, chords = rest
            before, after = chords.split(" - ")
            self.edge[_BIGRAMS[edge], _CHORD[before], _CHORD[after]] += cost
        elif head == "change":
            self._put_change(rest, cost)
        else:
            (whose,) = rest
            if head == "fit":
                self.fits[_FIT[whose]] += cost
            elif head in _FACT:
                self.x[_FACT[head], _chords_of(head, whose)] += cost
            else:
                # A note, or two, measured from the root of all chords of one quality.
                cells = _cells_of(whose, pair=head in PAIR_BLOCKS)
                self._flat[_SHARED[head] * (SIZE + 1) + cells] += cost

    def _put_change(self, rest: list[str], cost: int) -> None:
        """A change of chord: any, to one chord, or by a motion of the root."""
        edge, *target = rest
        cells = self.edge[:, :SIZE, :SIZE]
        if not target:
            cells[_EDGE[edge]][_OTHER] += cost
        elif target[0].startswith("to "):
            at, chord = _EDGE[edge], _CHORD[target[0].removeprefix("to ")]
            # Only where a section has got to tells which chord is due.
            if " of 4" not in edge and " of section" not in edge:
                raise KeyError(edge)
            cells[at, _OTHER[:, chord], chord] += cost
        elif edge in MOTION_EDGES:
            motion = _MOVES[target[0].removeprefix("root ")]
            cells[_EDGE[edge]][motion] += cost
        else:
            self._put_met(edge, _MOVES[target[0].removeprefix("root ")], cost)

    def _put_met(self, met: str, motion: Flags, cost: int) -> None:
        """A motion of the root by the chord member that the note there is."""
        kind, _, member = met.rpartition(", ")
        # The note at the end of a slot is measured from the chord before, one at its
        # start from the chord here.
        before, after = np.nonzero(motion)
        roots = ROOTS[before if kind == MET[2] else after]
        first = _EDGE[EDGE_DEGREES[0]] + MET.index(kind) * 12
        at = first + (roots + _INTERVAL[member]) % 12
        self.edge[at, before, after] += cost


def _chords_of(fact: str, whose: str) -> int | Ints:
    """Return one chord, or all chords on a root where the fact allows that."""
    if whose in _CHORD:
        return _CHORD[whose]
    chords = np.flatnonzero(_DEGREE[whose.removeprefix("root ")] == ROOTS)
    if fact.rpartition(": ")[0] not in ROOT_BLOCKS or not len(chords):
        raise KeyError(fact)
    return chords


@lru_cache(maxsize=1024)
def _cells_of(whose: str, *, pair: bool) -> Ints:
    """Return the cells, from a block's first on, of a note in chords of one quality.

    Args:
        whose: "fifth of a minor chord", or "root then fifth of a major chord".
        pair: Whether it names two notes.
    """
    kind, _, quality = whose.removesuffix(" chord").rpartition(" of a ")
    chords = _OF_QUALITY[quality]
    first, _, second = kind.partition(" then ") if pair else (kind, "", "")
    column = (ROOTS[chords] + _INTERVAL[first]) % 12
    if pair:
        column = column * 12 + (ROOTS[chords] + _INTERVAL[second]) % 12
    return column * (SIZE + 1) + chords


def _numbered(names: Iterable[str]) -> dict[str, int]:
    return {name: number for number, name in enumerate(names)}


_CHORD, _DEGREE, _INTERVAL = map(_numbered, (CHORD_NAMES, DEGREES, INTERVALS))
_FACT, _FIT, _EDGE = map(_numbered, (X_NAMES, FIT_NAMES, EDGE_NAMES))
_BIGRAMS = {edge: _EDGE[edge] for edge in BIGRAM_EDGES}
_SHARED = {
    block: _FACT[f"{block}: {columns[0]}"]
    for block, columns in X_BLOCKS
    if block in (*REL_BLOCKS, *PAIR_BLOCKS)
}
"""First row of each block whose rows are shared by chords of one quality."""
_OF_QUALITY = {q: np.flatnonzero(k == QUALITY) for k, q in enumerate(QUALITIES)}
_OTHER = ~np.eye(SIZE, dtype=bool)
_MOVES = {
    name: (((ROOTS[None, :] - ROOTS[:, None]) % 12 == number) & _OTHER)
    for number, name in enumerate(MOTION)
}


def parse_table(lines: Iterable[str]) -> CostTable:
    """Parse `name<TAB>milli-cost` lines; empty lines and those with # are skipped.

    Returns:
        The costs, with one chord more than `CHORDS`: the last costs nothing and stands
        for every chord that the table does not know.

    Raises:
        ValueError: A name is none of a row, or stands twice.
    """
    sheet, seen = _Sheet(), set[str]()
    for line in lines:
        if not line.strip() or line.startswith("#"):
            continue
        name, cost = line.rstrip("\n").split("\t")
        if name in seen:
            raise ValueError(f"cost table: {name!r} stands twice")
        seen.add(name)
        try:
            sheet.put(name, int(cost))
        except (KeyError, IndexError, ValueError) as error:
            raise ValueError(f"cost table: {name!r} is no row of it") from error
    return CostTable(sheet.x, sheet.fits, sheet.edge)


@lru_cache(maxsize=4)
def read_table(path: Path) -> CostTable:
    """Read a table of costs, as `parse_table` says."""
    return parse_table(path.read_text("utf-8").splitlines())
