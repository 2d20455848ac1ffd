"""Draw README's pictures: what `harmonise arrange TUNE -o PAGE.svg` prints, as PNG.

python tests/pictures/draw.py
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import typst

import harmonise

HERE = Path(__file__).resolve().parent
TUNES = HERE.parent.parent / "tunes"
FONTS = Path(harmonise.__file__).parent / "notation/fonts"
PAGES = {
    "morning_steps": [],
    "greensleeves": ["--level", "3"],
    "old_hundredth": ["--harmonic-rhythm", "beat", "--level", "3"],
    "auld_lang_syne": ["--fingering", "--labels", "words", "--keyboards"],
}
"""Tunes, and the options with which README says that they were printed."""
_SHEET = b"""#set page(width: 180mm, height: auto, margin: 0mm)
#image(bytes(sys.inputs.page), format: "svg", width: 100%)
"""


def draw(name: str, options: list[str]) -> None:
    """Write the picture of one tune beside this file."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "page.svg"
        line = [sys.executable, "-m", "harmonise", "arrange", f"{TUNES / name}.txt"]
        subprocess.run([*line, "-o", str(page), *options], check=True)  # noqa: S603
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


def main() -> None:
    """Draw every picture."""
    for name, options in PAGES.items():
        draw(name, options)


if __name__ == "__main__":
    main()
