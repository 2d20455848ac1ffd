"""Speed of the MusicXML writer, as ratios in one run.

    python -m pytest tests/benchmarks/bench_writing.py -s

Nothing is asserted: a busy machine must not turn the tests red.
"""

from collections.abc import Callable
from fractions import Fraction
from timeit import repeat
from xml.etree import ElementTree as ET

from makers.scores import arrange, make_tune
from pytest_benchmark.fixture import BenchmarkFixture

from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.notation.score.note_values import grid_of
from harmonise.notation.score.printed_rhythm import lay_out
from harmonise.theory.arrangement import Arrangement

_FOUR_BARS = (
    "E4:1 E4:1 G4:1 E4:1 D4:3/2 D4:1/2 B4:2 C5:1/2 E5:1/2 G4:1 C5:1/2 D5:1/2 E5:1 "
    "A4:1 A4:1 C5:1/3 B4:1/3 A4:1/3 A4:1"
)


def lead_sheet(bars: int) -> Arrangement:
    """Return so many bars with words, held inner notes, symbols and numerals.

    Args:
        bars: A multiple of four.
    """
    tune = make_tune(_FOUR_BARS, "C", words=("la " * 20,))
    four = arrange(tune, "C:4 G:2 C:2 F:4 G7:4")
    starts = [Fraction(16 * number) for number in range(bars // 4)]
    struck = [n._replace(onset=n.onset + at) for at in starts for n in four.notes]
    slots = [s._replace(onset=s.onset + at) for at in starts for s in four.slots]
    moved = tune._replace(
        notes=tuple(
            n._replace(onset=n.onset + at) for at in starts for n in tune.notes
        ),
        bars=tuple(
            bar._replace(start=bar.start + at, number=bar.number + int(at / 4))
            for at in starts
            for bar in tune.bars
        ),
        phrases=tuple(at + 16 for at in starts),
    )
    return four._replace(tune=moved, notes=tuple(struck), slots=tuple(slots))


def quickest(job: Callable[[], object], times: int) -> float:
    """Return the seconds that the quickest of several runs took.

    As in `timeit`, which this is, the collector of garbage rests: its work grows with
    all that the tests before have left behind.
    """
    return min(repeat(job, number=1, repeat=times))


def test_a_page_over_copying_it(benchmark: BenchmarkFixture) -> None:
    arrangement = lead_sheet(32)
    page = format_musicxml(arrangement)

    def write() -> None:
        lay_out.cache_clear()
        grid_of.cache_clear()
        format_musicxml(arrangement)

    ours = quickest(write, 9)
    copied = quickest(
        lambda: ET.tostring(ET.fromstring(page), "UTF-8"),  # noqa: S314 - our own page
        9,
    )
    print(f"\n32 bars over copying them: {ours / copied:.2f} (at most 1.25)")  # noqa: T201
    benchmark(write)


def test_ten_times_the_bars(benchmark: BenchmarkFixture) -> None:
    short, long = lead_sheet(200), lead_sheet(2000)
    few = quickest(lambda: format_musicxml(short), 5)
    many = quickest(lambda: format_musicxml(long), 2)
    print(f"\n2,000 bars over 200: {many / few:.1f} (at most 12)")  # noqa: T201
    benchmark(format_musicxml, short)
