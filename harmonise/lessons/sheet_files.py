"""Worksheets and their answers as files: to print, to show, to fill in, to hear.

Of a tune whose chords are to be heard each line is played three times with pauses to
write, as common practice has it in aural tests; the whole piece comes after the lines.
Questions by ear have a recording each.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import PurePath
from typing import TypeVar

from harmonise.lessons.model import model_of
from harmonise.lessons.sheet_pages import copies_alike, footed
from harmonise.lessons.task_files import format_form, format_task_file
from harmonise.lessons.worksheet import Worksheet
from harmonise.notation.files import MUSICXML, format_mxl
from harmonise.notation.midi.writing import format_midi
from harmonise.notation.paper.blocks import Page
from harmonise.notation.paper.typesetting import typeset, typeset_pictures
from harmonise.notation.sound.performance import Playing
from harmonise.notation.sound.stretches import format_heard
from harmonise.theory.arrangement import Hand

_Stem = TypeVar("_Stem", bound=PurePath)
FORM = ".txt"
"""The ending of what is filled in by typing."""
ENDINGS = (".pdf", ".png", *MUSICXML, FORM)
"""What the names of files may end in."""
DICTATION = Playing(tempo=Fraction(72))
"""Slow enough to think of each chord; common practice."""


def format_sheet(
    sheet: Worksheet,
    ending: str,
    page: Page,
    *,
    answers: bool,
    depths: tuple[Worksheet, ...] = (),
) -> tuple[bytes, ...]:
    """Return a worksheet or its answers: one file, or a picture a page.

    Args:
        sheet: What they say.
        ending: Ending of the file.
        page: The page of what is printed.
        answers: Whether it is the answer key.
        depths: The sheet at all depths that share its key; () where it stands alone.

    Raises:
        OutputError: If it is to be filled in and has no music.
        LibraryError: If it is printed and verovio or typst is not installed.
    """
    if ending == FORM:
        return (format_form(sheet, answers=answers),)
    if ending in MUSICXML:
        musicxml = format_task_file(sheet, answers=answers)
        return (format_mxl(musicxml) if ending == ".mxl" else musicxml,)
    sheets = depths or (sheet,)
    copies = copies_alike(sheets, page)[sheets.index(sheet)]
    blocks = copies.answers if answers else copies.sheet
    footing = footed(page, sheet, answers=answers)
    if ending == ".png":
        return typeset_pictures(blocks, footing)
    return (typeset(blocks, footing),)


def sheet_recordings(sheet: Worksheet, stem: _Stem) -> list[tuple[_Stem, bytes]]:
    """Return the recordings of a sheet to be heard, each with its name.

    Args:
        sheet: The sheet.
        stem: A name without an ending: "tune-hear-A" gives "tune-hear-A-line-1.wav" and
            so on, "tune-hear-A-bass.wav" with the left hand alone,
            "tune-hear-A-whole.wav" and "tune-hear-A-whole.mid"; of questions by ear
            "tune-aural-A-1.wav" and so on.

    Returns:
        The files; [] for a sheet that is not to be heard.
    """
    if not sheet.order.kind.row.heard:
        return []
    if sheet.asked:
        return list(_questions(sheet, stem))
    # The piece of the sheet has the tune alone; the model is made again, the same.
    model = model_of(sheet.tune, sheet.order.style)
    edges = sorted({Fraction(0), *model.tune.phrases, model.tune.end})
    made = [
        (
            stem.with_name(f"{stem.name}-line-{number}.wav"),
            format_heard(model, span, DICTATION),
        )
        for number, span in enumerate(pairwise(edges), 1)
    ]
    whole = stem.with_name(f"{stem.name}-whole.wav")
    all_of_it = Fraction(0), model.tune.end
    bass = format_heard(model, all_of_it, DICTATION._replace(hand=Hand.LEFT))
    made.append((stem.with_name(f"{stem.name}-bass.wav"), bass))
    made.append((whole, format_heard(model, all_of_it, DICTATION, times=1)))
    return [*made, (whole.with_suffix(".mid"), format_midi(model, DICTATION))]


def _questions(sheet: Worksheet, stem: _Stem) -> Iterator[tuple[_Stem, bytes]]:
    """Yield the recording of each question, as often as its kind is heard."""
    digits = len(str(len(sheet.asked)))
    for number, item in enumerate(sheet.asked, 1):
        whole = Fraction(0), item.score.tune.end
        times = item.kind.row.times
        sound = format_heard(item.score, whole, DICTATION, times)
        yield stem.with_name(f"{stem.name}-{number:0{digits}}.wav"), sound
