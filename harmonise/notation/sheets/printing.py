"""The sheet of an arrangement as PDF, as pictures of its pages, or as one tall SVG.

The SVG is for screens and drawing programs: it has no pages, and notes and bars have
the ids of the MusicXML.
"""

from collections.abc import Iterator, Sequence
from html import escape
from typing import NamedTuple

from harmonise.notation.engraved_text import MUSIC_FONT, TEXT_FONT
from harmonise.notation.sheets.blocks import (
    A4_PAGE,
    Block,
    Manner,
    Music,
    Page,
    Picture,
    Title,
    Words,
    text_width,
)
from harmonise.notation.sheets.score_sheet import score_blocks
from harmonise.notation.sheets.typesetting import typeset, typeset_pictures
from harmonise.theory.arrangement import Arrangement

PPI = 150
"""Pixels an inch of a picture: sharp on a screen, and an A4 page is 1240 wide."""

_SPACE = 5.0
"""Millimetres around an SVG's blocks and between them."""
_POINT = 25.4 / 72
_COMMON = str.maketrans({0x1D15F: "♩", 0x1D160: "♪"})
"""Signs that more computers have than those which our own font draws best."""


def format_pdf(arrangement: Arrangement, page: Page = A4_PAGE) -> bytes:
    """Return the sheet of an arrangement as a PDF."""
    return typeset(score_blocks(arrangement, page), page)


def format_pngs(arrangement: Arrangement, page: Page = A4_PAGE) -> tuple[bytes, ...]:
    """Return the sheet of an arrangement as one PNG a page."""
    return typeset_pictures(score_blocks(arrangement, page), page, PPI)


def format_svg(arrangement: Arrangement, page: Page = A4_PAGE) -> bytes:
    """Return the sheet of an arrangement as one SVG, as tall as it needs to be."""
    return tall_svg(score_blocks(arrangement, page), page).encode()


def tall_svg(blocks: Sequence[Block], page: Page = A4_PAGE) -> str:
    """Return titles, paragraphs, music and drawings below each other as one SVG.

    Args:
        blocks: The document; blocks of other kinds are left out.
        page: The page whose text is as wide as the picture; its height does not count.
    """
    width = text_width(page) + 2 * _SPACE
    top = _SPACE
    shapes: list[str] = []
    for block in blocks:
        if isinstance(block, Music | Picture):
            drawn = block.system if isinstance(block, Music) else block
            place = f'x="{_SPACE}" y="{top:.2f}" width="{drawn.width:.2f}" '
            place += f'height="{drawn.height:.2f}"'
            shapes.append(drawn.svg.replace("<svg ", f"<svg {place} ", 1))
            top += drawn.height + _SPACE
        for line in _lines(block, page):
            top += line.points * _POINT
            shapes.append(line.at(width, top))
            top += line.points * _POINT * 0.5
        top += _SPACE / 2 if isinstance(block, Title) else 0
    title = next((own.text for own in blocks if isinstance(own, Title)), "")
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        'xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{width:.2f}mm" height="{top:.2f}mm" '
        f'viewBox="0 0 {width:.2f} {top:.2f}" '
        f'font-family="{TEXT_FONT}, {MUSIC_FONT}, Times New Roman, serif">'
        f'<title>{escape(title)}</title><rect width="100%" height="100%" '
        f'fill="white"/>{"".join(shapes).translate(_COMMON)}</svg>\n'
    )


class _Line(NamedTuple):
    """A line of text.

    Attributes:
        text: What it says.
        points: Its height.
        bold: Whether it is bold.
        centred: Whether it stands in the middle.
    """

    text: str
    points: float
    bold: bool
    centred: bool = False

    def at(self, width: float, line: float) -> str:
        """Return the line as SVG, in a picture of some width and at some height."""
        left = width / 2 if self.centred else _SPACE
        anchor = "middle" if self.centred else "start"
        weight = "bold" if self.bold else "normal"
        return (
            f'<text x="{left:.2f}" y="{line:.2f}" text-anchor="{anchor}" '
            f'font-size="{self.points * _POINT:.2f}" font-weight="{weight}">'
            f"{escape(self.text)}</text>"
        )


def _lines(block: Block, page: Page) -> Iterator[_Line]:
    """Yield the lines of a title or a paragraph."""
    large = page.large_print
    scale = 1.35 if large else 1
    if isinstance(block, Title):
        yield _Line(block.text, 16 * scale, bold=True, centred=True)
        for text in block.under.split("\n") if block.under else ():
            yield _Line(text, 10 * scale, bold=large, centred=True)
    elif isinstance(block, Words):
        points = {Manner.SMALL: 9, Manner.HEADING: 12}.get(block.manner, 11)
        bold = large or block.manner not in (Manner.PLAIN, Manner.SMALL)
        for text in block.text.split("\n"):
            yield _Line(text, points * scale, bold=bold)
