"""Work that is kept: pieces with names, two windows, a restart, a full or bad store."""

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from makers import browser as pages
from makers.browser import Browser, BrowserContext, Page, expect
from makers.served import Served, served

pytestmark = pytest.mark.slow
"""Each story starts a browser, which takes seconds."""
ONE = "Title: One\nKey: C\nTime: 4/4\nC E G E | D - B3 - | C - - - |\n"
TWO = "Title: Two\nKey: G\nTime: 4/4\nG B D5 B | A - F# - | G - - - |\n"


@pytest.fixture(scope="module")
def program() -> Iterator[Served]:
    with served() as found:
        yield found


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport=pages.WIDE)
    seen = pages.watched(context)
    yield context
    assert seen.outside() == []
    assert seen.faults == []
    context.close()


def piece_names(page: Page) -> list[str]:
    """Return the pieces of work as they are listed."""
    if not page.locator("#my-work[open]").count():
        page.locator("#my-work-name").click()
        # The list is written when the browser says that it is open.
        pages.wait_for(page, "#piece-list li:visible")
    return page.locator("#piece-list .piece-name").all_inner_texts()


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def slot_of(page: Page, bar: int) -> pages.Locator:
    """Return the chords of a bar, counted from 1."""
    return page.locator(f'#slots .bar[data-bar="{bar - 1}"] .symbol-text')


def stored(page: Page) -> list[str]:
    found: list[str] = page.evaluate("Object.keys(localStorage)")
    return [key for key in found if key.startswith("harmonise.piece.")]


ABC = 'X:1\nT:Own\nM:4/4\nL:1/4\nK:C\n"C"CEGE|"Am"A2"F"F2|"G"GFED|"C"C4|]\n'


def test_chords_of_a_file_are_asked_about_and_locks_follow_the_text(
    context: BrowserContext, program: Served, tmp_path: Path
) -> None:
    page = pages.opened(context, program.address)
    (tmp_path / "own.abc").write_text(ABC)
    with pages.redrawing(page):
        page.locator("#file").set_input_files(tmp_path / "own.abc")
    expect(page.locator("#file-chords")).to_contain_text("C Am F G C")
    assert "Am" not in pages.chords(page)
    with pages.redrawing(page):
        press(page, "Keep them")
    kept = ["C", "Am", "F", "G", "C"]
    assert list(dict.fromkeys(pages.chords(page))) == kept[:-1]
    assert page.locator("#slots .slot:not(.locked)").count() == 0
    with pages.redrawing(page):
        page.reload()
    # It is asked once.
    expect(page.locator("#file-chords")).to_be_hidden()
    with pages.redrawing(page):
        page.locator("#voices").select_option("age-4-5")
    # The chords have moved with the tune: a tone up (common practice).
    assert list(dict.fromkeys(pages.chords(page))) == ["D", "Bm", "G", "A"]
    # A bar more in front, and no chords in the text: the locks are the page's.
    bare = re.sub('"[^"]*"', "", ABC)
    pages.typed(page, bare.replace("CEGE", "G2E2|CEGE"))
    assert page.locator("#slots .locked").count() >= 5
    expect(slot_of(page, 3)).to_have_text(["Bm", "G"])
    pages.typed(page, bare.replace("CEGE|A2F2", "G2E2|CEGE"))
    told = page.locator("#lost-locks")
    expect(told).to_contain_text("gone, and the lock with it: Bar 3, beat 1: Am; ")
    # The whole is kept as a file, and comes back from it.
    piece_names(page)
    with page.expect_download() as waiting:
        press(page, "Keep the open piece as a file")
    assert waiting.value.suggested_filename == "own-work.txt"
    before = (pages.tune_text(page), pages.chords(page))
    with pages.redrawing(page):
        press(page, "Begin with an empty page")
    waiting.value.save_as(tmp_path / "work.txt")
    with pages.redrawing(page):
        page.locator("#file").set_input_files(tmp_path / "work.txt")
    assert (pages.tune_text(page), pages.chords(page)) == before


def test_a_drill_is_practised_until_its_box_is_ticked(
    context: BrowserContext, program: Served
) -> None:
    page = pages.opened(context, program.address, timed=True)
    page.locator("#practise-name").click()
    page.locator("#practise-what").select_option("D4")
    now, told = page.locator("#practise-now"), page.locator("#practise-told")
    expect(now).to_contain_text("D4: I–IV–V–I, C major")
    assert page.locator("#score .line").count() >= 2
    pages.stop_clock(page)
    begin_run(page)
    expect(now).to_have_text(
        "Bar 1, beat 1, C: right hand C4 (Q) E4 (E) G4 (T); left hand C3 (Z)."
    )
    page.keyboard.press("2")
    expect(told).to_have_text("C#4 is wrong. Bar 1, beat 1: C3 C4 E4 G4")
    assert page.locator("#practise-keys [data-marks~=wrong]").count() == 1
    assert page.locator("#score .mark.right, #score .mark.left").count() >= 2
    for key in "qetz":
        page.keyboard.press(key)
    expect(now).to_contain_text("F: right hand C4 (Q) F4 (R) A4 (Y); left hand F2 (V).")
    expect(now).to_contain_text("C4 stays.")
    assert page.locator("#practise-keys [data-marks~=kept]").count() == 1
    for key in "vqry":
        page.keyboard.press(key)
    # The row of letters ends before G4, which is under the G of the row.
    expect(now).to_contain_text("G: right hand B3 (U) D4 (O) G4 (T); left hand G2 (B).")
    for key in "uotb":
        page.keyboard.press(key)
    expect(now).to_contain_text("C: right hand C4 (Q) E4 (E) G4 (T)")
    page.keyboard.press("Escape")
    expect(page.locator("#practise-start")).to_have_text("Start")
    page.locator("#practise-hand").select_option("left")
    # In one's own time nothing is counted, and no box is filled.
    begin_run(page)
    assert play_through(page) == "Clean: no wrong key. Now choose a tempo."
    for done in ("1 of 3 clean runs at 60.", "2 of 3 clean runs at 60."):
        begin_run(page, "60")
        assert play_through(page) == f"Clean. {done}"
    begin_run(page, "60")
    ticked = "Clean. The box at 60 is ticked; go on at 66."
    assert play_through(page) == ticked
    assert page.locator("#practise-tempo").input_value() == "66"
    begin_run(page, "66")
    page.keyboard.press("z")
    page.clock.run_for(8000)
    assert play_through(page) == "Not clean yet: the page waited 1 time."
    # A rest is due after every few keys.
    for key in ("G major", "F major"):
        expect(page.locator("#practise-rest")).to_be_hidden()
        page.locator("#practise-key").select_option(key)
        expect(now).to_contain_text(key)
        begin_run(page)
        play_through(page)
    expect(page.locator("#practise-rest")).to_contain_text("Rest for a minute or two")
    # Tomorrow the boxes are there still.
    fresh = pages.opened(context, f"{program.base}/")
    fresh.locator("#practise-name").click()
    fresh.locator("#practise-what").select_option("D4")
    fresh.locator("#practise-hand").select_option("left")
    expect(fresh.locator("#practise-record .ticked")).to_contain_text("✓")
    with pages.redrawing(fresh):
        fresh.locator("#practise-name").click()
    assert fresh.locator("#score .symbol").count() > 0


def test_a_drill_is_practised_on_a_midi_keyboard(
    context: BrowserContext, program: Served
) -> None:
    context.add_init_script(pages.MODEL_KEYBOARD)
    page = pages.opened(context, program.address)
    text = pages.tune_text(page)
    page.locator("#practise-name").click()
    page.locator("#practise-what").select_option("D4")
    now, told = page.locator("#practise-now"), page.locator("#practise-told")
    expect(now).to_contain_text("D4: I–IV–V–I, C major")
    page.locator("#practise-midi").click()
    expect(page.locator("#midi-told")).to_contain_text("Listening to Model keyboard")
    page.locator("#practise-start").click()
    pages.wait_for(page, "body[data-practice=playing]")
    page.evaluate("window.pressKey(63)")
    assert told.inner_text() == "Eb4 is wrong. Bar 1, beat 1: C3 C4 E4 G4"
    # The C of the left hand may be any, if the right hand stays above it.
    for midi in (36, 60, 64, 67):
        page.evaluate("window.pressKey", midi)
    expect(now).to_contain_text("F: right hand C4 (Q) F4 (R) A4 (Y); left hand F2 (V).")
    # A pane that becomes narrow has its lines broken anew, and the run goes on.
    width = "document.querySelector('#score .line svg').viewBox.baseVal.width"
    before = page.evaluate(width)
    page.set_viewport_size(pages.PHONE)
    page.locator("#views [data-view=music]").click()
    wide = re.compile(rf"^0 0 {before} ")
    picture = page.locator("#score .line > svg").first
    expect(picture).not_to_have_attribute("viewBox", wide)
    assert page.evaluate(width) < before / 2
    expect(page.locator("#score-title")).to_have_text("D4: I–IV–V–I, C major")
    assert page.locator("#score .mark").count() >= 2
    # In the right hand's place an octave lower is wrong.
    page.evaluate("window.pressKey(57)")
    assert told.inner_text() == "A3 is wrong. Bar 2, beat 1: F2 C4 F4 A4"
    for _ in range(40):
        if not page.locator("body[data-practice]").count():
            break
        asked = now.inner_text().partition(": ")[2].partition(".")[0]
        for name in re.findall(r"\b[A-G]#?\d\b", asked):
            page.evaluate("window.pressKey", number_of(name))
    assert told.inner_text() == "Not clean yet: 2 wrong keys."
    # So far nothing went into the tune; now the keys are the tune's again.
    assert pages.tune_text(page) == text
    with pages.redrawing(page):
        page.evaluate("window.pressKey(60)")
    assert pages.tune_text(page) == f"{text.rstrip()}\nC"


def number_of(name: str) -> int:
    """Return the number of a key by its name: C4 is 60 (MIDI 1.0)."""
    step = "C C#D D#E F F#G G#A A#B ".index(name[:-1].ljust(2)) // 2
    return 12 * (int(name[-1]) + 1) + step


def test_lists_questions_and_practice_shut_nobody_out(
    browser: Browser, program: Served, tmp_path: Path
) -> None:
    """axe, the open checker, finds no fault: WCAG 2.2 AA and good practice."""
    context = browser.new_context(bypass_csp=True, viewport=pages.WIDE)
    page = pages.opened(context, program.address)
    (tmp_path / "own.abc").write_text(ABC)
    with pages.redrawing(page):
        page.locator("#file").set_input_files(tmp_path / "own.abc")
    piece_names(page)
    press(page, "Rename Own")
    page.locator("#practise-name").click()
    page.locator("#practise-what").select_option("D1")
    expect(page.locator("#practise-now")).to_contain_text("D1")
    page.locator("#practise-start").click()
    pages.wait_for(page, "body[data-practice=playing]")
    page.keyboard.press("2")
    for scheme in pages.SCHEMES:
        page.emulate_media(color_scheme=scheme)
        assert pages.barriers(page) == []
    page.set_viewport_size(pages.PHONE)
    assert page.evaluate("document.documentElement.scrollWidth") == 360
    context.close()


def begin_run(page: Page, tempo: str = "") -> None:
    """Begin to practise; the bar that is counted in goes by at once."""
    page.locator("#practise-tempo").select_option(tempo)
    page.locator("#practise-start").click()
    # From here on all that it waits for is its clock.
    pages.wait_for(page, "body[data-practice=counting]")
    for _ in range(20):
        page.clock.run_for(500)
        if page.locator("body[data-practice=playing]").count():
            return
    raise AssertionError("it never begins")


def play_through(page: Page) -> str:
    """Play what the page asks for to the end; return what it says then."""
    for _ in range(40):
        asked = page.locator("#practise-now").inner_text()
        for letter in re.findall(r"\((\w)\)", asked):
            page.keyboard.press(letter.lower())
        if not page.locator("body[data-practice]").count():
            return page.locator("#practise-told").inner_text()
    raise AssertionError("it never ends")


FULL = """() => {
  const set = Storage.prototype.setItem;
  const size = () => JSON.stringify({ ...localStorage }).length;
  window.most = size() + 100;
  Storage.prototype.setItem = function (key, value) {
    const before = localStorage.getItem(key)?.length ?? 0;
    if (size() - before + value.length > window.most)
      throw new DOMException("full", "QuotaExceededError");
    set.call(this, key, value);
  };
}"""
"""Leaves little room in a page's storage, as the standard has it: nothing is written
and an error thrown (HTML, section 12.2.1)."""


def test_two_windows_never_write_over_each_other(
    context: BrowserContext, program: Served
) -> None:
    first = pages.opened(context, program.address)
    # The token is out of sight, and a bookmark without it is enough.
    assert first.url == f"{program.base}/"
    assert stored(first) == []
    pages.typed(first, ONE)
    second = pages.opened(context, f"{program.base}/")
    assert pages.tune_text(second) == ONE
    pages.typed(second, TWO)
    pages.typed(first, ONE.replace("C - - -", "C - 0 0"))
    expect(first.locator("#parted")).to_contain_text("a piece of its own")
    assert piece_names(first) == ["One", "Two"]
    for page, text in ((first, ONE.replace("C - - -", "C - 0 0")), (second, TWO)):
        page.reload()
        pages.drawn(page)
        assert pages.tune_text(page) == text


def test_pieces_are_named_doubled_deleted_and_brought_back(
    context: BrowserContext, program: Served
) -> None:
    page = pages.opened(context, program.address)
    pages.typed(page, ONE)
    with pages.redrawing(page):
        page.locator("#transpose").select_option("D")
    with pages.redrawing(page):
        page.locator("#level").select_option("2")
    with pages.redrawing(page):
        press(page, "Begin with an empty page")
    # What belongs to the tune begins anew, and taste stays.
    assert page.locator("#transpose").input_value() == ""
    assert page.locator("#level").input_value() == "2"
    pages.typed(page, TWO)
    assert piece_names(page) == ["Two", "One"]
    press(page, "Rename One")
    page.keyboard.type("For Sunday")
    page.keyboard.press("Enter")
    assert piece_names(page) == ["Two", "For Sunday"]
    press(page, "Duplicate For Sunday")
    assert piece_names(page) == ["For Sunday (copy)", "Two", "For Sunday"]
    press(page, "Delete For Sunday")
    expect(page.locator("#bring-back")).to_be_focused()
    assert piece_names(page) == ["For Sunday (copy)", "Two"]
    with pages.redrawing(page):
        page.keyboard.press("Enter")
    assert sorted(piece_names(page)) == ["For Sunday", "For Sunday (copy)", "Two"]
    assert pages.tune_text(page) == ONE
    assert page.locator("#transpose").input_value() == "D"
    # Its steps came back with it.
    with pages.redrawing(page):
        press(page, "Undo")
    assert page.locator("#level").input_value() == ""
    for name in piece_names(page):
        press(page, f"Delete {name}")
    assert piece_names(page) == []
    expect(page.locator("#readback")).to_contain_text("Nothing here yet")


def test_a_damaged_piece_costs_itself_only(
    context: BrowserContext, program: Served
) -> None:
    page = pages.opened(context, program.address)
    pages.typed(page, ONE)
    head = "harmonise 1 a.1\n"
    work = {"text": TWO, "settings": {"level": 5, "transpose": "D", "key": None}}
    bad = {
        "no": "nothing",
        "cut": f'{head}{{"now": {{"te',
        "kind": head + json.dumps({"changed": 1, "now": {"text": 5}}),
        "lock": head + json.dumps({"changed": 1, "now": {"locks": [{"onset": 1}]}}),
        "later": "harmonise 99 a.1\n{}",
        # A setting that is of another kind, or that there is no more, costs itself.
        "odd": head + json.dumps({"changed": 1, "now": work, "past": [7]}),
    }
    for name, value in bad.items():
        page.evaluate(
            "([key, value]) => localStorage.setItem(key, value)",
            [f"harmonise.piece.{name}", value],
        )
    page.reload()
    pages.drawn(page)
    assert pages.tune_text(page) == ONE
    rows = piece_names(page)
    assert rows[0] == "One"
    listed = page.locator("#piece-list").inner_text()
    assert listed.count("damaged and cannot be read") == 4
    assert listed.count("a newer harmonise made") == 1
    with pages.redrawing(page):
        page.locator('[data-piece="odd"] .piece').click()
    assert pages.tune_text(page) == TWO
    assert page.locator("#transpose").input_value() == "D"
    expect(page.get_by_role("button", name="Undo")).to_be_disabled()
    # Nothing that cannot be read is touched.
    assert len(stored(page)) == 7


def test_a_full_store_is_told_and_loses_nothing(
    context: BrowserContext, program: Served
) -> None:
    page = pages.opened(context, program.address)
    pages.typed(page, ONE)
    # From now on there is room for what is there, and a few letters.
    page.evaluate(FULL)
    longer = f"{ONE}% {'x' * 5000}\nC D E F | G A B C5 |\n"
    pages.typed(page, longer)
    expect(page.locator("#kept-told")).to_contain_text("no room to keep your tune")
    # What was kept before is there still, whole.
    fresh = pages.opened(context, f"{program.base}/")
    assert pages.tune_text(fresh) == ONE
    fresh.close()
    page.evaluate("window.most = Infinity")
    pages.typed(page, f"{longer}C - - - |\n")
    expect(page.locator("#kept-told")).to_contain_text("is kept in this browser")
    page.reload()
    pages.drawn(page)
    assert pages.tune_text(page) == f"{longer}C - - - |\n"


def test_a_restart_in_the_middle_loses_nothing(
    context: BrowserContext, tmp_path: Path
) -> None:
    with served(state=tmp_path) as program:
        page = pages.opened(context, program.address)
        port = program.base.rpartition(":")[2]
        program.stop()
    page.locator("#text").fill(ONE)
    expect(page.locator("#lost")).to_contain_text("this page goes on by itself")
    with served("--port", port, state=tmp_path):
        expect(page.locator("#lost")).to_be_hidden()
        expect(page.locator("#readback")).to_contain_text("3 bars")
        page.reload()
        pages.drawn(page)
        assert pages.tune_text(page) == ONE


def test_new_work_begins_with_the_settings_of_the_user(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The user's own folder is told by XDG_CONFIG_HOME (XDG Base Directory)."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "harmonise").mkdir()
    file = tmp_path / "harmonise" / "harmonise.toml"
    file.write_text('paper = "letter"\nlabels = "words"\nlevel = 3\n')
    chosen = ("#level", "#labels", "#paper")
    for options, found in ([], ["3", "words", "letter"]), (["--no-settings"], None):
        with served(*options) as program:
            context = browser.new_context(viewport=pages.WIDE)
            page = pages.opened(context, program.address)
            shown = [page.locator(one).input_value() for one in chosen]
            assert shown == (found or ["", "none", "a4"])
            if found:
                expect(page.locator("#sum")).to_contain_text("Level 3")
                with pages.redrawing(page):
                    page.locator("#level").select_option("1")
                # What was chosen since is the piece's own.
                with pages.redrawing(page):
                    page.reload()
                assert page.locator("#level").input_value() == "1"
            context.close()


def test_what_an_older_release_kept_is_taken_over(
    context: BrowserContext, program: Served
) -> None:
    page = pages.opened(context, program.address)
    old = {
        "now": {"text": TWO, "settings": {"transpose": "D"}},
        "past": [{"text": ONE}],
    }
    page.evaluate("(old) => localStorage.setItem('harmonise', old)", json.dumps(old))
    page.reload()
    pages.drawn(page)
    assert pages.tune_text(page) == TWO
    assert pages.chords(page)[0] == "D"
    with pages.redrawing(page):
        press(page, "Undo")
    assert pages.tune_text(page) == ONE
    assert re.match("My work", page.locator("#my-work-name").inner_text())
