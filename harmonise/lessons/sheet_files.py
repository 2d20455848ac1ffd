"""Worksheets and their answers as files: to print, to show, or to fill in."""

from harmonise.lessons.sheet_pages import copies_of, footed
from harmonise.lessons.task_files import format_task_file
from harmonise.lessons.worksheet import Worksheet
from harmonise.notation.files import MUSICXML, format_mxl
from harmonise.notation.paper.blocks import Page
from harmonise.notation.paper.typesetting import typeset, typeset_pictures

ENDINGS = (".pdf", ".png", *MUSICXML)
"""What the names of files may end in."""


def format_sheet(
    sheet: Worksheet, ending: str, page: Page, *, answers: bool
) -> tuple[bytes, ...]:
    """Return a worksheet or its answers: one file, or a picture a page.

    Args:
        sheet: What they say.
        ending: Ending of the file.
        page: The page of what is printed.
        answers: Whether it is the answer key.

    Raises:
        OutputError: If it is to be filled in and has no music.
        LibraryError: If it is printed and verovio or typst is not installed.
    """
    if ending in MUSICXML:
        musicxml = format_task_file(sheet, answers=answers)
        return (format_mxl(musicxml) if ending == ".mxl" else musicxml,)
    copies = copies_of(sheet, page)
    blocks = copies.answers if answers else copies.sheet
    footing = footed(page, sheet, answers=answers)
    if ending == ".png":
        return typeset_pictures(blocks, footing)
    return (typeset(blocks, footing),)
