"""What each rule of the trade costs, or earns, in agreement with human arrangers.

Run it in the folder above this one:

    python -m fitting.rules DATA

Prints the share of equal roots at level 1 and level 3 (validation part) as the engine
chooses, and the difference that each change of a rule makes.
"""

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, NamedTuple
from unittest.mock import patch

import numpy as np

from fitting.measure import harmonise, load_agreement
from harmonise.choice import choose, costs, foreign
from harmonise.choice.costs import NEVER
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Menu
from harmonise.choice.weights import PLAIN_WEIGHTS, Weights
from harmonise.theory.arrangement import HarmonicRhythm, Style
from harmonise.theory.numerals import Role

LEVELS = (1, 3)


class Variant(NamedTuple):
    """One change of a rule.

    Attributes:
        name: What is changed, in words.
        weights: The weights beside the table.
        patches: (module, name, replacement) of what is changed in the engine.
    """

    name: str
    weights: Weights = PLAIN_WEIGHTS
    patches: tuple[tuple[Any, str, Callable[..., Any]], ...] = ()


def no_fits(grid: Grid, member: Flags, *, every_beat: bool) -> Flags:
    """Allow every chord under a note that fills its slot."""
    del every_beat
    return np.ones((grid.slots, member.shape[1]), np.bool_)


def nothing_barred(grid: Grid, menu: Menu) -> Flags:
    """Bar no chord."""
    return np.zeros((grid.slots, menu.real.shape[1]), np.bool_)


def dear_accents(strong: int) -> Callable[[Grid, Flags, Weights], Ints]:
    """Return accents that forbid non-chord notes first in slots of such a weight."""

    def accents(grid: Grid, member: Flags, weights: Weights) -> Ints:
        del weights
        first = (grid.order == 0) & (grid.slot_weight[grid.slot] >= strong)
        found = np.zeros((grid.slots, member.shape[1]), np.int64)
        found[grid.slot[first]] = np.where(member[first], 0, NEVER // 64)
        return found

    return accents


def steps_without(families: frozenset[tuple[str, str]]) -> Callable[..., Any]:
    """Return bound steps in which some progressions are forbidden."""
    plain = costs.bound_steps

    def bound_steps(menu: Menu, weights: Weights) -> Any:  # noqa: ANN401
        table = plain(menu, weights)
        for at, row in enumerate(menu.offers):
            for before, one in enumerate(row):
                for after, two in enumerate(row):
                    if (one.family, two.family) in families:
                        table[at, before, after] += NEVER // 64
        return table

    return bound_steps


def tonic_at_the_end(
    tune: Any,  # noqa: ANN401
    menu: Menu,
    columns: Ints,
    here: Ints,
    weights: Weights,
) -> None:
    """Ask for the tonic whatever the tune ends on."""
    del tune
    tonic = menu.each(lambda offer: offer.is_triad(Role.TONIC))
    tonic = tonic[int(menu.stretch[-1])][columns]
    here[-1, : len(columns)] += np.where(tonic, 0, weights.not_tonic_last)


_RETREATS = frozenset({("V", "IV"), ("V", "ii"), ("V", "iv"), ("V", "ii°")})
VARIANTS = (
    Variant("as it is"),
    Variant("H05 off", patches=((foreign, "_fits", no_fits),)),
    Variant("H06 off", PLAIN_WEIGHTS._replace(accented=0)),
    Variant(
        "H06 hard on down-beats",
        patches=((costs, "accents", dear_accents(3)),),
    ),
    Variant("H06 hard in every slot", patches=((costs, "accents", dear_accents(1)),)),
    Variant("H07 off", PLAIN_WEIGHTS._replace(syncopation=0)),
    Variant("H07 forbidden", PLAIN_WEIGHTS._replace(syncopation=NEVER // 64)),
    Variant(
        "H12 forbidden", patches=((costs, "bound_steps", steps_without(_RETREATS)),)
    ),
    Variant("H23 off", patches=((foreign, "_false_relation", nothing_barred),)),
    Variant(
        "leading note free", patches=((foreign, "_bare_leading_note", nothing_barred),)
    ),
    Variant("any last chord", PLAIN_WEIGHTS._replace(not_tonic_last=0)),
    Variant("always tonic last", patches=((choose, "end_on_tonic", tonic_at_the_end),)),
    Variant(
        "voicing costs off",
        PLAIN_WEIGHTS._replace(motion=0, parallel=0, with_bass=0, revoiced=0),
    ),
)


@contextmanager
def changed(variant: Variant) -> Iterator[None]:
    """Change the engine while the block runs."""
    with ExitStack() as stack:
        for where, name, new in variant.patches:
            stack.enter_context(patch.object(where, name, new))
        yield


def roots(folder: Path, variant: Variant) -> list[tuple[float, float]]:
    """Return shares of equal roots and of equal last two chords, by level."""
    agreement, found = load_agreement(folder), []
    tunes = agreement.load("validation", folder / "folk-tunes.jsonl")
    for level in LEVELS:
        style = Style(level, HarmonicRhythm.AUTO)
        with changed(variant):
            done = [harmonise(tune, style, variant.weights) for tune in tunes]
        score = agreement.score(tunes, [own.chords() for own in done])
        found.append((score["root"], score["last two chords"]))
    return found


def main() -> None:
    """Print the table."""
    shape = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=shape)
    parser.add_argument("data", type=Path)
    given = parser.parse_args()
    base: list[tuple[float, float]] = []
    for variant in VARIANTS:
        row = roots(given.data, variant)
        base = base or row
        cells = [
            f"{root:.3f} ({root - was:+.3f}) last {last:.3f} ({last - closed:+.3f})"
            for (root, last), (was, closed) in zip(row, base, strict=True)
        ]
        sys.stdout.write(f"{variant.name:24} " + "   ".join(cells) + "\n")


if __name__ == "__main__":
    main()
