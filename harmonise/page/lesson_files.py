"""Drills and worksheets for the page."""

from harmonise.lessons.drill_copies import DrillCopy, DrillOutput, Version
from harmonise.lessons.drill_files import format_drill
from harmonise.lessons.drills import DRILLS, exercises, keys_for, title_of
from harmonise.lessons.worksheet import SheetKind, SheetOrder, usual_bars
from harmonise.notation.paper.blocks import A4_PAGE
from harmonise.page.memory import tune_at
from harmonise.page.requests import DrillRequest, WorksheetRequest

ENDINGS = {"pdf": ".pdf", "musicxml": ".musicxml", "midi": ".mid"}
"""What the files of drills end in, by kind."""
WORKSHEETS = {
    "voices": "Write the chords that numerals name",
    "labels": "Name given chords",
    "accompany": "Write chords under the tune",
    "choose": "Choose chords and write them",
    "faults": "Find the faults",
    "keyboards": "Shade keyboards",
    "transpose": "Write a phrase in other keys",
}
"""Titles of the worksheets by their names."""


def drill(asked: DrillRequest) -> bytes:
    """Return drills as a file.

    Raises:
        HarmoniseError: If there is no such drill, or not in such a key.
    """
    done = tuple(
        own
        for name in asked.names
        for own in exercises(name, keys_for(name, asked.keys))
    )
    output = DrillOutput(DrillCopy(Version(asked.version)), page=A4_PAGE)
    return format_drill(done, title_of(asked.names), ENDINGS[asked.kind], output)


def worksheet(asked: WorksheetRequest) -> bytes:
    """Return a worksheet, or its answers, as PDF.

    Raises:
        HarmoniseError: If the tune cannot be read or does not do for it.
    """
    from harmonise.lessons.sheet_pages import copies_of, footed  # noqa: PLC0415
    from harmonise.lessons.versions import make_sheets  # noqa: PLC0415
    from harmonise.notation.paper.typesetting import typeset  # noqa: PLC0415

    kind = SheetKind(asked.worksheet)
    order = SheetOrder(kind, bars=usual_bars(kind), seed=asked.seed or 1)
    (sheet,) = make_sheets(tune_at(asked.data, asked.number), order)
    copies = copies_of(sheet, A4_PAGE)
    blocks = copies.answers if asked.answers else copies.sheet
    return typeset(blocks, footed(A4_PAGE, sheet, answers=asked.answers))


def drill_choices() -> list[dict[str, object]]:
    """Return the drills with their titles."""
    return [{"name": one.name, "title": one.title} for one in DRILLS]


def worksheet_choices() -> list[dict[str, object]]:
    """Return the worksheets with their titles."""
    return [{"name": name, "title": title} for name, title in WORKSHEETS.items()]
