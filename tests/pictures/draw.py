"""Draw README's pictures: what the commands print, as PNG.

python tests/pictures/draw.py

The score is drawn from SVG; the slip from PDF, by pdftoppm (Debian's poppler-utils);
the local page is photographed in Debian's chromium.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import typst

import harmonise

HERE = Path(__file__).resolve().parent
TUNES = HERE.parent.parent / "tunes"
FONTS = Path(harmonise.__file__).parent / "notation/paper/fonts"
_SHEET = b"""#set page(width: 180mm, height: auto, margin: 0mm)
#image(bytes(sys.inputs.page), format: "svg", width: 100%)
"""


def draw(name: str) -> None:
    """Write the picture of one tune beside this file."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.svg"
        tune = TUNES / f"{name}.txt"
        line = [sys.executable, "-m", "harmonise", "arrange", str(tune)]
        subprocess.run([*line, "-o", str(page)], check=True)  # noqa: S603
        # The text font's crotchet is small; the music font has it at this place.
        drawn = page.read_text("utf-8").replace("♩", "\U0001d15f")
    picture = typst.compile(
        _SHEET,
        format="png",
        ppi=110,
        font_paths=typst.Fonts(
            include_system_fonts=False,
            include_embedded_fonts=False,
            font_paths=[str(FONTS)],
        ),
        sys_inputs={"page": drawn},
    )
    (HERE / f"{name}.png").write_bytes(picture)


def slip() -> None:
    """Write the picture of a marked work beside this file: two slips in a good page."""
    run = [sys.executable, "-m", "harmonise"]
    tune = str(TUNES / "morning_steps.txt")
    with tempfile.TemporaryDirectory() as folder:
        work, page = Path(folder) / "ada.musicxml", Path(folder) / "slip.pdf"
        subprocess.run([*run, "arrange", tune, "-o", str(work)], check=True)  # noqa: S603
        bars = work.read_text("utf-8").split("<measure ")
        bars[2] = bars[2].replace("<step>B</step>", "<step>A</step>", 1)
        head, _, tail = bars[5].rpartition("<step>F</step>")
        bars[5] = f"{head}<step>D</step>{tail}"
        work.write_text("<measure ".join(bars), "utf-8")
        mark = [*run, "mark", str(work), "--against", tune, "-o", str(page)]
        subprocess.run(mark, check=True)  # noqa: S603
        shoot = ["pdftoppm", "-png", "-r", "75", "-singlefile", str(page)]
        subprocess.run([*shoot, str(HERE / "slip")], check=True)  # noqa: S603


def visit() -> None:
    """Write the picture of the local page beside this file."""
    # They are the tests' own, and need playwright.
    sys.path.insert(0, str(HERE.parent))
    from makers.browser import chromium, opened  # noqa: PLC0415
    from makers.served import served  # noqa: PLC0415

    with served() as page, chromium() as browser:
        context = browser.new_context(viewport={"width": 1180, "height": 900})
        shown = opened(context, page.address)
        shown.screenshot(path=HERE / "page.png")


def main() -> None:
    """Draw every picture."""
    visit()
    slip()
    draw("morning_steps")


if __name__ == "__main__":
    main()
