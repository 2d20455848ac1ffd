"""The three stories of the page by keys alone: no pointer, and the focus always seen.

Tab goes from one thing to the next; what has the focus is marked and in the window at
every stop (WCAG 2.2, criteria 2.1.1, 2.4.7 and 2.4.11), and no key press loses it.
"""

import io
import re
import zipfile
from pathlib import Path

import pytest
from makers import browser as pages
from makers.browser import Browser, Page, expect
from makers.stories import (
    ABC,
    DESK,
    TABLET,
    choose,
    enter,
    hand_in,
    look,
    opened,
    scripts_of_a_class,
)

pytestmark = pytest.mark.slow
"""Each story opens a browser's window, and takes some seconds."""


def test_an_accompanist_prepares_an_evening_by_keys(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    abc = tmp_path / "shore.abc"
    abc.write_text(ABC, "utf-8")
    with opened(browser, address, DESK) as page:
        with pages.redrawing(page):
            hand_in(page, "#paths button >> nth=1", "#file", [abc])
        enter(page, "#guide-end")
        pages.walk_to(page, "#keep-chords")
        with pages.redrawing(page):
            page.keyboard.press("Enter")
        pages.keep_focus(page)
        kept = pages.chords(page)
        choose(page, "#introduction", "the last line")
        choose(page, "#voices", "age 6 to 7")
        # The chords went along with the tune.
        assert len(pages.chords(page)) > len(kept)
        enter(page, "#how")
        page.keyboard.press("Escape")
        expect(page.locator("#how")).to_be_focused()
        enter(page, "#views [data-view=away]")
        with page.expect_download(timeout=60_000) as waiting:
            enter(page, "#files [data-kind=guitar]")
        assert waiting.value.suggested_filename == "the-long-shore-guitar.pdf"
        enter(page, "#print")
        expect(page.locator("body[data-printed]")).to_be_attached()


def test_a_pupil_types_swaps_and_practises_by_keys(
    browser: Browser, address: str
) -> None:
    with opened(browser, address, DESK, timed=True) as page:
        enter(page, "#paths button >> nth=0")
        pages.walk_to(page, "#text")
        page.keyboard.press("Control+End")
        with pages.redrawing(page):
            page.keyboard.type("C E G E | D - B3 - | C - - - |")
        pages.walk_to(page, "#slots button[tabindex='0']")
        page.keyboard.press("ArrowRight")
        page.keyboard.press("Enter")
        expect(page.locator("#chord")).to_be_visible()
        pages.walk_to(page, "#own-chord")
        page.keyboard.type("Dm")
        with pages.redrawing(page):
            page.keyboard.press("Enter")
        pages.keep_focus(page)
        assert "Dm" in pages.chords(page)
        page.keyboard.press("Escape")
        pages.keep_focus(page)
        enter(page, "#practise-name")
        expect(page.locator("#practise-tempo option")).not_to_have_count(0)
        look(page, "practice")
        enter(page, "#practise-start")
        pages.stop_clock(page)
        pages.wait_for(page, "body[data-practice]")
        page.clock.run_for(500)
        page.clock.resume()
        pages.wait_for(page, "body[data-practice=playing]")
        page.keyboard.press("2")
        look(page, "a wrong key")
        assert played(page) == "Not clean yet: 1 wrong key."
        pages.keep_focus(page)
        enter(page, "#ear-name")
        pages.wait_for(page, "body[data-ear=asked]")
        enter(page, "#ear-choices button >> nth=0")
        pages.wait_for(page, "body[data-ear=answered]")
        expect(page.locator("#ear-next")).to_be_focused()


def played(page: Page) -> str:
    """Play what is asked for on the computer's keys; return what is said then."""
    for _ in range(20):
        now = page.locator("#practise-now").inner_text()
        for letter in re.findall(r"\((\w)\)", now):
            page.keyboard.press(letter.lower())
        if not page.locator("body[data-practice]").count():
            return page.locator("#practise-told").inner_text()
    raise AssertionError("it never ends")


def test_a_teacher_marks_a_class_without_a_pointer(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    scripts = scripts_of_a_class(tmp_path)
    with opened(browser, address, TABLET) as page:
        pages.walk_to(page, "#paths button >> nth=2")
        page.keyboard.press("Enter")
        pages.walk_to(page, "#shelf-tunes button >> nth=0")
        with pages.redrawing(page):
            page.keyboard.press("Enter")
        title = page.locator("#score-title").text_content()
        assert title == "Auld Lang Syne (verse)"
        pages.walk_to(page, "#guide-end")
        page.keyboard.press("Enter")
        pages.walk_to(page, "#views [data-view=away]")
        page.keyboard.press("Enter")
        look(page, "take away")
        # Two files at once: neither is lost.
        pages.walk_to(page, "#worksheet button")
        found: list[str] = []
        page.on("download", lambda one: found.append(one.suggested_filename))
        page.keyboard.press("Enter")
        expect(page.locator("#queue [data-made=done]")).to_have_count(2, timeout=60_000)
        pages.wait_until(page, lambda: len(found) == 2)
        assert sorted(found) == [
            "auld-lang-syne-verse-voices-A-answers.pdf",
            "auld-lang-syne-verse-voices-A.pdf",
        ]
        hand_in(page, "#mark-choose", "#mark-files", scripts)
        expect(page.locator("#mark-told")).to_contain_text("Marked: 2 of 2")
        pages.walk_to(page, ".slip summary >> nth=1")
        page.keyboard.press("Enter")
        look(page, "a class")
        before = page.locator("#class-table tr >> nth=2").inner_text()
        pages.walk_to(page, ".slip >> nth=1 >> .slip-lines input[type=number] >> nth=0")
        page.keyboard.press("Control+a")
        page.keyboard.type("0")
        page.keyboard.press("Tab")
        page.keyboard.type("played so on purpose")
        page.keyboard.press("Enter")
        expect(page.locator(".slip-lines li[data-changed]")).to_have_count(1)
        assert page.locator("#class-table tr >> nth=2").inner_text() != before
        pages.walk_to(page, "#marked-files button >> nth=0")
        with page.expect_download(timeout=60_000) as waiting:
            page.keyboard.press("Enter")
        with zipfile.ZipFile(io.BytesIO(waiting.value.path().read_bytes())) as packed:
            assert packed.namelist() == ["Ada.pdf", "Ben.pdf"]
