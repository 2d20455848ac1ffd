"""Fits the cost table to tunes with chords that a human wrote. Needs SciPy.

Run it in the folder above this one:

    python -m fitting.fit DATA/folk-tunes.jsonl fitting/folk.tsv --price 8.5
    python -m fitting.fit DATA/hymn-tunes.jsonl fitting/hymn.tsv --every-beat --price 4

The model is a conditional chain. Fitted is the cost of the human's row of chords
against all others, where a wrong chord gets a head start by its length (so that the
cheapest path, not only the average, comes out right), with a price on every row of the
table, so that few rows remain. The human's row has to win three times: among all
chords, among those of level 3 and among those of level 1, each time in the slots in
which the human's chord is one of them. Only `train` tunes are read. `fit_tunes.py` says
what the files hold.
"""

import argparse
from pathlib import Path
from typing import NamedTuple

import numpy as np

from fitting.fit_chain import ALL, Batch, Singles, chances, collect, pack, potentials
from fitting.fit_tunes import read_examples
from fitting.layout import fill, layout
from harmonise.choice.fitted.words import ROOTS, Flags, Floats

MARGIN, WRONG_QUALITY = 2.5, 0.2
# How much each of `AIMS` counts.
SHARES = (0.2, 0.5, 0.3)
SMALLEST = 0.03
# The human's row is found by making all other chords nearly impossible.
FORBIDDEN = np.float32(-60)


class Settings(NamedTuple):
    """How to fit.

    Attributes:
        price: Price of a row of the table: higher leaves fewer rows.
        smooth: Pull of every row towards 0.
        rounds: Most rounds of the search.
    """

    price: float = 8.5
    smooth: float = 3.0
    rounds: int = 150


class Aim(NamedTuple):
    """What the fit aims at under one palette.

    Attributes:
        share: How much it counts.
        allowed: Chords that may be chosen, [row, chord].
        keep: Those of them that agree with the human's, [row, chord].
        head: Head start of the others, [row, chord].
    """

    share: float
    allowed: Flags
    keep: Flags
    head: Singles


def set_aim(batch: Batch) -> tuple[Aim, ...]:
    """Mark the human's chords; where none is known or allowed, all are right."""
    label = np.maximum(batch.label, 0)
    right, rows = label[:, None] == ALL, np.arange(len(label))
    wrong = (ROOTS[label][:, None] != ROOTS) + WRONG_QUALITY * ~right
    head = MARGIN * wrong * batch.length[:, None]
    aims = []
    for k, share in enumerate(SHARES):
        allowed = batch.allowed[:, k]
        known = ((batch.label >= 0) & allowed[rows, label])[:, None]
        keep = (right | ~known) & allowed
        aims.append(Aim(share, allowed, keep, (head * known).astype(np.float32)))
    return tuple(aims)


def find_loss(
    gains: Floats, batch: Batch, aims: tuple[Aim, ...]
) -> tuple[float, Floats]:
    """Return the log of all rows of chords over the human's, and its gradient."""
    unary, step = potentials(batch, fill(gains))
    first = batch.active[0]
    total, chord, steps = 0.0, np.zeros_like(unary), np.zeros_like(step[first:])
    for share, allowed, keep, head in aims:
        every = chances(batch, np.where(allowed, unary + head, FORBIDDEN), step)
        human = chances(batch, np.where(keep, unary, FORBIDDEN), step)
        total += share * (every.total - human.total)
        chord += np.float32(share) * (every.chord - human.chord)
        steps += np.float32(share) * (every.step - human.step)
    return total, collect(batch, chord, steps)


def price_of(name: str) -> float:
    """Return the price of a row: rows that many chords share are cheaper."""
    head, *_, tail = name.split(" | ")
    if head == "fit":
        return 0.3
    if head.startswith("tune: "):
        # Few tunes stand behind such a row, though many slots do.
        return 3.0
    if tail.endswith(" chord") or (head == "change" and tail.startswith("root ")):
        return 0.55
    return 0.8 if tail.startswith("root ") else 1.0


def fit(batch: Batch, settings: Settings) -> Floats:
    """Return the gains of all rows, most of them 0."""
    # SciPy is no dependency of the project: only this function needs it.
    from scipy.optimize import minimize  # noqa: PLC0415

    names = layout().names
    size, aims, smooth = len(names), set_aim(batch), settings.smooth
    cost = settings.price * np.array([price_of(name) for name in names])

    def target(both: Floats) -> tuple[float, Floats]:
        """Price gains and losses apart, so that the price has a slope at 0."""
        gains = both[:size] - both[size:]
        value, slope = find_loss(gains, batch, aims)
        slope = slope + smooth * gains
        price = 0.5 * smooth * (gains @ gains) + cost @ (both[:size] + both[size:])
        return value + float(price), np.r_[slope + cost, cost - slope]

    rounds = {"maxiter": settings.rounds, "maxfun": 2 * settings.rounds}
    start, bounds = np.zeros(2 * size), [(0, None)] * (2 * size)
    found = minimize(
        target, start, jac=True, method="L-BFGS-B", bounds=bounds, options=rounds
    )
    gains = found.x[:size] - found.x[size:]
    return np.where(np.abs(gains) < SMALLEST, 0.0, gains)


def family_of(name: str) -> str:
    """Return the heading under which a row stands."""
    if ": " in name:
        return name.rpartition(": ")[0]
    words = name.split(" | ")
    return " | ".join(words[: 2 if words[0] in ("change", "step") else 1])


def format_table(gains: Floats, title: str) -> str:
    """Format gains as milli-costs by family, strongest first inside each."""
    costs = np.rint(-1000 * gains).astype(int)
    rule = "milli-costs, added up along the path; lower is better"
    origin = f"Fitted by fit.py; {np.count_nonzero(costs)} rows."
    lines = [f"# {title}: {rule}. {origin}"]
    families: dict[str, list[int]] = {}
    names = layout().names
    for i, name in enumerate(names):
        families.setdefault(family_of(name), []).append(i)
    for family, members in families.items():
        rows = sorted((i for i in members if costs[i]), key=lambda i: -abs(costs[i]))
        if rows:
            lines += ["", f"# {family}"]
            lines += [f"{names[i]}\t{costs[i]}" for i in rows]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Read the tunes, fit, write the table."""
    shape = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shape)
    parser.add_argument("tunes", type=Path)
    parser.add_argument("table", type=Path)
    parser.add_argument("--every-beat", action="store_true", help="chords on any beat")
    parser.add_argument("--price", type=float, default=8.5, help="higher: fewer rows")
    parser.add_argument("--smooth", type=float, default=3.0, help="pull towards 0")
    parser.add_argument("--rounds", type=int, default=150)
    given = parser.parse_args()
    batch = pack(read_examples(given.tunes, "train", every_beat=given.every_beat))
    gains = fit(batch, Settings(given.price, given.smooth, given.rounds))
    title = "chord costs, " + ("hymns" if given.every_beat else "folk tunes")
    given.table.write_text(format_table(gains, title), "utf-8")


if __name__ == "__main__":
    main()
