"""Speed of the local page: a swapped chord as it is seen, beside verovio's own work.

    python -m pytest tests/benchmarks/bench_page.py -s

What is timed in a real browser is all that a user waits for: from the click that puts
another chord in until the lines of music that changed are painted. In the same minute,
turn about, verovio alone loads and draws the whole of the same score in a process of
its own, with a toolkit of its own as its manual has it. Medians are compared; nothing
is asserted, for a busy machine must not turn the tests red. The promise is a ratio of 2
at most. Reasons and words for the screen reader come afterwards and are timed too.
"""

import random
import subprocess
import sys
from collections.abc import Iterator
from statistics import median
from time import perf_counter

import pytest
from makers import browser as pages
from makers.browser import Page
from makers.served import served

from harmonise import Style, arrange, read_tune
from harmonise.notation.musicxml.writer import format_musicxml

TIMES = 9
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
_WAIT = """() => new Promise((done) => {
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
  document.querySelector("#own button").click();
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


def swaps(page: Page, score: bytes) -> Iterator[tuple[float, float, float]]:
    """Yield seconds until a swap is seen, until all is told, and verovio's."""
    place = page.locator("#slots .slot").count() // 3
    page.locator("#slots .slot").nth(place).click()
    for turn in range(TIMES):
        page.locator("#own-chord").fill(("Am", "F", "Dm", "C", "Em", "G")[turn % 6])
        seen, told = page.evaluate(_WAIT)
        alone = subprocess.run(  # noqa: S603 - our own interpreter
            [sys.executable, "-c", _ALONE], input=score, capture_output=True, check=True
        )
        yield seen / 1000, told / 1000, float(alone.stdout)


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
        begun = perf_counter()
        seen, told, alone = zip(*swaps(page, score), strict=True)
    print(  # noqa: T201 - the figure itself
        f"\n{bars} bars: seen after {median(seen) * 1000:.0f} ms, all told after "
        f"{median(told) * 1000:.0f} ms; verovio alone {median(alone) * 1000:.0f} ms; "
        f"ratio {median(seen) / median(alone):.2f}, {TIMES} swaps in "
        f"{perf_counter() - begun:.0f} s"
    )
