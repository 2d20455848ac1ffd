"""Ten times the tunes of a book: processor time and memory, as ratios of one run.

    HARMONISE_TUNES=1000 python -m pytest tests/benchmarks/bench_books.py -s

compares a book of so many tunes with one of ten times as many; by default 100, which
takes a minute. Nothing is asserted: a busy machine must not turn the tests red.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest
from makers.tune_books import book_of
from pytest_benchmark.fixture import BenchmarkFixture

FEW = int(os.environ.get("HARMONISE_TUNES", "100"))
MANY = 10 * FEW
FIGURES: list[tuple[str, float, str]] = []


@pytest.fixture(scope="module", autouse=True)
def _table() -> Iterator[None]:
    yield
    print()  # noqa: T201 (the figures are printed)
    for name, value, promise in FIGURES:
        print(f"{name}: {value:.2f} ({promise})")  # noqa: T201


class Cost(NamedTuple):
    """What a command took, with its workers.

    Attributes:
        seconds: Of processor time.
        megabytes: Of memory, in the largest of its processes.
    """

    seconds: float
    megabytes: float


_MEASURED = """
import resource, subprocess, sys
done = subprocess.run([sys.executable, "-m", "harmonise", *sys.argv[1:]],
    stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
print(done.returncode, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""


def cost(*words: str) -> Cost:
    """Run a command, and return what it took; all children of a process are summed."""
    line = [sys.executable, "-c", _MEASURED, *words]
    told = subprocess.check_output(line, text=True)  # noqa: S603 (our own words)
    status, seconds, megabytes = told.split()
    assert status == "0"
    return Cost(float(seconds), float(megabytes))


def lay(tunes: int) -> Path:
    path = Path(f"book-{tunes}.abc")
    if not path.exists():
        path.write_text(book_of(tunes))
    return path


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Stand in one folder for all that follows, whose pages are kept."""
    before = Path.cwd()
    os.chdir(tmp_path_factory.mktemp("books"))
    yield
    os.chdir(before)


@pytest.mark.usefixtures("desk")
def test_pages_of_a_book(benchmark: BenchmarkFixture) -> None:
    few = cost("arrange", str(lay(FEW)), "-o", "few")
    many = benchmark.pedantic(cost, ("arrange", str(lay(MANY)), "-o", "many"), rounds=1)  # type: ignore[no-untyped-call]
    told = f"{MANY} tunes over {FEW}, a page each"
    FIGURES.append((f"{told}: processor time", many.seconds / few.seconds, "11"))
    FIGURES.append((f"{told}: memory", many.megabytes / few.megabytes, "1.5"))
    FIGURES.append(("megabytes of the largest process", many.megabytes, ""))
    FIGURES.append(("milliseconds a tune", 1000 * many.seconds / MANY, ""))


@pytest.mark.usefixtures("desk")
def test_the_same_book_again(benchmark: BenchmarkFixture) -> None:
    words = ("arrange", str(lay(MANY)), "-o", "many")
    again = benchmark.pedantic(cost, words, rounds=1)  # type: ignore[no-untyped-call]
    FIGURES.append(("milliseconds a tune, again", 1000 * again.seconds / MANY, ""))
    FIGURES.append(("megabytes, again", again.megabytes, ""))


@pytest.mark.usefixtures("desk")
def test_a_booklet(benchmark: BenchmarkFixture) -> None:
    tunes = min(FEW, 1000)
    words = ("arrange", str(lay(tunes)), "-o", "booklet.pdf")
    whole = benchmark.pedantic(cost, words, rounds=1)  # type: ignore[no-untyped-call]
    FIGURES.append((f"megabytes of a booklet of {tunes}", whole.megabytes, ""))
    name = f"milliseconds a tune of a booklet of {tunes}"
    FIGURES.append((name, 1000 * whole.seconds / tunes, ""))
