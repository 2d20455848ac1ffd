"""Draw README's pictures: real output of the command, engraved and typeset.

pip install verovio typst && python tests/pictures/draw.py
"""

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import typst
import verovio

HERE = Path(__file__).resolve().parent
TUNES = HERE.parent.parent / "tunes"
PAGES = {
    "morning_steps": [],
    "greensleeves": ["--level", "3"],
    "old_hundredth": ["--harmonic-rhythm", "beat", "--level", "3"],
}
_SHEET = """#set page(width: 18cm, height: auto, margin: 4mm)
#align(center, text(15pt, sys.inputs.title))
#image("page.svg")
"""
_SIGNS = {"\ueca5": "♩", "\ueca3": "𝅗𝅥", "\ueca7": "♪", "\uecb7": "."}
"""Signs of the music font in tempo marks, as ordinary fonts have them."""


def draw(name: str, options: list[str]) -> None:
    """Write the picture of one tune beside this file."""
    with tempfile.TemporaryDirectory() as folder:
        score = Path(folder) / "page.musicxml"
        line = [sys.executable, "-m", "harmonise", "arrange", f"{TUNES / name}.txt"]
        subprocess.run([*line, "-o", str(score), *options], check=True)  # noqa: S603
        toolkit = verovio.toolkit()
        options_of_page = {"adjustPageHeight": True, "footer": "none", "scale": 45}
        options_of_page["header"] = "none"
        toolkit.setOptions({**options_of_page, "breaks": "encoded", "svgViewBox": True})
        toolkit.loadData(score.read_text("utf-8"))
        svg = re.sub(r"@import[^;]*;", "", toolkit.renderToSVG(1))
        for sign, plain in _SIGNS.items():
            svg = svg.replace(sign, plain)
        svg = svg.replace('"Leipzig"', '"DejaVu Sans Mono"')
        (Path(folder) / "page.svg").write_text(svg, "utf-8")
        sheet = Path(folder) / "page.typ"
        sheet.write_text(_SHEET, "utf-8")
        title = {"title": name.replace("_", " ").title()}
        picture = typst.compile(str(sheet), format="png", ppi=110, sys_inputs=title)
    (HERE / f"{name}.png").write_bytes(picture)


def main() -> None:
    """Draw every picture."""
    for name, options in PAGES.items():
        draw(name, options)


if __name__ == "__main__":
    main()
