"""Speed of the local page: a swapped chord, as a multiple of verovio's own work.

    python -m pytest tests/benchmarks/bench_page.py -s

What is timed is all that the server does until the swapped chord is seen: the tune
arranged anew, written, the lines that changed engraved, and the answer as JSON; reasons
and words for the screen reader come afterwards. Beside it verovio alone loads and draws
the same score, with a toolkit of its own as its manual has it. The two take turns in
one process and the quickest of each counts, in seconds of this process: so other work
on the machine weighs on both alike. Nothing is asserted: a busy machine must not turn
the tests red. The promise is a ratio of 3 at most.
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
from harmonise.page.answers import Drawn, drawn_lines, json_reply
from harmonise.page.requests import DrawRequest, Level, Lock, Settings, Source

TIMES = 15


def seconds(job: Callable[[], object]) -> float:
    """Return the seconds of this process that a job takes."""
    begun = process_time()
    job()
    return process_time() - begun


def drawn(asked: DrawRequest) -> drawing.Engraved:
    """Return what a request draws; what is remembered of chords is forgotten."""
    making.arrangement_of.cache_clear()
    return drawing.engraved(asked, explained=False)


def swap(asked: DrawRequest) -> bytes:
    """Return the answer with the lines that changed."""
    lines = drawn_lines(asked, drawn(asked))
    return bytes(json_reply(Drawn(lines)).body)


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
    free = DrawRequest(source, 0, Settings(level=Level(level)))
    slots = making.arrangement_of(free.arranging).slots
    slot = next(own for own in slots if own.alternatives)
    chord = str(slot.alternatives[0].chord)
    lock = Lock(slot.onset, slot.end, chord)
    known = tuple(line.key for line in drawn(free).lines)
    asked = replace(free, locks=(lock,), known=known)
    score = format_musicxml(making.arrangement_of(asked.arranging)).decode()
    turns = []
    for _ in range(TIMES):
        drawing.picture.cache_clear()
        drawn(free)  # The page as it was before the swap.
        mine = seconds(lambda: swap(asked))
        turns.append((mine, seconds(lambda: verovio_alone(score))))
    mine, theirs = (min(column) for column in zip(*turns, strict=True))
    bars = len(making.arrangement_of(asked.arranging).tune.bars)
    print(  # noqa: T201 - the figure itself
        f"\n{name}, {bars} bars, level {level}: {mine * 1000:.0f} ms, verovio alone "
        f"{theirs * 1000:.0f} ms, ratio {mine / theirs:.2f}"
    )
