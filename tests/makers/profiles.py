"""How many examples a law is tried on: few on a desk, all in CI, many more by night.

The profile is taken from HYPOTHESIS_PROFILE, else it is `ci` where CI is set and `dev`
elsewhere. Each law names the number that CI tries.
"""

import os

PROFILE = os.environ.get("HYPOTHESIS_PROFILE") or (
    "ci" if os.environ.get("CI") else "dev"
)
_ON_A_DESK = 20
_BY_NIGHT = 10


def examples(in_ci: int) -> int:
    """Return how many examples to try now of a law that CI tries so often."""
    if PROFILE == "dev":
        return min(in_ci, _ON_A_DESK)
    return in_ci * _BY_NIGHT if PROFILE == "night" else in_ci
