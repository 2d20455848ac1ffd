"""What the stories on the page share: a visitor, what is looked at, a class's works."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import harmonise
from harmonise.notation.outputs import write_score
from makers import browser as pages
from makers.browser import Browser, Page, Seen

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
D|"G"G A B G|"C"c B "D"A2|"G"B A "Em"G E|"D"D4|
"G"G A B G|"C"c B "D"A2|"G"B A "D7"G F|"G"G3|]
w:The tide is out, the shore is long, and I go home with you.
"""
"""A lead sheet of our own."""


@contextmanager
def opened(
    browser: Browser,
    address: str,
    size: pages.Size,
    *,
    touch: bool = False,
    timed: bool = False,
) -> Iterator[Page]:
    """Open the page for a visitor who was never here."""
    context = browser.new_context(viewport=size, bypass_csp=True, has_touch=touch)
    seen: Seen = pages.watched(context)
    # A window to print from would wait for somebody to press a button.
    context.add_init_script("window.print = () => (document.body.dataset.printed = 1)")
    yield pages.opened(context, address, timed=timed)
    assert seen.outside() == []
    assert seen.faults == []
    context.close()


def look(page: Page, state: str) -> None:
    """Let axe look at the page as it is, light and dark; nothing scrolls sideways."""
    page.emulate_media(color_scheme="light")
    assert not (found := pages.barriers(page)), (state, found)
    page.emulate_media(color_scheme="dark")
    assert not (found := pages.barriers(page, colours=True)), (state, found)
    size = page.viewport_size
    assert size
    for name in ("document.documentElement", "document.body"):
        assert page.evaluate(f"{name}.scrollWidth") <= size["width"], state


def press(page: Page, name: str) -> None:
    """Click the button of a name."""
    page.get_by_role("button", name=name, exact=True).click()


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


def enter(page: Page, target: str) -> None:
    """Walk to something by Tab and press Enter; the focus is not lost by it."""
    pages.walk_to(page, target)
    page.keyboard.press("Enter")
    pages.keep_focus(page)


def choose(page: Page, target: str, title: str) -> None:
    """Walk to a list and type the beginning of a row; the page follows."""
    pages.walk_to(page, target)
    with pages.redrawing(page):
        page.keyboard.type(title)
    pages.keep_focus(page)


def hand_in(page: Page, button: str, field: str, files: list[Path]) -> None:
    """Press a button by Enter, which asks for files, and give them.

    The browser's own window to choose files from is left out: it comes only soon after
    a key press, and so not on every machine.
    """
    page.locator(field).evaluate("""(one) => one.addEventListener("click", (event) => {
      event.preventDefault();
      document.body.dataset.asks = one.id;
    })""")
    enter(page, button)
    pages.wait_for(page, f"body[data-asks={field.removeprefix('#')}]")
    page.locator(field).set_input_files(files)


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
