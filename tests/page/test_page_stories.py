"""Three whole stories on the page, each at a size of its own, light and dark.

The accompanist works at a desk with the mouse, the pupil on a phone with a finger, the
teacher on a tablet without any pointer. In every state of each story axe, the open
checker, looks for what shuts anyone out (WCAG 2.2 AA and good practice).
"""

import io
import re
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from makers import browser as pages
from makers.browser import Browser, Page, Seen, expect

import harmonise
from harmonise.notation.outputs import write_score

pytestmark = pytest.mark.slow
"""Each story opens a browser's window, and takes some ten seconds."""
DESK: pages.Size = {"width": 1280, "height": 800}
TABLET: pages.Size = {"width": 768, "height": 1024}
PHONE: pages.Size = {"width": 375, "height": 812}
ABC = """\
X:1
T:The Long Shore
C:A fiddler
M:4/4
L:1/4
Q:1/4=100
K:G
D|G A B G|c B A2|B A G E|D4|
G A B G|c B A2|B A G F|G3|]
w:The tide is out, the shore is long, and I go home with you.
"""


@contextmanager
def opened(
    browser: Browser, address: str, size: pages.Size, *, touch: bool = False
) -> Iterator[Page]:
    """Open the page for a visitor who was never here."""
    context = browser.new_context(viewport=size, bypass_csp=True, has_touch=touch)
    seen: Seen = pages.watched(context)
    yield pages.opened(context, address)
    assert seen.outside() == []
    assert seen.faults == []
    context.close()


def look(page: Page, state: str) -> None:
    """Let axe look at the page as it is, light and dark; nothing scrolls sideways."""
    schemes: tuple[pages.Scheme, ...] = ("light", "dark")
    for scheme in schemes:
        page.emulate_media(color_scheme=scheme)
        assert pages.barriers(page) == [], (state, scheme)
    size = page.viewport_size
    assert size
    for name in ("document.documentElement", "document.body"):
        assert page.evaluate(f"{name}.scrollWidth") <= size["width"], state


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def top_of(page: Page, selector: str) -> float:
    box = page.locator(selector).first.bounding_box()
    assert box
    return box["y"]


def in_sight(page: Page, selector: str) -> None:
    """Hold that something lies whole in the window."""
    box = page.locator(selector).first.bounding_box()
    size = page.viewport_size
    assert box
    assert size
    assert box["x"] >= 0
    assert box["y"] >= 0
    assert box["x"] + box["width"] <= size["width"] + 1, selector
    assert box["y"] + box["height"] <= size["height"] + 1, selector


def test_an_accompanist_has_a_page_by_tonight(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    abc = tmp_path / "shore.abc"
    abc.write_text(ABC, "utf-8")
    with opened(browser, address, DESK) as page:
        expect(page.locator("#paths button")).to_have_count(6)
        look(page, "first visit")
        with pages.redrawing(page):
            with page.expect_file_chooser(timeout=60_000) as choosing:
                name = re.compile("^Open a file.*MusicXML")
                page.get_by_role("button", name=name).click()
            choosing.value.set_files(abc)
        expect(page.locator("#score-title")).to_have_text("The Long Shore")
        expect(page.locator("#guide-text")).to_contain_text("2 of 3")
        press(page, "Leave the guide")
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
    expect(page.locator("#slots .locked").first).to_be_attached()
    with pages.redrawing(page):
        press(page, "Undo")
    expect(page.locator("#slots .locked")).to_have_count(0)


def test_a_pupil_taps_a_tune_on_the_phone_and_comes_back(
    browser: Browser, address: str
) -> None:
    with opened(browser, address, PHONE, touch=True) as page:
        look(page, "first visit")
        page.get_by_role("button", name=re.compile("^Type or tap")).tap()
        piano = page.locator("#piano")
        for name in ("C 4", "E 4", "G 4", "E 4"):
            piano.get_by_role("button", name=name, exact=True).tap()
        with pages.redrawing(page):
            piano.get_by_role("button", name="D 4", exact=True).tap()
        assert pages.tune_text(page).endswith("C E G E | D")
        # The rest is typed, a letter at a time; what is not finished is not wrong.
        page.locator("#text").focus()
        page.keyboard.press("End")
        wrong = 0
        for letter in " - B3 - | C - - - |":
            page.keyboard.type(letter)
            page.wait_for_timeout(420)
            wrong += page.locator("#fault").is_visible()
        assert wrong == 0
        pages.drawn(page)
        look(page, "typed")
        page.get_by_role("button", name="Music", exact=True).tap()
        pages.drawn(page)
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
        page.reload()
        pages.drawn(page)
        assert "C E G E | D - B3 - | C - - - |" in pages.tune_text(page)
        page.get_by_role("button", name="Music", exact=True).tap()
        pages.drawn(page)
        assert pages.chords(page)[0] == "Am"


def test_a_teacher_marks_a_class_without_a_pointer(
    browser: Browser, address: str, tmp_path: Path
) -> None:
    scripts = scripts_of_a_class(tmp_path)
    with opened(browser, address, TABLET) as page:
        go_to(page, "#paths button >> nth=2")
        page.keyboard.press("Enter")
        go_to(page, "#shelf-tunes button >> nth=0")
        with pages.redrawing(page):
            page.keyboard.press("Enter")
        title = page.locator("#score-title").text_content()
        assert title == "Auld Lang Syne (verse)"
        go_to(page, "#guide-end")
        page.keyboard.press("Enter")
        go_to(page, "#views [data-view=away]")
        page.keyboard.press("Enter")
        look(page, "take away")
        # Two files at once: neither is lost.
        go_to(page, "#worksheet button")
        found: list[str] = []
        page.on("download", lambda one: found.append(one.suggested_filename))
        page.keyboard.press("Enter")
        expect(page.locator("#queue [data-made=done]")).to_have_count(2, timeout=60_000)
        page.wait_for_timeout(200)
        assert sorted(found) == [
            "auld-lang-syne-verse-voices-A-answers.pdf",
            "auld-lang-syne-verse-voices-A.pdf",
        ]
        go_to(page, "#mark-choose")
        with page.expect_file_chooser(timeout=60_000) as choosing:
            page.keyboard.press("Enter")
        choosing.value.set_files(scripts)
        expect(page.locator("#mark-told")).to_contain_text("Marked: 2 of 2")
        go_to(page, ".slip summary >> nth=1")
        page.keyboard.press("Enter")
        look(page, "a class")
        before = page.locator("#class-table tr >> nth=2").inner_text()
        go_to(page, ".slip >> nth=1 >> .slip-lines input[type=number] >> nth=0")
        page.keyboard.press("Control+a")
        page.keyboard.type("0")
        page.keyboard.press("Tab")
        page.keyboard.type("played so on purpose")
        page.keyboard.press("Enter")
        expect(page.locator(".slip-lines li[data-changed]")).to_have_count(1)
        assert page.locator("#class-table tr >> nth=2").inner_text() != before
        go_to(page, "#marked-files button >> nth=0")
        with page.expect_download(timeout=60_000) as waiting:
            page.keyboard.press("Enter")
        with zipfile.ZipFile(io.BytesIO(waiting.value.path().read_bytes())) as packed:
            assert packed.namelist() == ["Ada.pdf", "Ben.pdf"]


def scripts_of_a_class(folder: Path) -> list[Path]:
    """Return the works of two pupils: the page itself, and one with a wrong bass."""
    tune = harmonise.read_tune(Path(__file__).parents[2] / "tunes/auld_lang_syne.txt")
    right, wrong = folder / "Ada.musicxml", folder / "Ben.musicxml"
    write_score(harmonise.arrange(tune), right)
    score = right.read_text("utf-8")
    bass = re.search(r"<step>F</step>\s*<octave>2</octave>", score)
    assert bass
    there = bass[0].replace("<step>F", "<step>E")
    wrong.write_text(score[: bass.start()] + there + score[bass.end() :], "utf-8")
    return [right, wrong]


def go_to(page: Page, target: str) -> None:
    """Press Tab until something has the focus."""
    wanted = page.locator(target)
    for _ in range(150):
        if wanted.evaluate("(one) => one === document.activeElement"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(target)
