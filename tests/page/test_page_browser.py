"""Each journey through the local page, in a real browser."""

import base64
from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest
from makers import browser as pages
from makers.browser import Browser, BrowserContext, Page, Seen, expect
from oracles.scanned import read_code

import harmonise
from harmonise.notation.outputs import write_score
from harmonise.page.offers import offers

pytestmark = pytest.mark.slow
"""Each journey starts a browser, which takes seconds."""
TUNES = Path(__file__).parents[2] / "tunes"
SHORT = "Title: Short\nKey: C\nTime: 4/4\nC E G E | D - B3 - | C - - - |\n"
QUICK = "Title: Quick\nKey: C\nTime: 2/4\nTempo: 200\nC D | E F | G A | B C5 |\n"
DROP = """([name, base64]) => {
  const bytes = Uint8Array.from(atob(base64), (one) => one.charCodeAt(0));
  const data = new DataTransfer();
  data.items.add(new File([bytes], name));
  for (const kind of ["dragenter", "dragover", "drop"]) {
    const event = { dataTransfer: data, bubbles: true, cancelable: true };
    document.body.dispatchEvent(new DragEvent(kind, event));
  }
}"""

MODULES = """(code) => {
  const [margin, size] = [4, code.viewBox.baseVal.width];
  const count = size - 2 * margin;
  const places = Array.from({ length: count }, (_, at) => margin + at + 0.5);
  const dark = code.querySelector("path");
  const isDark = (x, y) => dark.isPointInFill(new DOMPoint(x, y));
  return places.map((y) => places.map((x) => (isDark(x, y) ? "1" : "0")).join(""));
}"""
"""What the browser has drawn of a code within its margin (ISO/IEC 18004: 4 modules)."""


@pytest.fixture(scope="module")
def modules(browser: Browser, address: str) -> Iterator[Page]:
    """Give a page whose modules are called by themselves."""
    context = browser.new_context()
    yield pages.opened(context, address)
    context.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport=pages.WIDE)
    yield context
    context.close()


@pytest.fixture
def seen(context: BrowserContext) -> Seen:
    return pages.watched(context)


@pytest.fixture
def page(context: BrowserContext, seen: Seen, address: str) -> Iterator[Page]:
    yield pages.opened(context, address)
    assert seen.outside() == []
    assert seen.faults == []


@pytest.fixture
def timed(context: BrowserContext, seen: Seen, address: str) -> Iterator[Page]:
    """Give a page whose time goes on as the test says."""
    page = pages.opened(context, address, timed=True)
    page.get_by_role("button", name="How it plays").click()
    yield page
    assert seen.outside() == []
    assert seen.faults == []


@pytest.fixture
def score_file(tmp_path: Path) -> Path:
    """Return a score in MusicXML with the tune Ferry Steps."""
    path = tmp_path / "ferry.musicxml"
    write_score(harmonise.arrange(harmonise.read_tune(TUNES / "ferry_steps.txt")), path)
    return path


def slot(page: Page, place: int) -> pages.Locator:
    return page.locator("#slots .slot").nth(place)


# Entering a tune


def test_mistake_is_told_and_marked_at_its_line(page: Page) -> None:
    page.locator("#text").fill("Key: C\nC D E F |\nG A H C5 |")
    # While the line is being typed it is not wrong; it is once it is left.
    expect(page.locator("#readback")).to_have_text("This line is not finished yet.")
    expect(page.locator("#fault")).to_be_hidden()
    page.locator("#score").focus()
    expect(page.locator("#fault-text")).to_contain_text('"H" is not a note name')
    expect(page.locator("#mirror .wrong")).to_have_text("G A H C5 |\n")
    expect(page.locator("#text")).to_have_attribute("aria-invalid", "true")
    page.get_by_role("button", name="Go to line 3").click()
    page.keyboard.type("G A B C5 |")
    expect(page.locator("#fault")).to_be_hidden()
    assert pages.tune_text(page) == "Key: C\nC D E F |\nG A B C5 |"
    expect(page.locator("body")).to_have_attribute("data-state", "ready")


def test_computer_keys_play_when_a_piano_key_has_the_focus(page: Page) -> None:
    page.get_by_role("button", name="Begin with an empty page").click()
    page.locator("#piano [tabindex='0']").focus()
    with pages.redrawing(page):
        for key in ("a", "w", "4", "d", ".", "f", "-", "0", "3", "x", "a"):
            page.keyboard.press(key)
    # 4 is a quaver, 3 a crotchet; from the full stop on all are dotted.
    assert pages.tune_text(page).endswith("C C# E.F - | 0.-.-.C5 - -.0.-.-")


def test_a_clicked_note_gives_way_and_others_go_in_behind_it(page: Page) -> None:
    pages.typed(page, SHORT)
    note = page.locator("#score .staff .note").nth(3)
    place = note.bounding_box()
    with pages.redrawing(page):
        note.locator(".notehead").first.click()
        # What was clicked stays where it is.
        assert note.bounding_box() == place
        expect(page.locator("#tap-place")).to_have_text(
            "What you tap takes the place of E in the text."
        )
        page.locator("#piano [data-midi='65']").click()
    assert "C F G E | D - B3 - | C - - - |" in pages.tune_text(page)
    with pages.redrawing(page):
        page.keyboard.press("ArrowRight")
        page.evaluate("document.querySelector('#text').focus()")
        page.keyboard.press("ArrowRight")
        expect(page.locator("#tap-place")).to_contain_text("goes in behind “C F”")
        page.locator("#piano [data-midi='69']").click()
        page.locator("#piano [data-midi='71']").click()
    assert "C F A B | G E D - | B3 - C - | - - 0 0 |" in pages.tune_text(page)
    with pages.redrawing(page):
        page.keyboard.press("Backspace")
    with pages.redrawing(page):
        page.locator("#piano [data-midi='67']").click()
    assert "C F A G | G E D - | B3 - C - | - - 0 0 |" in pages.tune_text(page)
    page.get_by_role("button", name="Go on at the end").click()
    with pages.redrawing(page):
        page.locator("#piano [data-midi='60']").click()
    assert pages.tune_text(page).endswith("| - - 0 0 |\nC")
    expect(page.locator("#tap-place-row")).to_be_hidden()
    # A step back leads to where the caret stood, though words there are alike.
    area, text = page.locator("#text"), pages.tune_text(page)
    typed_at = text.index("A G | G")
    caret = "area => area.setSelectionRange({0}, {0})"
    area.focus()
    area.evaluate(caret.format(typed_at))
    page.keyboard.type("G ")
    page.keyboard.press("Control+z")
    assert pages.tune_text(page) == text
    assert area.evaluate("area => area.selectionStart") == typed_at


def test_seconds_follow_every_change_of_tempo(modules: Page) -> None:
    """Four crotchets at 60 last 4 seconds, four more at 120 last 2: arithmetic."""
    found = modules.evaluate(
        """async () => {
          const { secondsAt, stretchOf, tempoAt } = await import("/files/times.js");
          const tempos = [{ t: 0, perMinute: 60 }, { t: 4, perMinute: 120 }];
          const played = [0, 1, 0, 2].map((index, place) => ({ t: 4 * place, index }));
          return [
            [0, 2, 4, 6, 8].map((time) => secondsAt(tempos, time)),
            [3, 4].map((time) => tempoAt(tempos, time)),
            [stretchOf(played, 16, 0, 1), stretchOf(played, 16, 2, 2)],
          ];
        }"""
    )
    assert found[0] == [0, 2, 4, 5, 6]
    assert found[1] == [60, 120]
    assert found[2] == [{"start": 0, "end": 8}, {"start": 12, "end": 16}]


def test_midi_keyboard_enters_notes_step_by_step(
    context: BrowserContext, seen: Seen, address: str
) -> None:
    context.add_init_script(pages.MODEL_KEYBOARD)
    page = pages.opened(context, address)
    page.get_by_role("button", name="Begin with an empty page").click()
    page.get_by_role("button", name="Use a MIDI keyboard").click()
    expect(page.locator("#midi-told")).to_contain_text("Listening to Model keyboard")
    with pages.redrawing(page):
        for midi in (60, 62, 64, 65, 67):
            page.evaluate("window.pressKey", midi)
    assert pages.tune_text(page).endswith("C D E F | G")
    assert seen.faults == []


def test_chosen_file_is_arranged_and_can_be_turned_into_typing(
    page: Page, score_file: Path
) -> None:
    with pages.redrawing(page):
        page.locator("#file").set_input_files(score_file)
    expect(page.locator("#file-name")).to_have_text("ferry.musicxml")
    expect(page.locator("#readback")).to_contain_text("8 bars of 4/4, D major")
    expect(page.locator("#typed")).to_be_hidden()
    with pages.redrawing(page):
        page.reload()
    expect(page.locator("#file-name")).to_have_text("ferry.musicxml")
    with pages.redrawing(page):
        page.get_by_role("button", name="Turn it into typing").click()
    tune = harmonise.read_tune(pages.tune_text(page))
    ours = harmonise.read_tune(TUNES / "ferry_steps.txt")
    assert [note.pitch for note in tune.notes] == [note.pitch for note in ours.notes]


def test_one_of_several_tunes_is_chosen(page: Page) -> None:
    pages.typed(page, f"{SHORT}\nTitle: Other\nKey: G\nTime: 2/4\nG B | A - | G - |\n")
    with pages.redrawing(page):
        page.get_by_label("Which tune").select_option(label="Other")
    expect(page.locator("#readback")).to_contain_text("3 bars of 2/4, G major")
    assert page.title() == "Other – harmonise"


def test_file_that_cannot_be_read_says_why(page: Page) -> None:
    with pages.redrawing(page):
        page.evaluate(DROP, ["a.txt", base64.b64encode(SHORT.encode()).decode()])
    page.evaluate(DROP, ["a.xml", base64.b64encode(b"<html/>").decode()])
    expect(page.locator("#fault-text")).to_contain_text("a.xml: ")
    assert pages.tune_text(page) == SHORT


# Changing it


def test_the_panel_leaves_the_line_of_its_chord_in_sight(page: Page) -> None:
    page.set_viewport_size(pages.PHONE)
    pages.typed(page, SHORT.replace("C - - - |", "C D E F | " * 12 + "C - - - |"))
    page.locator("#views [data-view=music]").click()
    page.locator("#music-view").wait_for()
    for place in (0, 5, 9):
        page.locator("#slots .slot").nth(place).click()
        mark = page.locator("#score .mark.chosen").last.bounding_box()
        panel = page.locator("#chord").bounding_box()
        assert mark
        assert panel
        tops = (mark["y"] + mark["height"], panel["y"])
        assert tops[0] <= tops[1] or mark["y"] >= panel["y"] + panel["height"]
        assert mark["y"] >= 0
        page.locator("#chord-close").click()


def test_chord_that_is_unknown_is_told_and_undone(page: Page) -> None:
    slot(page, 0).click()
    page.locator("#own-chord").fill("Hurray")
    page.get_by_role("button", name="Put it here").click()
    expect(page.locator("#trouble")).to_contain_text("Hurray")
    with pages.redrawing(page):
        page.get_by_role("button", name="Undo").click()
    expect(page.locator("#trouble")).to_be_hidden()


def test_undo_and_redo_go_through_text_settings_and_locks(page: Page) -> None:
    first = pages.chords(page)
    pages.typed(page, SHORT)
    with pages.redrawing(page):
        page.locator("#transpose").select_option("G")
    slot(page, 0).click()
    with pages.redrawing(page):
        page.get_by_role("button", name="Lock this chord").click()
    for _ in range(2):
        with pages.redrawing(page):
            page.keyboard.press("Control+z")
    assert page.locator("#transpose").input_value() == ""
    with pages.redrawing(page):
        page.get_by_role("button", name="Undo").click()
    assert pages.chords(page) == first
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()
    for _ in range(3):
        with pages.redrawing(page):
            page.get_by_role("button", name="Redo").click()
    assert pages.tune_text(page) == SHORT
    assert page.locator("#slots .locked").count() == 1
    assert pages.chords(page)[0] == "G"


# Listening


def test_playing_marks_the_sounding_notes_and_keys(timed: Page) -> None:
    pages.typed(timed, QUICK)
    timed.locator("#speed").fill("50")
    begun(timed, "playing")
    timed.clock.run_for(200)
    # Eight crotchets at 200 a minute and half the speed: one lasts 600 milliseconds.
    heard = {pages.sounding(timed)}
    for _ in range(7):
        timed.clock.run_for(600)
        heard.add(pages.sounding(timed))
        assert timed.locator("#score .sounding").count() >= 1
        assert timed.locator("#score .mark.right, #score .mark.left").count() >= 1
        assert timed.locator("#shown [data-marks~=right]").count() >= 1
    assert len(heard) == 8
    timed.clock.run_for(1500)
    expect(timed.locator("body")).to_have_attribute("data-play", "stopped")
    assert timed.locator("#score .sounding, #score .mark").count() == 0
    assert timed.locator("#shown [data-marks~=right]").count() == 0


def test_count_in_is_shown_and_one_hand_plays_alone(timed: Page) -> None:
    timed.get_by_label("count in").check()
    timed.get_by_label("left", exact=True).check()
    begun(timed, "counting")
    timed.clock.run_for(200)
    # A crotchet at 96 a minute lasts 625 milliseconds.
    for number in "1234":
        expect(timed.locator("#count")).to_have_text(number)
        expect(timed.locator("body")).to_have_attribute("data-play", "counting")
        timed.clock.run_for(625)
    expect(timed.locator("body")).to_have_attribute("data-play", "playing")
    expect(timed.locator("#count")).to_have_text("")
    assert timed.locator("#score .mark.left").count() == 1
    assert timed.locator("#score .mark.right").count() == 0
    timed.get_by_role("button", name="Stop", exact=True).click()
    expect(timed.locator("body")).to_have_attribute("data-play", "stopped")


def test_loop_comes_round_again_at_a_new_speed(timed: Page) -> None:
    pages.typed(timed, QUICK)
    timed.locator("#from").select_option(label="2")
    timed.locator("#to").select_option(label="2")
    timed.get_by_label("over and over").check()
    timed.locator("#speed").fill("175")
    expect(timed.locator("#speed-told")).to_have_text("175 %, 350 crotchets a minute")
    timed.locator("#score").focus()
    begun(timed, "playing", lambda: timed.keyboard.press("Space"))
    timed.clock.run_for(200)
    # Two crotchets at 350 a minute last 343 milliseconds, at 50 a minute 2,400.
    for count in "123":
        expect(timed.locator("body")).to_have_attribute("data-pass", count)
        timed.clock.run_for(343)
    timed.locator("#speed").fill("25")
    timed.clock.run_for(1200)
    expect(timed.locator("body")).to_have_attribute("data-pass", "4")
    timed.clock.run_for(2400)
    expect(timed.locator("body")).to_have_attribute("data-pass", "5")
    timed.locator("#score").focus()
    timed.keyboard.press("Space")
    expect(timed.locator("body")).to_have_attribute("data-play", "stopped")


def begun(page: Page, state: str, press: Callable[[], None] | None = None) -> None:
    """Stop the clock and begin to play; what is left to wait for is the sound."""
    pages.stop_clock(page)
    (press or page.get_by_role("button", name="Play", exact=True).click)()
    expect(page.locator("body")).to_have_attribute("data-play", state)


# Taking it away


def test_a_shared_page_shows_the_code_of_its_address(
    context: BrowserContext, seen: Seen, address: str
) -> None:
    home = "http://192.168.1.20:8642/#token=aB3_-xyzaB3_-xyzaB3_-xyzaB3_-xyz"

    def share(route: pages.Route) -> None:
        content = msgspec.json.encode(offers(home))
        route.fulfill(body=content, content_type="application/json")

    context.route("**/offers", share)
    page = pages.opened(context, address)
    code = page.locator("#share-code svg")
    expect(page.get_by_role("link", name=home)).to_have_attribute("href", home)
    expect(page.locator("#share-warning")).to_contain_text("Share it at home only.")
    assert read_code(code.evaluate(MODULES)) == home
    assert seen.faults == []


# For everyone


def test_focus_stays_near_when_its_button_goes(page: Page) -> None:
    slot(page, 0).click()
    page.locator("#lock").focus()
    with pages.redrawing(page):
        page.keyboard.press("Enter")
    expect(page.locator("#lock")).to_be_hidden()
    expect(page.locator("#chord-name")).to_be_focused()


def test_chords_are_walked_with_the_arrow_keys(page: Page) -> None:
    slot(page, 0).focus()
    page.keyboard.press("ArrowDown")
    expect(slot(page, 2)).to_be_focused()
    page.keyboard.press("End")
    expect(page.locator("#chord-name")).to_contain_text("Bar 8")
    # One stop only in the order of tabbing.
    assert page.locator("#slots [tabindex='0']").count() == 1


# When something goes wrong, and what it costs


def test_busy_program_is_asked_again(context: BrowserContext, address: str) -> None:
    page = pages.opened(context, address)
    turned_away: list[str] = []

    def busy_once(route: pages.Route) -> None:
        if turned_away:
            route.continue_()
            return
        turned_away.append(route.request.url)
        route.fulfill(status=429, headers={"Retry-After": "1"}, json={})

    page.route("**/arrange", busy_once)
    with pages.redrawing(page):
        page.locator("#transpose").select_option("G")
    assert len(turned_away) == 1
    assert pages.chords(page)[0] == "G"


@pytest.mark.parametrize("question", ["draw", "arrange"])
def test_newest_change_wins_over_a_slow_answer(page: Page, question: str) -> None:
    held: list[pages.Route] = []

    def hold(route: pages.Route) -> None:
        held.append(route)

    page.route(f"**/{question}", hold, times=1)
    with page.expect_request(f"**/{question}"):
        page.locator("#transpose").select_option("G")
    expect(page.locator("body")).to_have_attribute("data-state", "working")
    with pages.redrawing(page):
        page.locator("#transpose").select_option("F")
    assert pages.chords(page)[0] == "F"
    assert len(held) == 1


def test_first_page_is_small(context: BrowserContext, seen: Seen, address: str) -> None:
    sizes: dict[str, int] = {}
    context.on(
        "requestfinished",
        lambda one: sizes.__setitem__(one.url, one.sizes()["responseBodySize"]),
    )
    page = pages.opened(context, address)
    expect(page.locator("#files button").first).to_be_attached()
    assert len(sizes) > 10
    assert sum(sizes.values()) < 500_000
    assert seen.outside() == []
