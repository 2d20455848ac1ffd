"""Speed of the local page: a swapped chord as it is seen, beside verovio's own work.

    python -m pytest tests/benchmarks/bench_page.py -s

What is timed in a real browser is all that a user waits for: from the click that puts
another chord in, one on offer, one that was typed, or one that came at one stroke,
until the lines of music that changed are painted. In the same minute, turn about,
verovio alone loads and draws the whole of the same score in a process of its own, with
a toolkit of its own as its manual has it. Medians are compared; nothing is asserted,
for a busy machine must not turn the tests red. The promise is a ratio of 2 at most.
Reasons and words for the screen reader come afterwards and are timed too.
"""

import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from statistics import median
from typing import NamedTuple

import pytest
from makers import browser as pages
from makers.browser import Page
from makers.served import served

from harmonise import Style, arrange, read_tune
from harmonise.notation.musicxml.writer import format_musicxml

TIMES = 9
KEY = 120
"""Milliseconds from key to key of a quick typist: a hundred words a minute."""
TYPED = ("Am", "F", "Dm", "C", "Em", "G", "Am7", "Dm7", "G7")
AT_ONCE = ("C7", "D7", "A7", "E7", "Em7", "Bdim", "Fmaj7", "Cmaj7", "B7")
"""One for each turn: what was there once would be in a memory."""
_ALONE = """
import sys, time
from pathlib import Path
import verovio
score = sys.stdin.buffer.read().decode()
for _ in range(2):
    begun = time.perf_counter()
    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(str(Path(verovio.__file__).with_name("data")))
    toolkit.loadData(score)
    pages = range(1, toolkit.getPageCount() + 1)
    drawn = [toolkit.renderToSVG(page) for page in pages]
    taken = time.perf_counter() - begun
print(taken)
"""
"""The first time the font is read besides; the second counts."""
_WAIT = """(button) => new Promise((done) => {
  const begun = performance.now();
  const before = document.body.dataset.drawn;
  const painted = (then) => requestAnimationFrame(() => setTimeout(then));
  let drawn = 0;
  const look = new MutationObserver(() => {
    const { drawn: now, state } = document.body.dataset;
    if (now === before) return;
    if (!drawn) {
      drawn = -1;
      painted(() => (drawn = performance.now() - begun));
    }
    if (state !== "ready") return;
    look.disconnect();
    painted(() => done([drawn, performance.now() - begun]));
  });
  look.observe(document.body, { attributes: true });
  document.querySelector(button).click();
})"""


def tune_of(bars: int) -> str:
    """Return a tune of so many bars in crotchets, the same each time."""
    dice = random.Random(4)  # noqa: S311 - nothing secret
    names = ["C", "D", "E", "F", "G", "A", "B", "C5", "D5"]
    place, lines = 4, []
    for line in range(bars // 4):
        words = []
        for _ in range(16):
            place = max(0, min(8, place + dice.choice([-2, -1, -1, 1, 1, 2])))
            words.append(names[place])
        rows = [" ".join(words[at : at + 4]) for at in range(0, 16, 4)]
        if line == bars // 4 - 1:
            rows[-1] = "C - - -"
        lines.append(" | ".join(rows))
    return "Title: Long\nKey: C\nTime: 4/4\nTempo: 96\n" + " |\n".join(lines) + " |\n"


class Swap(NamedTuple):
    """Seconds until a swap is seen, until all is told, and verovio's own."""

    seen: float
    told: float
    alone: float


def offered(page: Page, turn: int) -> str:
    """Open the panel of a chord as a user does who reads it; return a button."""
    count = page.locator("#slots .slot").count()
    for place in range(count // 4 + turn, count):
        page.locator("#slots .slot").nth(place).click()
        if page.locator("#alternatives button").count():
            break
    page.wait_for_timeout(1500)
    return "#alternatives button"


def typed_in(page: Page, turn: int) -> str:
    """Type another chord as a quick typist does; return a button."""
    page.locator("#own-chord").press_sequentially(TYPED[turn], delay=KEY)
    page.wait_for_timeout(KEY)
    return "#own button"


def put_in(page: Page, turn: int) -> str:
    """Put in another chord at one stroke, which nobody can draw ahead."""
    page.locator("#own-chord").fill(AT_ONCE[turn])
    return "#own button"


def swaps(
    page: Page, score: bytes, ready: Callable[[Page, int], str]
) -> Iterator[Swap]:
    """Yield what each of some swaps costs, and verovio in the same second."""
    for turn in range(TIMES):
        seen, told = page.evaluate(_WAIT, ready(page, turn))
        alone = subprocess.run(  # noqa: S603 - our own interpreter
            [sys.executable, "-c", _ALONE], input=score, capture_output=True, check=True
        )
        yield Swap(seen / 1000, told / 1000, float(alone.stdout))


@pytest.mark.parametrize("bars", [16, 64, 300])
def test_a_swapped_chord_is_seen_soon(bars: int) -> None:
    text = tune_of(bars)
    score = format_musicxml(arrange(read_tune(text), Style(level=2)))
    with served() as program, pages.chromium() as browser:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        page = pages.opened(context, program.address)
        pages.typed(page, text)
        with pages.redrawing(page):
            page.locator("#level").select_option("2")
        page.wait_for_timeout(500)
        for ready in (offered, typed_in, put_in):
            print(told(bars, list(swaps(page, score, ready)), ready.__name__))  # noqa: T201 - the figure itself


def told(bars: int, rows: list[Swap], how: str) -> str:
    """Return the medians of some swaps in a line."""
    seen, all_told, alone = (
        median(column) * 1000 for column in zip(*rows, strict=True)
    )
    return (
        f"\n{bars} bars, {how}: seen after {seen:.0f} ms, all told after "
        f"{all_told:.0f} ms; verovio alone {alone:.0f} ms; ratio {seen / alone:.2f}"
    )
