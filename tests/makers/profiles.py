"""How many examples a law is tried on: few on a desk, all in CI, many more by night.

The profile is taken from HYPOTHESIS_PROFILE, else it is `ci` where CI is set and `dev`
elsewhere. Each law names a number: CI, which has ten minutes, tries half of that, and
the night ten times as many. Of a test with many cases CI takes `MOST_CASES`, spread
over all of them; the night takes all. What one test looks through by itself, it takes
by `spread`.
"""

import os
from collections.abc import Sequence
from typing import TypeVar

T = TypeVar("T")

PROFILE = os.environ.get("HYPOTHESIS_PROFILE") or (
    "ci" if os.environ.get("CI") else "dev"
)
_ON_A_DESK = 20
_BY_NIGHT = 10


MOST_CASES = 30 if PROFILE == "ci" else None
"""How many cases of one test of a room are run; None for all."""
_FEW = 5
"""So few examples are never halved."""


def examples(usual: int) -> int:
    """Return how many examples to try now of a law."""
    if PROFILE == "dev":
        return min(usual, _ON_A_DESK)
    return (
        usual * _BY_NIGHT if PROFILE == "night" else max(min(usual, _FEW), usual // 2)
    )


def spread(rows: Sequence[T], few: int, first: int = 0) -> list[T]:
    """Return all rows by night, else a few from all over them.

    Args:
        rows: What is to be looked through.
        few: How many to take; all, if there are no more.
        first: The row to begin with, counted round, so that each case of a test may
            take other rows.
    """
    if PROFILE == "night" or few >= len(rows):
        return list(rows)
    places = (at * len(rows) // few + first for at in range(few))
    return [rows[place % len(rows)] for place in places]
