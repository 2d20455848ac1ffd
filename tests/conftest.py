"""How the tests run here: the same examples each time, few of them on a desk."""

import gc
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, settings
from makers.profiles import MOST_CASES, PROFILE, examples

if TYPE_CHECKING:
    from makers.browser import Browser

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
    """Leave out cases of tests with many where only a few are asked for.

    The first few are taken by `--few`. CI takes cases from all over a test; what looks
    at the whole house (tests outside the rooms) is quick, and runs whole.
    """
    few = config.getoption("--few")
    if few is None and MOST_CASES is None:
        return
    names = [item.nodeid.partition("[")[0] for item in items]
    total, taken = Counter(names), Counter[str]()
    kept: list[pytest.Item] = []
    left: list[pytest.Item] = []
    for item, name in zip(items, names, strict=True):
        at, count = taken[name], total[name]
        taken[name] += 1
        if few is not None:
            runs = at < few
        elif MOST_CASES is None or item.path.parent == config.rootpath / "tests":
            runs = True
        else:
            runs = at * MOST_CASES // count != (at - 1) * MOST_CASES // count
            runs |= count <= MOST_CASES
        (kept if runs else left).append(item)
    config.hook.pytest_deselected(items=left)
    items[:] = kept


def pytest_collection_finish() -> None:
    """Let Python look for dead circles less often, and never among what was loaded.

    Libraries, modules and cases are some hundred megabytes that live to the end: to
    look through them again and again took a sixth of the time of all tests.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.fixture(scope="module")
def address() -> Iterator[str]:
    """Give the whole address of a local page that runs: it takes seconds to start."""
    from makers.served import served  # noqa: PLC0415 - few tests open the page

    with served() as found:
        yield found.address


@pytest.fixture(scope="module")
def browser() -> "Iterator[Browser]":
    """Give one browser for all stories of a file.

    It holds the loop of this thread, which other files need, while it is open.
    """
    from makers.browser import chromium  # noqa: PLC0415 - few tests need a browser

    with chromium() as found:
        yield found
