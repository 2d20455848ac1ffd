"""Measures how far the table's chords agree with those that humans wrote.

Run it in the folder above this one:

    python -m fitting.measure DATA [train]

DATA holds `folk-tunes.jsonl`, `hymn-tunes.jsonl` (see `fit_tunes.py`) and
`agreement.py`, which defines the figures: `load(split, path)` returns tunes with
`beats` (`tonic`, `human` chord or None, `weight`), `score(tunes, chords)` the figures.
Printed are, for folk tunes and hymns and the levels 1, 3 and 4: roots; roots and
quality; the same on tunes of three chords; places of change (F1); the last two chords;
our changes over the human's; how often the human's root is one of our two best; how
often two bars of the same melody get the same chords.
"""

import argparse
import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import numpy as np

from fitting.features_base import CHORDS, ROOTS, Ints
from fitting.features_heard import Sight, look, twins
from fitting.fit_tunes import Example, read_examples
from fitting.measure_palette import LEVELS, choose_palette
from fitting.measure_path import ALL, PathCosts, add_rules, cheapest_row, marginal_costs
from fitting.table import FOLK, HYMN, Table, pair_costs, read_table, unary_costs

KEYS = (
    "root",
    "root and quality",
    "three-chord tunes, root and quality",
    "change places, F1",
    "last two chords",
)
# Hymns change on any beat, so that H07 does not bind them.
SYNCOPATION = {"folk": 1000, "hymn": 0}


class Case(NamedTuple):
    """One tune: what agreement.py knows of it, its slots, its costs by the table."""

    tune: Any
    example: Example
    sight: Sight
    costs: PathCosts


class Found(NamedTuple):
    """The chords found for a tune, and the costs (rules included) that led to them."""

    row: Ints
    costs: PathCosts


def load_agreement(folder: Path) -> ModuleType:
    """Load the module that defines the figures."""
    name = "agreement"
    spec = importlib.util.spec_from_file_location(name, folder / f"{name}.py")
    if spec is None or spec.loader is None:
        raise FileNotFoundError(f"No module {name}.py in {folder}")
    module = importlib.util.module_from_spec(spec)
    # Data classes look their module up by name while it is being loaded.
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def make_case(tune: Any, example: Example, table: Table) -> Case:  # noqa: ANN401 - data
    """Work out the costs of a tune."""
    sight = look(example.slots, example.notes)
    unary = unary_costs(table, sight, ALL).astype(np.int64)
    pair = pair_costs(table, sight, ALL).astype(np.int64)
    return Case(tune, example, sight, PathCosts(unary, pair))


def harmonise(case: Case, level: int, syncopation: int) -> Found:
    """Find the cheapest chords of a level."""
    costs = add_rules(case.costs, case.sight, choose_palette(case.sight, level))
    row = cheapest_row(costs, case.sight.slots.place, syncopation)
    return Found(row, costs)


def chords_by_beat(case: Case, row: Ints) -> list[tuple[int, str]]:
    """Return (pitch class of the root, quality) of each beat."""
    chords = [CHORDS[i] for i in row[case.example.beat_slot]]
    beats = zip(case.tune.beats, chords, strict=True)
    return [((root + beat.tonic) % 12, quality) for beat, (_, root, quality) in beats]


def share_of_two_best(cases: list[Case], founds: list[Found]) -> float:
    """Return how often the human's root is one of our two best, by length of beats."""
    hits = total = 0.0
    for case, found in zip(cases, founds, strict=True):
        best = two_best_roots(marginal_costs(found.costs))
        for beat, slot in zip(case.tune.beats, case.example.beat_slot, strict=True):
            if beat.human:
                total += beat.weight
                hits += beat.weight * ((beat.human[0] - beat.tonic) % 12 in best[slot])
    return hits / total


def two_best_roots(costs: Ints) -> Ints:
    """Return the two cheapest roots of each slot, by semitones above the keynote."""
    roots = np.full((len(costs), 12), 10**12)
    for chord, root in enumerate(ROOTS):
        roots[:, root] = np.minimum(roots[:, root], costs[:, chord])
    return np.argsort(roots, 1, kind="stable")[:, :2]


def share_of_same_chords(cases: list[Case], founds: list[Found]) -> float:
    """Return how often two bars of a melody heard before get the chords as before."""
    same = total = 0
    for case, found in zip(cases, founds, strict=True):
        first, twin = case.sight.frame.first, twins(case.sight)
        ends = [*first[2:], len(found.row)]
        seen: dict[tuple[int, int], tuple[int, ...]] = {}
        for start, middle, end in zip(first[:-1], first[1:], ends, strict=True):
            chords = tuple(int(i) for i in found.row[start:end])
            key = (int(twin[start]), int(twin[middle]))
            total += key in seen
            same += key in seen and seen[key] == chords
            seen.setdefault(key, chords)
    return same / max(total, 1)


def figures(agreement: ModuleType, cases: list[Case], founds: list[Found]) -> str:
    """Format the figures of one level."""
    pairs = zip(cases, founds, strict=True)
    rows = [chords_by_beat(case, found.row) for case, found in pairs]
    score = agreement.score([case.tune for case in cases], rows)
    ratio = score["changes a bar"] / score["human changes a bar"]
    best, same = share_of_two_best(cases, founds), share_of_same_chords(cases, founds)
    named = " ".join(f"{score[key]:.3f}" for key in KEYS)
    return f"{named} ratio {ratio:.2f} top2 {best:.3f} same2bars {same:.3f}"


def measure(folder: Path, split: str, kind: str) -> list[str]:
    """Return the lines of figures of one kind of tune ("folk" or "hymn")."""
    agreement, path = load_agreement(folder), folder / f"{kind}-tunes.jsonl"
    table = read_table(HYMN if kind == "hymn" else FOLK)
    examples = read_examples(path, split, every_beat=kind == "hymn")
    tunes = zip(agreement.load(split, path), examples, strict=True)
    cases = [make_case(tune, example, table) for tune, example in tunes]
    lines = []
    for level in LEVELS:
        founds = [harmonise(case, level, SYNCOPATION[kind]) for case in cases]
        lines.append(f"{split} {kind} L{level} {figures(agreement, cases, founds)}")
    return lines


def main() -> None:
    """Print the figures."""
    shape = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shape)
    parser.add_argument("data", type=Path)
    parser.add_argument("split", nargs="?", default="validation")
    given = parser.parse_args()
    for kind in SYNCOPATION:
        for line in measure(given.data, given.split, kind):
            sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
