"""The local page in a real browser: chromium, what it asked for, and waiting for it.

Waiting is for attributes of the page's body, which a strict content-security policy
allows; a function to wait for would be evaluated, which it forbids.
"""

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal, NamedTuple
from urllib.parse import urlsplit

import pytest

if os.environ.get("CI"):
    import playwright.sync_api as browsing
else:
    browsing = pytest.importorskip("playwright.sync_api")

from playwright.sync_api import (
    Browser,
    BrowserContext,
    ConsoleMessage,
    Locator,
    Page,
    Request,
    Route,
    ViewportSize,
    expect,
)

__all__ = ["Browser", "BrowserContext", "Locator", "Page", "Route", "expect"]

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
)
_SOUND_CLOCK = """
Object.defineProperty(BaseAudioContext.prototype, "currentTime", {
  get: () => performance.now() / 1000,
});
"""
"""Lets the sound's clock follow the page's, which a test can move."""
MODEL_KEYBOARD = """
const input = { name: "Model keyboard", onmidimessage: null };
navigator.requestMIDIAccess = async () => ({ inputs: new Map([["one", input]]) });
window.pressKey = (midi) => {
  input.onmidimessage({ data: [0x90, midi, 80] });
  input.onmidimessage({ data: [0x80, midi, 0] });
};
"""
"""A MIDI keyboard that is plugged in, as the Web MIDI API has it, and its keys."""
_ONLY_FAULTS = {"resultTypes": ["violations"]}
_ONLY_COLOURS = {**_ONLY_FAULTS, "runOnly": ["color-contrast"]}
_FOCUS_FAULT = """() => {
  const at = document.activeElement;
  if (at === document.body) return "";
  if (!at.matches(":focus-visible")) return `${at.id} shows no focus`;
  const shown = (one) => {
    const { outlineStyle, outlineWidth, boxShadow } = getComputedStyle(one);
    const isOutlined = outlineStyle !== "none" && parseFloat(outlineWidth) > 0;
    return isOutlined || boxShadow !== "none";
  };
  if (!shown(at) && !shown(at.parentElement)) return `${at.id} has no mark of focus`;
  const { left, right, top, bottom } = at.getBoundingClientRect();
  const inside = right > 0 && left < innerWidth && bottom > 0 && top < innerHeight;
  if (!inside) return `${at.id} ${at.textContent} has the focus out of sight`;
  return "";
}"""
"""Finds what is wrong with the focus: unseen, or out of the window (WCAG 2.2, criteria
2.4.7 and 2.4.11). After the last thing of a page it is the browser's own."""
_MOST_STOPS = 200
Scheme = Literal["light", "dark"]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")
Size = ViewportSize
WIDE: Size = {"width": 1280, "height": 900}
PHONE: Size = {"width": 360, "height": 740}
_SOON = 15
"""Milliseconds after which is looked again."""
PATIENCE = 15_000
"""Milliseconds until a page that does not answer is a failure."""


class Seen(NamedTuple):
    """What a page did while it was open.

    Attributes:
        asked: Addresses that it asked for.
        faults: Errors of its scripts, and what its console called an error.
    """

    asked: list[str]
    faults: list[str]

    def outside(self) -> list[str]:
        """Return the addresses that are not on this machine."""
        local = ("127.0.0.1", None)
        return [one for one in self.asked if urlsplit(one).hostname not in local]


@contextmanager
def chromium() -> Iterator[Browser]:
    """Run Debian's chromium."""
    if not CHROMIUM.exists():
        assert not os.environ.get("CI"), "chromium is not installed"
        pytest.skip("chromium is not installed")
    expect.set_options(timeout=PATIENCE)
    with browsing.sync_playwright() as machine:
        browser = machine.chromium.launch(
            executable_path=str(CHROMIUM), args=list(ARGUMENTS)
        )
        yield browser
        browser.close()


def watched(context: BrowserContext) -> Seen:
    """Return what a context's pages do from now on; nothing outside is reached."""
    seen = Seen([], [])

    def keep_in(request: Request) -> None:
        seen.asked.append(request.url)

    def hear(told: ConsoleMessage) -> None:
        # The browser reports every refusal too, which the page tells in words.
        if told.type == "error" and not told.text.startswith("Failed to load"):
            seen.faults.append(told.text)

    context.on("request", keep_in)
    context.on("weberror", lambda error: seen.faults.append(str(error.error)))
    context.on("console", hear)
    context.route(
        lambda url: urlsplit(url).hostname not in ("127.0.0.1", None, ""),
        lambda route: route.abort(),
    )
    return seen


def opened(context: BrowserContext, address: str, *, timed: bool = False) -> Page:
    """Return the page, open and drawn.

    Args:
        context: The browser's context.
        address: The page's address.
        timed: Whether its clocks, the sound's among them, can be stopped and moved.
    """
    page = context.new_page()
    page.set_default_timeout(PATIENCE)
    if timed:
        page.clock.install()
        page.add_init_script(_SOUND_CLOCK)
    page.goto(address)
    drawn(page)
    return page


def stop_clock(page: Page, after: int = 1) -> None:
    """Stop the clocks of a timed page; `page.clock.run_for` moves them on.

    Args:
        page: The page.
        after: Seconds to which they jump before that.
    """
    page.clock.pause_at(page.evaluate("Date.now()") / 1000 + after)


def redraws(page: Page) -> int:
    """Return how often the score was drawn."""
    return int(page.locator("body").get_attribute("data-redrawn") or 0)


def drawn(page: Page, before: int = 0) -> None:
    """Wait until the score is drawn once more and nothing is under way."""
    other = f':not([data-redrawn="{before}"])'
    wait_for(page, f'body[data-redrawn]{other}[data-state="ready"]:not([data-taps])')


@contextmanager
def redrawing(page: Page) -> Iterator[None]:
    """Do something that draws the score anew, and wait for it."""
    before = redraws(page)
    yield
    drawn(page, before)


def typed(page: Page, text: str) -> None:
    """Type a tune in place of the one that is there."""
    with redrawing(page):
        page.locator("#text").fill(text)


def chords(page: Page) -> list[str]:
    """Return the chords as the page shows them, one a slot."""
    return page.locator("#slots .symbol-text").all_inner_texts()


def wait_for(page: Page, selector: str) -> None:
    """Wait for what may show only for a moment, or comes soon.

    Left to itself, the browser's driver soon looks twice a second alone.
    """
    place = page.locator(selector)
    end = time.monotonic() + PATIENCE / 1000
    while not place.count():
        assert time.monotonic() < end, f"there is no {selector}"
        page.wait_for_timeout(_SOON)


def tune_text(page: Page) -> str:
    """Return what stands in the typing area."""
    return page.locator("#text").input_value()


def sounding(page: Page) -> str:
    """Return the ids of the notes that sound."""
    return page.locator("body").get_attribute("data-sounding") or ""


def wait_until(page: Page, happened: Callable[[], object]) -> None:
    """Wait for what the page does by and by, such as giving out a second file."""
    end = time.monotonic() + PATIENCE / 1000
    while not happened():
        assert time.monotonic() < end, "it does not happen"
        page.wait_for_timeout(_SOON)


def walk_to(page: Page, target: str) -> None:
    """Press Tab until something has the focus, which is in sight at every stop."""
    wanted = page.locator(target)
    for _ in range(_MOST_STOPS):
        if wanted.evaluate("(one) => one === document.activeElement"):
            return
        page.keyboard.press("Tab")
        fault = page.evaluate(_FOCUS_FAULT)
        assert not fault, f"on the way to {target}: {fault}"
    raise AssertionError(target)


def keep_focus(page: Page) -> None:
    """Hold that the focus is somewhere, after something was done by keys."""
    assert page.evaluate("document.activeElement !== document.body")


def barriers(page: Page, *, colours: bool = False) -> list[str]:
    """Return what axe finds against WCAG 2.2 AA and against good practice.

    Args:
        page: The page as it is.
        colours: Whether it looks at contrasts alone, as of a page whose colours are the
            only thing that has changed.
    """
    from axe_playwright_python.sync_playwright import (  # type: ignore[import-untyped]  # noqa: PLC0415
        Axe,
    )

    found = (
        Axe()
        .run(page, options=_ONLY_COLOURS if colours else _ONLY_FAULTS)
        .response["violations"]
    )
    return [
        f"{one['id']}: {node['html'][:120]} {node.get('failureSummary', '')[:200]}"
        for one in found
        for node in one["nodes"]
    ]
