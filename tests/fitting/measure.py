"""Measures how far the engine's chords agree with those that humans wrote.

Run it in the folder above this one:

    python -m fitting.measure DATA [train]

DATA holds `folk-tunes.jsonl`, `hymn-tunes.jsonl` (see `fit_tunes.py`) and
`agreement.py`, which defines the figures: `load(split, path)` returns tunes with
`beats` (`tonic`, `human` chord or None, `weight`), `score(tunes, chords)` the figures.
Printed are, for folk tunes and hymns and the levels 1 to 4: roots; roots and quality;
the same on tunes of three chords; places of change (F1); the last two chords; our
changes over the human's; how often the human's root is among our first two answers; how
often two bars of the same melody get the same chords; how often the human's root is
ours where ours is stated to be sure (.9 and more), and where it is even (.4 to .6).
"""

import argparse
import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import numpy as np

from fitting.as_tune import as_tune
from harmonise.arranging.explain import MARGIN
from harmonise.arranging.job import settle
from harmonise.choice.choose import Choice, choose
from harmonise.choice.weights import PLAIN_WEIGHTS, Weights
from harmonise.theory.arrangement import HarmonicRhythm, Style
from harmonise.theory.chord import Quality

KEYS = (
    "root",
    "root and quality",
    "three-chord tunes, root and quality",
    "change places, F1",
    "last two chords",
)
_SHORT = {Quality.MINOR: "m", Quality.DIMINISHED: "d", Quality.HALF_DIMINISHED: "d"}


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


class Found(NamedTuple):
    """A labelled tune, what the engine chose, and the slot of each beat."""

    tune: Any
    choice: Choice
    slot: list[int]

    def chords(self) -> list[tuple[int, str]]:
        """Return (pitch class of the root, quality of the triad) of each beat."""
        columns = self.choice.columns
        chords = [self.choice.menu.offer(s, int(columns[s])).chord for s in self.slot]
        return [(c.root.pitch_class, _SHORT.get(c.quality, "M")) for c in chords]


def harmonise(
    tune: Any,  # noqa: ANN401 (data)
    style: Style,
    weights: Weights = PLAIN_WEIGHTS,
) -> Found:
    """Choose chords under a labelled tune; a pickup counts to the first slot."""
    own = as_tune(tune)
    choice = choose(own, settle(own, style), weights)
    starts, ticks = choice.grid.slot_start[:-1], choice.grid.ticks
    onsets = [int(beat.start * ticks) for beat in tune.beats]
    slot = np.searchsorted(starts, onsets, side="right") - 1
    return Found(tune, choice, np.maximum(slot, 0).tolist())


def share_of_two_best(founds: list[Found]) -> float:
    """Return how often the human's root is one of our first two, by length of beats."""
    hits = total = 0.0
    for found in founds:
        choice = found.choice
        roots = choice.menu.root[choice.menu.stretch]
        prices = np.full((len(roots), 12), 10**12)
        for column, detour in enumerate(choice.detours().T):
            at = (np.arange(len(roots)), roots[:, column])
            prices[at] = np.minimum(prices[at], detour)
        best = np.argsort(prices, 1, kind="stable")[:, :2]
        for beat, slot in zip(found.tune.beats, found.slot, strict=True):
            if beat.human:
                total += beat.weight
                hits += beat.weight * (beat.human[0] in best[slot])
    return hits / total


def share_right_where(founds: list[Found], low: float, high: float) -> float:
    """Return how often a root stated to be so sure is the human's, by length of beats.

    How sure a root is follows from what the best paths with other roots cost more;
    `MARGIN` thousandths are a factor of e in chance.
    """
    hits = total = 0.0
    for found in founds:
        choice, slots = found.choice, np.arange(found.choice.grid.slots)
        weight = np.where(choice.menu.real, 1.0, 0.0)[choice.menu.stretch]
        weight *= np.exp(-choice.detours() / MARGIN)
        roots = choice.menu.root[choice.menu.stretch]
        same = roots == roots[slots, choice.columns][:, None]
        sure = np.where(same, weight, 0).sum(axis=1) / weight.sum(axis=1)
        for beat, slot in zip(found.tune.beats, found.slot, strict=True):
            if beat.human and low <= sure[slot] <= high:
                total += beat.weight
                hits += beat.weight * (
                    beat.human[0] == roots[slot][choice.columns[slot]]
                )
    return hits / max(total, 1)


def share_of_same_chords(founds: list[Found]) -> float:
    """Return how often two bars of a melody heard before have the chords as before."""
    same = total = 0
    for found in founds:
        frame, twin = found.choice.costs.seen.sight.frame, found.choice.costs.twin
        row = found.choice.columns[found.choice.costs.seen.group].tolist()
        ends = [*frame.first[2:], len(row)]
        seen: dict[tuple[int, int], list[int]] = {}
        for start, middle, end in zip(frame.first, frame.first[1:], ends, strict=False):
            key = (int(twin[start]), int(twin[middle]))
            total += key in seen
            same += key in seen and seen[key] == row[start:end]
            seen.setdefault(key, row[start:end])
    return same / max(total, 1)


def figures(agreement: ModuleType, founds: list[Found]) -> str:
    """Format the figures of one level."""
    score = agreement.score([f.tune for f in founds], [f.chords() for f in founds])
    ratio = score["changes a bar"] / score["human changes a bar"]
    named = " ".join(f"{score[key]:.3f}" for key in KEYS)
    best, same = share_of_two_best(founds), share_of_same_chords(founds)
    sure, even = (share_right_where(founds, *edges) for edges in ((0.9, 1), (0.4, 0.6)))
    return (
        f"{named} ratio {ratio:.2f} first two {best:.3f} same bars {same:.3f} "
        f"sure {sure:.3f} even {even:.3f}"
    )


def measure(folder: Path, split: str, kind: str) -> list[str]:
    """Return the lines of figures of one kind of tune ("folk" or "hymn")."""
    agreement, path = load_agreement(folder), folder / f"{kind}-tunes.jsonl"
    rhythm = HarmonicRhythm.BEAT if kind == "hymn" else HarmonicRhythm.AUTO
    lines = []
    for level in (1, 2, 3, 4):
        tunes = agreement.load(split, path)
        founds = [harmonise(tune, Style(level, rhythm)) for tune in tunes]
        lines.append(f"{split} {kind} level {level}: {figures(agreement, founds)}")
    return lines


def main() -> None:
    """Print the figures."""
    shape = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shape)
    parser.add_argument("data", type=Path)
    parser.add_argument("split", nargs="?", default="validation")
    given = parser.parse_args()
    for kind in ("folk", "hymn"):
        for line in measure(given.data, given.split, kind):
            sys.stdout.write(line + "\n")


if __name__ == "__main__":
    main()
