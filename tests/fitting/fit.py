"""Fits the cost table to tunes with chords that a human wrote. Needs SciPy.

Run it in the folder above this one:

    python -m fitting.fit DATA/folk-tunes.jsonl fitting/folk.tsv --price 7
    python -m fitting.fit DATA/hymn-tunes.jsonl fitting/hymn.tsv --every-beat --price 4

The model is a conditional chain. Fitted is the cost of the human's row of chords
against all others, where a wrong chord gets a head start by its length (so that the
cheapest path, not only the average, comes out right), with a price on every row of the
table, so that few rows remain. Only `train` tunes are read. `fit_tunes.py` says what
the files hold.
"""

import argparse
from pathlib import Path
from typing import NamedTuple

import numpy as np

from fitting.fit_chain import ALL, Batch, Singles, chances, collect, pack, potentials
from fitting.fit_tunes import read_examples
from harmonise.choice.fitted.table import fill, layout
from harmonise.choice.fitted.words import ROOTS, Flags, Floats

MARGIN, WRONG_QUALITY = 2.0, 0.2
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

    price: float = 7.0
    smooth: float = 3.0
    rounds: int = 150


class Aim(NamedTuple):
    """What the fit aims at.

    Attributes:
        keep: Chords that agree with the human's, [row, chord].
        head: Head start of the others, [row, chord].
    """

    keep: Flags
    head: Singles


def set_aim(batch: Batch) -> Aim:
    """Mark the human's chords; where none is known, all are right."""
    known = (batch.label >= 0)[:, None]
    label = np.maximum(batch.label, 0)
    keep = (label[:, None] == ALL) | ~known
    wrong = (ROOTS[label][:, None] != ROOTS) + WRONG_QUALITY * (label[:, None] != ALL)
    head = MARGIN * wrong * batch.length[:, None] * known
    return Aim(keep, head.astype(np.float32))


def find_loss(gains: Floats, batch: Batch, aim: Aim) -> tuple[float, Floats]:
    """Return the log of all rows of chords over the human's, and its gradient."""
    unary, step = potentials(batch, fill(gains))
    every = chances(batch, unary + aim.head, step)
    human = chances(batch, np.where(aim.keep, unary, FORBIDDEN), step)
    slope = collect(batch, every.chord - human.chord, every.step - human.step)
    return every.total - human.total, slope


def price_of(name: str) -> float:
    """Return the price of a row: rows that many chords share are cheaper."""
    if name.startswith("fit | "):
        return 0.3
    return 0.55 if name.endswith(" chord") else 1.0


def fit(batch: Batch, settings: Settings) -> Floats:
    """Return the gains of all rows, most of them 0."""
    # SciPy is no dependency of the project: only this function needs it.
    from scipy.optimize import minimize  # noqa: PLC0415

    size = len(layout().names)
    aim, smooth = set_aim(batch), settings.smooth
    cost = settings.price * np.array([price_of(name) for name in layout().names])

    def target(both: Floats) -> tuple[float, Floats]:
        """Price gains and losses apart, so that the price has a slope at 0."""
        gains = both[:size] - both[size:]
        value, slope = find_loss(gains, batch, aim)
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
    for i, name in enumerate(layout().names):
        families.setdefault(family_of(name), []).append(i)
    for family, members in families.items():
        rows = sorted((i for i in members if costs[i]), key=lambda i: -abs(costs[i]))
        if rows:
            lines += ["", f"# {family}"]
            lines += [f"{layout().names[i]}\t{costs[i]}" for i in rows]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Read the tunes, fit, write the table."""
    shape = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shape)
    parser.add_argument("tunes", type=Path)
    parser.add_argument("table", type=Path)
    parser.add_argument("--every-beat", action="store_true", help="chords on any beat")
    parser.add_argument("--price", type=float, default=7.0, help="higher: fewer rows")
    parser.add_argument("--smooth", type=float, default=3.0, help="pull towards 0")
    parser.add_argument("--rounds", type=int, default=150)
    given = parser.parse_args()
    batch = pack(read_examples(given.tunes, "train", every_beat=given.every_beat))
    gains = fit(batch, Settings(given.price, given.smooth, given.rounds))
    title = "chord costs, " + ("hymns" if given.every_beat else "folk tunes")
    given.table.write_text(format_table(gains, title), "utf-8")


if __name__ == "__main__":
    main()
