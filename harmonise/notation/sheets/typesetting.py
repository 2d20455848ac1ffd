"""Blocks become pages: PDF, or one PNG a page.

typst sets them by the template `sheet.typ`; all text and all pictures reach it as data,
so that nothing a user types is ever read as markup. It sees no fonts but those of the
folder `fonts`, no network and no clock: the same blocks give the same bytes.
"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Literal

from harmonise.errors import OutputError
from harmonise.notation.sheets.blocks import (
    A4_PAGE,
    MARGIN,
    Blanks,
    Block,
    Music,
    Page,
    Sung,
    Title,
    Words,
    page_size,
)

_TEMPLATE = Path(__file__).with_name("sheet.typ")
_FONTS = Path(__file__).parents[1] / "fonts"


def typeset(blocks: Sequence[Block], page: Page = A4_PAGE) -> bytes:
    """Return a document as a PDF: tagged, titled, its text searchable, fonts within.

    Args:
        blocks: The document.
        page: The page it is set on.

    Raises:
        OutputError: If typst is not installed.
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
        OutputError: If typst is not installed.
    """
    made = _compile(blocks, page, "png", ppi)
    return (made,) if isinstance(made, bytes) else tuple(made)


def _compile(
    blocks: Sequence[Block],
    page: Page,
    form: Literal["pdf", "png"],
    ppi: float | None = None,
) -> Any:  # noqa: ANN401 - bytes, or a list of them for several pictures
    """Return what typst makes of a document.

    Raises:
        OutputError: If typst is not installed.
    """
    try:
        import typst  # noqa: PLC0415 - slow to load, and only paper needs it
    except ImportError as error:
        raise OutputError(
            "Typesetting needs typst, which is not installed.",
            remedy="Install it: pip install typst.",
        ) from error
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
    }
    return json.dumps({"page": sides, "blocks": [_fields(block) for block in blocks]})


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
    return fields
