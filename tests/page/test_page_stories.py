"""Three whole stories on the page, each at a size of its own, light and dark.

The accompanist works at a desk with the mouse, the pupil on a phone with a finger, the
teacher on a tablet with a pen. In every state of each story axe, the open checker,
looks for what shuts anyone out (WCAG 2.2 AA and good practice). The same stories by
keys alone are in `test_page_keyboard`.
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
    PHONE,
    TABLET,
    in_sight,
    look,
    opened,
    press,
    scripts_of_a_class,
)

pytestmark = pytest.mark.slow
"""Each story opens a browser's window, and takes some ten seconds."""


def test_an_accompanist_has_a_page_by_tonight(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    abc = tmp_path / "shore.abc"
    abc.write_text(ABC, "utf-8")
    with opened(browser, address, DESK) as page:
        expect(page.locator("#paths button")).to_have_count(7)
        look(page, "first visit")
        with pages.redrawing(page):
            with page.expect_file_chooser(timeout=60_000) as choosing:
                name = re.compile("^Open a file.*MusicXML")
                page.get_by_role("button", name=name).click()
            choosing.value.set_files(abc)
        expect(page.locator("#score-title")).to_have_text("The Long Shore")
        expect(page.locator("#guide-text")).to_contain_text("2 of 3")
        press(page, "Leave the guide")
        expect(page.locator("#file-chords-told")).to_contain_text("G C D G Em D G")
        look(page, "a file with chords")
        with pages.redrawing(page):
            press(page, "Keep them")
        # Under the pickup there is no chord.
        assert pages.chords(page)[1:6] == ["G", "G", "C", "D", "G"]
        # Whatever is set at the left, its effect is seen at the right.
        with pages.redrawing(page):
            page.get_by_label("Introduction").select_option(label="the last line")
        with pages.redrawing(page):
            page.locator("#verses").select_option("2")
        expect(page.locator("#order")).to_have_text("Introduction – verse 1 – verse 2")
        in_sight(page, "#score .line")
        in_sight(page, "#play")
        pane = page.locator("#sheet").bounding_box()
        assert pane
        assert (pane["width"], pane["height"]) > (800, 380)
        with pages.redrawing(page):
            page.get_by_label("Singers").select_option(label="age 6 to 7")
        sung = page.locator("#sum").inner_text()
        # A key that is asked for puts the singers aside, and says so at once.
        with pages.redrawing(page):
            page.locator("#transpose").select_option("D")
        assert page.locator("#voices").input_value() == ""
        assert "D major" in page.locator("#sum").inner_text() != sung
        with pages.redrawing(page):
            page.locator("#level").select_option("3")
        swap(page)
        look(page, "a chord's panel")
        page.keyboard.press("Escape")
        page.get_by_role("button", name="Take away").click()
        with page.expect_download(timeout=60_000) as waiting:
            page.locator("#files [data-kind=guitar]").click()
        assert waiting.value.suggested_filename == "the-long-shore-guitar.pdf"
        look(page, "taken away")
        is_printed(page)


def is_printed(page: Page) -> None:
    """Press Print; on paper there is the music with its title, and nothing else."""
    press(page, "Print")
    expect(page.locator("body[data-printed]")).to_be_attached()
    page.emulate_media(media="print")
    expect(page.locator("#score-title")).to_be_visible()
    expect(page.locator("#score .line").last).to_be_visible()
    for hidden in ("#bar", "#slots", ".side", "header"):
        expect(page.locator(hidden).first).to_be_hidden()


def swap(page: Page) -> None:
    """Click a chord of the verse, put another in; nothing that was clicked moves."""
    page.evaluate(
        "document.querySelectorAll('#score .line').forEach((one) => (one.old = true))"
    )
    symbols = page.locator("#score .symbol")
    locked = page.locator("#slots .locked").count()
    for place in range(3, symbols.count()):
        symbol = symbols.nth(place)
        before = symbol.bounding_box()
        symbol.click()
        assert symbol.bounding_box() == before
        if page.locator("#alternatives button").count():
            break
        page.keyboard.press("Escape")
        expect(page.locator("#chord")).to_be_hidden()
    in_sight(page, "#chord")
    lines = page.locator("#score .line").count()
    with pages.redrawing(page):
        page.locator("#alternatives button").first.click()
    kept = page.evaluate(
        "[...document.querySelectorAll('#score .line')].filter((one) => one.old).length"
    )
    assert 0 < kept < lines
    expect(page.locator("#chord-name")).to_contain_text("locked")
    swapped = pages.chords(page)
    with pages.redrawing(page):
        press(page, "Undo")
    expect(page.locator("#slots .locked")).to_have_count(locked)
    assert pages.chords(page) != swapped


def test_a_pupil_taps_a_tune_practises_and_comes_back_tomorrow(
    browser: Browser, address: str
) -> None:
    with opened(browser, address, PHONE, touch=True, timed=True) as page:
        look(page, "first visit")
        page.get_by_role("button", name=re.compile("^Type or tap")).tap()
        piano = page.locator("#piano")
        for name in ("C 4", "E 4", "G 4", "E 4"):
            piano.get_by_role("button", name=name, exact=True).tap()
        with pages.redrawing(page):
            piano.get_by_role("button", name="D 4", exact=True).tap()
        assert pages.tune_text(page).endswith("C E G E | D")
        type_the_rest(page)
        look(page, "typed")
        page.get_by_role("button", name="Music", exact=True).tap()
        in_sight(page, "#play")
        in_sight(page, "#score .line")
        # The lines are broken anew for so narrow a window.
        assert page.locator("#score .line").count() > 1
        page.locator("#score .symbol").first.tap()
        in_sight(page, "#chord")
        look(page, "a chord on the phone")
        page.locator("#own-chord").fill("Am")
        with pages.redrawing(page):
            press(page, "Put it here")
        assert pages.chords(page)[0] == "Am"
        press(page, "Close")
        # A note of the score is found in the text, and another key takes its place.
        page.locator("#score .measure").first.locator(".note").first.tap()
        page.get_by_role("button", name="Tune", exact=True).tap()
        with pages.redrawing(page):
            piano.get_by_role("button", name="E 4", exact=True).tap()
        assert "E E G E | D - B3 - | C - - - |" in pages.tune_text(page)
        page.locator("#text").focus()
        before = page.locator("#text").evaluate("(one) => one.selectionStart")
        with pages.redrawing(page):
            page.keyboard.press("Control+z")
        after = page.locator("#text").evaluate("(one) => one.selectionStart")
        assert abs(after - before) <= 1
        page.get_by_role("button", name="Music", exact=True).tap()
        pages.stop_clock(page)
        assert practised(page) == "Clean. 1 of 3 clean runs at 58."
        page.clock.resume()
        look(page, "practised")
        fresh = pages.opened(page.context, page.url, timed=True)
        page.close()
        comes_back(fresh)


def type_the_rest(page: Page) -> None:
    """Type on, a letter at a time; what is not finished is not wrong."""
    page.locator("#text").focus()
    page.keyboard.press("End")
    pages.stop_clock(page)
    for letter in " - B3 - | C - - - |":
        page.keyboard.type(letter)
        page.clock.run_for(420)
        pages.wait_for(page, "body:not([data-state=working])")
        expect(page.locator("#fault")).to_be_hidden()
    page.clock.resume()
    pages.drawn(page)


def practised(page: Page) -> str:
    """Play the left hand with a finger, at the slowest tempo; return what is said."""
    if not page.locator("#practise-panel[open]").count():
        page.locator("#practise-name").tap()
        expect(page.locator("#practise-tempo option")).not_to_have_count(0)
    page.locator("#practise-hand").select_option("left")
    expect(page.locator("#practise-start")).to_be_enabled()
    page.locator("#practise-tempo").select_option("58")
    page.locator("#practise-start").tap()
    pages.wait_for(page, "body[data-practice=counting]")
    # A bar of four beats at 58 is counted in.
    page.clock.run_for(4300)
    pages.wait_for(page, "body[data-practice=playing]")
    key = page.locator("#practise-keys [data-marks~=left]:not([data-marks~=hit])")
    for _ in range(20):
        if not page.locator("body[data-practice]").count():
            return page.locator("#practise-told").inner_text()
        key.first.tap()
    raise AssertionError(page.locator("#practise-now").inner_text())


def comes_back(page: Page) -> None:
    """Find tune, chord and record a day later, and fill the box."""
    pages.stop_clock(page, after=24 * 60 * 60)
    assert "C E G E | D - B3 - | C - - - |" in pages.tune_text(page)
    page.get_by_role("button", name="Music", exact=True).tap()
    assert pages.chords(page)[0] == "Am"
    assert practised(page) == "Clean. 2 of 3 clean runs at 58."
    said = practised(page)
    assert said == "Clean. The box at 58 is ticked; go on at 64."
    tomorrow = page.evaluate("new Date().toISOString().slice(0, 10)")
    expect(page.locator("#practise-record .ticked")).to_have_text(f"✓ {tomorrow}")


def test_a_teacher_marks_a_class_and_hands_out_the_slips(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    scripts = scripts_of_a_class(tmp_path)
    with opened(browser, address, TABLET) as page:
        page.get_by_role("button", name=re.compile("^Look at one of")).click()
        with pages.redrawing(page):
            press(page, "Auld Lang Syne (verse)")
        press(page, "Leave the guide")
        press(page, "Take away")
        with page.expect_file_chooser(timeout=60_000) as choosing:
            press(page, "Choose the scripts")
        choosing.value.set_files(scripts)
        told = page.locator("#mark-told")
        expect(told).to_contain_text("Marked: 2 of 2")
        page.locator(".slip summary").nth(1).click()
        look(page, "a class")
        marks = page.locator("#class-table tr:last-child td:nth-last-child(2)")
        before, line = marks.inner_text(), page.locator(".slip >> nth=1 >> li >> nth=0")
        line.get_by_label("Deduct").fill("0")
        line.get_by_role("button", name="Change it").click()
        # Nothing is changed without a word of reason.
        expect(told).to_contain_text("Write a word or two why")
        assert marks.inner_text() == before
        line.get_by_label("because").fill("played so on purpose")
        line.get_by_role("button", name="Change it").click()
        expect(page.locator(".slip-lines li[data-changed]")).to_have_count(1)
        assert float(marks.inner_text()) > float(before)
        look(page, "a deduction seen otherwise")
        with page.expect_download(timeout=60_000) as waiting:
            press(page, "Slips to print")
        with zipfile.ZipFile(io.BytesIO(waiting.value.path().read_bytes())) as packed:
            assert packed.namelist() == ["Ada.pdf", "Ben.pdf"]
        page.get_by_role("button", name=re.compile("^Back to")).click()
        expect(page.locator(".slip-lines li[data-changed]")).to_have_count(0)
        assert marks.inner_text() == before
