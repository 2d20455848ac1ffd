"""The figures we promise, as ratios in one run.

    python -m pytest tests/benchmarks/bench_figures.py

Nothing is asserted: a busy machine must not turn the tests red. The table at the end
names each figure, what was measured and what was promised.
"""

import compileall
import resource
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from time import perf_counter

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

import harmonise
from harmonise.arranging.job import settle
from harmonise.choice.choose import choose
from harmonise.choice.sounding import sounding_notes
from harmonise.notation.formats import read_tune
from harmonise.theory.arrangement import Style

LINE = """E E G E | D D B3 - | C E G C5 | B A G - |
A A C5 A | G E C E | D.E D B3 D | C - - 0 |
"""
FIGURES: list[tuple[str, float, str]] = []


@pytest.fixture(scope="module", autouse=True)
def _table() -> Iterator[None]:
    compileall.compile_dir(str(Path(harmonise.__file__).parent), quiet=2)
    yield
    print()  # noqa: T201 (the figures are printed)
    for name, value, promise in FIGURES:
        print(f"{name}: {value:.2f} ({promise})")  # noqa: T201


def text_of(bars: int) -> str:
    return "Key: C\nTime: 4/4\nTempo: 96\n" + LINE * (bars // 8)


def seconds(job: Callable[[], object], times: int = 5) -> float:
    """Return the shortest of several runs."""
    found = []
    for _ in range(times):
        start = perf_counter()
        job()
        found.append(perf_counter() - start)
    return min(found)


def processor_seconds(job: Callable[[], object], times: int = 9) -> float:
    """Return the least processor time that the children of several runs took.

    What else the machine does counts less in it than in the time on the clock.
    """
    found = []
    for _ in range(times):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        job()
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        user, system = (
            after.ru_utime - before.ru_utime,
            after.ru_stime - before.ru_stime,
        )
        found.append(user + system)
    return min(found)


def command(*words: str) -> Callable[[], object]:
    line = [sys.executable, *words]
    return lambda: subprocess.run(line, check=True, capture_output=True)  # noqa: S603


def test_text_tune_cold(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    tune = tmp_path / "tune.txt"
    tune.write_text(text_of(32))
    target = str(tmp_path / "out.musicxml")
    ours = command("-m", "harmonise", "arrange", str(tune), "-o", target, "--force")
    base = processor_seconds(command("-c", "import numpy, click"))
    ratio = processor_seconds(ours) / base
    FIGURES.append(("text tune over importing numpy, click", ratio, "at most 1.7"))
    benchmark(ours)


def test_musicxml_tune_cold(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    score = tmp_path / "tune.musicxml"
    done = harmonise.arrange(read_tune(text_of(32)))
    harmonise.write_score(done, score)
    target = str(tmp_path / "out.musicxml")
    ours = command("-m", "harmonise", "arrange", str(score), "-o", target, "--force")
    parse = f"import music21; music21.converter.parse({str(score)!r}, forceSource=True)"
    ratio = seconds(ours, 5) / seconds(command("-c", parse), 5)
    FIGURES.append(("MusicXML tune over music21 parsing it", ratio, "at most 0.6"))
    benchmark(ours)


def test_pdf_cold(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    tune = tmp_path / "tune.txt"
    tune.write_text(text_of(16))
    target = str(tmp_path / "out.pdf")
    ours = command("-m", "harmonise", "arrange", str(tune), "-o", target, "--force")
    base = seconds(command("-c", "import numpy, verovio, typst"), 9)
    ratio = seconds(ours, 9) / base
    name = "one-page PDF from text over importing numpy, verovio, typst"
    FIGURES.append((name, ratio, "at most 3"))
    benchmark(ours)


def test_drill_booklet(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    tune = tmp_path / "tune.txt"
    tune.write_text(text_of(32))
    page, book = str(tmp_path / "page.pdf"), str(tmp_path / "book.pdf")
    words = ("-m", "harmonise")
    sheet = command(*words, "arrange", str(tune), "-o", page, "--force")
    keys = ("--keys", "all", "-o", book, "--force")
    booklet = command(*words, "drill", "D1", *keys)
    ratio = seconds(booklet, 5) / seconds(sheet, 5)
    FIGURES.append(("12-key drill booklet over a single sheet", ratio, "at most 20"))
    benchmark(booklet)


@pytest.mark.parametrize(("level", "promise"), [(1, 20_000), (4, 5_000)])
def test_slots_a_second(benchmark: BenchmarkFixture, level: int, promise: int) -> None:
    tune = read_tune(text_of(800))
    style = settle(tune, Style(level))

    def job() -> int:
        choice = choose(tune, style)
        sounding_notes(tune, choice)
        return choice.grid.slots

    slots = job()
    rate = slots / seconds(job)
    FIGURES.append((f"slots a second at level {level}", rate, f"at least {promise}"))
    benchmark(job)


@pytest.mark.parametrize("level", [1, 4])
def test_ten_times_the_bars(benchmark: BenchmarkFixture, level: int) -> None:
    short, long = read_tune(text_of(192)), read_tune(text_of(1920))
    style = settle(short, Style(level))
    base = seconds(lambda: sounding_notes(short, choose(short, style)), 25)
    ratio = seconds(lambda: sounding_notes(long, choose(long, style)), 15) / base
    FIGURES.append((f"ten times the bars, level {level}", ratio, "at most 11"))
    benchmark(choose, short, style)


def test_memory_of_2000_bars(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    tune = tmp_path / "tune.txt"
    tune.write_text(text_of(2000))
    code = (
        "import resource, sys\n"
        "from harmonise import Style, arrange, read_tune\n"
        "from harmonise.theory.arrangement import HarmonicRhythm\n"
        f"tune = read_tune({str(tune)!r})\n"
        "arrange(tune, Style(4, HarmonicRhythm.BEAT))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)\n"
    )
    done = subprocess.run(  # noqa: S603
        [sys.executable, "-c", code], check=True, capture_output=True
    )
    FIGURES.append(("MB for 2,000 bars, level 4", float(done.stdout), "at most 500"))
    benchmark(read_tune, text_of(200))
