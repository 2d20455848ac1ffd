"""Make `harmonise/notation/paper/fonts/HarmoniseMusic.ttf`: signs for running text.

    pip install fonttools brotli verovio && python tests/pictures/music_font.py

The signs are those of verovio's Leipzig font, enlarged to suit text, at the places that
Unicode gives them, so that text in a PDF can be searched and copied. Leipzig's licence
allows it under another name.
"""

import base64
import re
from io import BytesIO
from pathlib import Path

import verovio
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.transformPen import TransformPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

NAME = "Harmonise Music"
TARGET = Path(__file__).parents[2] / "harmonise/notation/paper/fonts/HarmoniseMusic.ttf"
SIGNS = {
    " ": 0x0020, "♭": 0xE260, "♮": 0xE261, "♯": 0xE262,
    "\U0001d12a": 0xE263, "\U0001d12b": 0xE264, "\U0001d15d": 0xECA2,
    "\U0001d15e": 0xECA3, "\U0001d15f": 0xECA5, "\U0001d160": 0xECA7,
    "\U0001d161": 0xECA9, "\U0001d10b": 0xE047, "\U0001d10c": 0xE048,
}  # fmt: skip
"""Unicode of each sign, and its place in the music font."""
QUARTER = "\U0001d15f"
SIZES = {"♭": (780, 20), "♮": (880, 110), "♯": (880, 110), QUARTER: (950, 0)}
"""Height and depth below the line, in thousandths; notes are all enlarged alike."""


def main() -> None:
    """Write the font."""
    css = (Path(verovio.__file__).parent / "data/Leipzig.css").read_text("utf-8")
    found = re.search(r"base64,([A-Za-z0-9+/=]+)", css)
    assert found
    music = TTFont(BytesIO(base64.b64decode(found[1])))
    names = {sign: music.getBestCmap()[place] for sign, place in SIGNS.items()}
    drawn = {".notdef": (TTGlyphPen(None).glyph(), 300)}
    drawn |= {name: fitted(music, names, sign) for sign, name in names.items()}
    made = FontBuilder(1000, isTTF=True)
    made.setupGlyphOrder(list(drawn))
    made.setupCharacterMap({ord(sign): name for sign, name in names.items()})
    made.setupGlyf({name: glyph for name, (glyph, _) in drawn.items()})
    glyphs = made.font["glyf"]
    made.setupHorizontalMetrics(
        {
            name: (width, getattr(glyphs[name], "xMin", 0))
            for name, (_, width) in drawn.items()
        }
    )
    made.setupHorizontalHeader(ascent=891, descent=-216)
    named = {"familyName": NAME, "styleName": "Regular", "fullName": NAME}
    # Programs look for fonts by this name.
    named |= {"psName": NAME.replace(" ", ""), "version": "Version 1.0"}
    made.setupNameTable(named)
    made.setupOS2(sTypoAscender=891, sTypoDescender=-216, sTypoLineGap=0)
    made.setupPost()
    made.font["head"].created = made.font["head"].modified = 3_850_000_000
    made.font.recalcTimestamp = False
    TARGET.parent.mkdir(exist_ok=True)
    made.save(TARGET)


def fitted(music: TTFont, names: dict[str, str], sign: str) -> tuple[object, int]:
    """Return a sign at the size of text, with its width."""
    name = names[sign]
    model = music["glyf"][names[sign if sign in SIZES else QUARTER]]
    height, depth = SIZES[sign if sign in SIZES else QUARTER]
    by = height / (model.yMax - model.yMin)
    low = model.yMin
    pen = TTGlyphPen(None)
    turned = TransformPen(pen, (by, 0, 0, by, 0, -low * by - depth))
    music.getGlyphSet()[name].draw(turned)
    return pen.glyph(), round(music["hmtx"][name][0] * by)


if __name__ == "__main__":
    main()
