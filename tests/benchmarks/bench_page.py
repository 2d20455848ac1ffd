"""Speed of the local page: a swapped chord, as a multiple of verovio's own work.

    python -m pytest tests/benchmarks/bench_page.py -s

What is timed is all that the server does for one swap of a chord: the tune arranged
anew with its reasons, written, engraved, its marks and its words for the screen reader
found, and the whole answer as JSON. Beside it verovio alone loads and draws the same
score, with a toolkit of its own as its manual has it. The two take turns in one process
and the quickest of each counts, in seconds of this process: so other work on the
machine weighs on both alike. Nothing is asserted: a busy machine must not turn the
tests red. The promise is a ratio of 3 at most.
"""

from collections.abc import Callable
from pathlib import Path
from time import process_time

import pytest
import verovio
from makers.visitor import TUNES
from msgspec.structs import replace

from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.page import drawing, making
from harmonise.page.answers import json_reply, told_arrangement
from harmonise.page.requests import ArrangeRequest, Level, Lock, Settings, Source

TIMES = 15


def seconds(job: Callable[[], object]) -> float:
    """Return the seconds of this process that a job takes."""
    begun = process_time()
    job()
    return process_time() - begun


def swap(asked: ArrangeRequest) -> bytes:
    """Return the whole answer; only tune and line breaks are remembered."""
    making.arrangement_of.cache_clear()
    drawing.lines.cache_clear()
    done, systems, marks = drawing.engraved(asked)
    return bytes(json_reply(told_arrangement(asked, done, systems, marks)).body)


def verovio_alone(score: str) -> list[str]:
    """Return the pages of a score as verovio draws them by itself."""
    toolkit = verovio.toolkit(False)  # noqa: FBT003 - it takes no name
    toolkit.setResourcePath(str(Path(verovio.__file__).with_name("data")))
    toolkit.loadData(score)
    return [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]


@pytest.mark.parametrize("name", ["auld_lang_syne", "greensleeves", "yankee_doodle"])
@pytest.mark.parametrize("level", ["2", "3"])
def test_a_swapped_chord_is_drawn_soon(name: str, level: str) -> None:
    source = Source((TUNES / f"{name}.txt").read_text("utf-8"))
    free = ArrangeRequest(source, 0, Settings(level=Level(level)))
    slots = making.arrangement_of(free).slots
    slot = next(own for own in slots if own.alternatives)
    chord = str(slot.alternatives[0].chord)
    asked = replace(free, locks=(Lock(slot.onset, slot.end, chord),))
    swap(asked)
    score = format_musicxml(making.arrangement_of(asked)).decode()
    turns = [
        (seconds(lambda: swap(asked)), seconds(lambda: verovio_alone(score)))
        for _ in range(TIMES)
    ]
    mine, theirs = (min(column) for column in zip(*turns, strict=True))
    bars = len(making.arrangement_of(asked).tune.bars)
    print(  # noqa: T201 - the figure itself
        f"\n{name}, {bars} bars, level {level}: {mine * 1000:.0f} ms, verovio alone "
        f"{theirs * 1000:.0f} ms, ratio {mine / theirs:.2f}"
    )
