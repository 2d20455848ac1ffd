"""Drills and worksheets for the page."""

from harmonise.drill import DRILLS, exercises, keys_for, title_of
from harmonise.drills.copies import Copy, Version
from harmonise.drills.files import format_drill
from harmonise.drills.output import Output
from harmonise.notation.sheets.blocks import A4_PAGE
from harmonise.page.asked import DrillAsked, WorksheetAsked
from harmonise.page.jobs import tune_at
from harmonise.worksheet import Kind, Order, usual_bars

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


def drill(asked: DrillAsked) -> bytes:
    """Return drills as a file.

    Raises:
        HarmoniseError: If there is no such drill, or not in such a key.
    """
    done = tuple(
        own
        for name in asked.names
        for own in exercises(name, keys_for(name, asked.keys))
    )
    output = Output(Copy(Version(asked.version)), page=A4_PAGE)
    return format_drill(done, title_of(asked.names), ENDINGS[asked.kind], output)


def worksheet(asked: WorksheetAsked) -> bytes:
    """Return a worksheet, or its answers, as PDF.

    Raises:
        HarmoniseError: If the tune cannot be read or does not do for it.
    """
    from harmonise.notation.sheets.typesetting import typeset  # noqa: PLC0415
    from harmonise.worksheets.page import copies_of, footed  # noqa: PLC0415
    from harmonise.worksheets.versions import make_sheets  # noqa: PLC0415

    kind = Kind(asked.worksheet)
    order = Order(kind, bars=usual_bars(kind), seed=asked.seed or 1)
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
