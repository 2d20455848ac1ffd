"""Blocks become pages: PDF, one PNG a page, or one tall SVG.

typst sets them by the template `sheet.typ`; all text and all pictures reach it as data,
so that nothing a user types is ever read as markup. It sees no fonts but those of the
folder `fonts`, no network and no clock: the same blocks give the same bytes.

The SVG is for screens and drawing programs: it has no pages, and notes and bars have
the ids of the MusicXML.
"""

import json
from collections.abc import Iterator, Sequence
from html import escape
from pathlib import Path
from typing import Any, Literal

from harmonise.errors import LibraryError
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    FOOT,
    GAP,
    MARGIN,
    Blanks,
    Block,
    Lettering,
    Music,
    Page,
    Picture,
    Sung,
    Title,
    Whole,
    Words,
    page_size,
    text_width,
)
from harmonise.notation.paper.patches import MUSIC_FONT, TEXT_FONT
from harmonise.notation.signed import sign_picture

_TEMPLATE = Path(__file__).with_name("sheet.typ")
_FONTS = Path(__file__).with_name("fonts")


def typeset(blocks: Sequence[Block], page: Page = A4_PAGE) -> bytes:
    """Return a document as a PDF: tagged, titled, its text searchable, fonts within.

    Args:
        blocks: The document.
        page: The page it is set on.

    Raises:
        LibraryError: If typst is not installed.
    """
    made: bytes = _compile(blocks, page, "pdf")
    return made


def typeset_pictures(
    blocks: Sequence[Block], page: Page = A4_PAGE, ppi: float = 150
) -> tuple[bytes, ...]:
    """Return the pages of a document as PNG files.

    Args:
        blocks: The document.
        page: The page it is set on.
        ppi: Pixels an inch.

    Raises:
        LibraryError: If typst is not installed.
    """
    made = _compile(blocks, page, "png", ppi)
    pages = [made] if isinstance(made, bytes) else made
    return tuple(sign_picture(one, number) for number, one in enumerate(pages, 1))


def _compile(
    blocks: Sequence[Block],
    page: Page,
    form: Literal["pdf", "png"],
    ppi: float | None = None,
) -> Any:  # noqa: ANN401 - bytes, or a list of them for several pictures
    """Return what typst makes of a document.

    Raises:
        LibraryError: If typst is not installed.
    """
    try:
        import typst  # noqa: PLC0415 - slow to load, and only paper needs it
    except ImportError as error:
        raise LibraryError("Typesetting needs", "typst") from error
    return typst.compile(
        _TEMPLATE.read_bytes(),
        font_paths=typst.Fonts(
            include_system_fonts=False,
            include_embedded_fonts=False,
            font_paths=[str(_FONTS)],
        ),
        sys_inputs={"document": _format_document(blocks, page)},
        format=form,
        ppi=ppi,
    )


def _format_document(blocks: Sequence[Block], page: Page) -> str:
    """Return a document as the JSON that the template reads."""
    width, height = page_size(page)
    titles = [block.text for block in blocks if isinstance(block, Title)]
    sides = {
        **page._asdict(),
        "paper": page.paper.value,
        "title": page.title or next(iter(titles), ""),
        "width": width,
        "height": height,
        "margin": MARGIN,
        "foot": FOOT,
        "gap": GAP,
    }
    text = json.dumps({"page": sides, "blocks": [_fields(block) for block in blocks]})
    # The text font sets these notes too wide.
    for ours, common in _COMMON.items():
        text = text.replace(json.dumps(common)[1:-1], json.dumps(chr(ours))[1:-1])
    return text


def _fields(block: Block) -> dict[str, object]:
    """Return the fields of a block, with its kind."""
    fields: dict[str, object] = {"kind": type(block).__name__, **block._asdict()}
    if isinstance(block, Music):
        system = block.system
        fields |= {"svg": system.svg, "width": system.width, "height": system.height}
        del fields["system"]
    elif isinstance(block, Blanks):
        fields["widths"] = block.widths or (1,) * len(block.labels)
    elif isinstance(block, Sung):
        fields["runs"] = [[piece._asdict() for piece in run] for run in block.runs]
    elif isinstance(block, Words):
        fields["manner"] = block.manner.value
    elif isinstance(block, Whole):
        fields["blocks"] = [_fields(one) for one in block.blocks]
    return fields


PPI = 150
"""Pixels an inch of a picture: sharp on a screen, and an A4 page is 1240 wide."""

_SPACE = 5.0
"""Millimetres around an SVG's blocks and between them."""
_POINT = 25.4 / 72
_COMMON = str.maketrans({0x1D15F: "♩", 0x1D160: "♪"})
"""Signs that more computers have than those which our own font draws best."""


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
        for text, points, bold, anchor in _lines(block, page):
            top += points * _POINT
            left = {"start": _SPACE, "middle": width / 2}.get(anchor, width - _SPACE)
            shapes.append(
                f'<text x="{left:.2f}" y="{top:.2f}" '
                f'text-anchor="{anchor}" '
                f'font-size="{points * _POINT:.2f}" '
                f'font-weight="{"bold" if bold else "normal"}">{escape(text)}</text>'
            )
            top += points * _POINT * 0.5
        top += _SPACE / 2 if isinstance(block, Title) else 0
    title = next((block.text for block in blocks if isinstance(block, Title)), "")
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        'xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{width:.2f}mm" height="{top:.2f}mm" '
        f'viewBox="0 0 {width:.2f} {top:.2f}" '
        f'font-family="{TEXT_FONT}, {MUSIC_FONT}, Times New Roman, serif">'
        f'<title>{escape(title)}</title><rect width="100%" height="100%" '
        f'fill="white"/>{"".join(shapes).translate(_COMMON)}</svg>\n'
    )


def _lines(block: Block, page: Page) -> Iterator[tuple[str, float, bool, str]]:
    """Yield the lines of a title or a paragraph: height, whether bold, where it stands.

    Heights are points; a line is anchored by its start, its middle or its end.
    """
    large = page.large_print
    scale = 1.35 if large else 1
    if isinstance(block, Title):
        yield block.text, 16 * scale, True, "middle"
        for part, anchor in ((block.under, "middle"), (block.by, "end")):
            for text in part.split("\n") if part else ():
                yield text, 10 * scale, large, anchor
    elif isinstance(block, Words):
        points = {Lettering.SMALL: 9, Lettering.HEADING: 12}.get(block.manner, 11)
        bold = large or block.manner not in (Lettering.PLAIN, Lettering.SMALL)
        for text in block.text.split("\n"):
            yield text, points * scale, bold, "start"
