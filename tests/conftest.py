"""How the tests run here: the same examples each time, few of them on a desk."""

from collections import Counter

import pytest
from hypothesis import HealthCheck, settings
from makers.profiles import PROFILE, examples

for name in ("dev", "ci", "night"):
    settings.register_profile(
        name,
        deadline=None,
        derandomize=True,
        max_examples=examples(100),
        suppress_health_check=[HealthCheck.too_slow],
    )
settings.load_profile(PROFILE)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let a quick run take a few cases of each test."""
    parser.addoption("--few", type=int, help="run so many cases of a test at most")


def pytest_collection_modifyitems(
    config: pytest.Config, items: list[pytest.Item]
) -> None:
    """Leave out the further cases of tests where only a few are asked for."""
    few = config.getoption("--few")
    if few is None:
        return
    taken: Counter[str] = Counter()
    kept: list[pytest.Item] = []
    left: list[pytest.Item] = []
    for item in items:
        name = item.nodeid.partition("[")[0]
        taken[name] += 1
        (kept if taken[name] <= few else left).append(item)
    config.hook.pytest_deselected(items=left)
    items[:] = kept
