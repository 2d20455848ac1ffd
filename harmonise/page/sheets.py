"""Drills and worksheets made for the page, with its tune, key, level and chords."""

from collections.abc import Mapping
from fractions import Fraction
from io import BytesIO
from pathlib import PurePath
from typing import NamedTuple
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from harmonise.errors import OutputError
from harmonise.lessons.aural import AuralKind
from harmonise.lessons.drill_copies import DrillCopy, Version
from harmonise.lessons.drill_files import DrillOutput, format_drill
from harmonise.lessons.drill_makers import DrillWish
from harmonise.lessons.drills import exercises, keys_for, title_of
from harmonise.lessons.identity import file_identity, identity_of_drill
from harmonise.lessons.sheet_files import FORM, format_sheet, sheet_recordings
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetOrder, Worksheet
from harmonise.notation.musicxml.writer import FileIdentity
from harmonise.page.lesson_requests import (
    DrillRequest,
    SheetSettings,
    WorksheetRequest,
)
from harmonise.page.making import page_of, request_of, tune_at, tune_there
from harmonise.page.offers import FILES
from harmonise.page.requests import ArrangeRequest
from harmonise.theory.arrangement import Style
from harmonise.theory.key import Key, named_keys, parse_key

_NEW_YEAR = (1980, 1, 1, 0, 0, 0)
"""The time of every file in an archive, so that the same files are the same bytes."""


def drill(asked: DrillRequest) -> bytes:
    """Return drills as a file.

    Raises:
        HarmoniseError: If there is no such drill, or not in such a key.
    """
    keys = {name: _drill_keys(name, asked) for name in asked.names}
    wish = DrillWish(tempo=Fraction(asked.tempo))
    chosen = tuple(
        exercise for name in keys for exercise in exercises(name, keys[name], wish)
    )
    output = DrillOutput(
        DrillCopy(asked.version, asked.labels),
        asked.tempo,
        page=page_of(asked.page),
        identity=_identity(keys, wish, asked.version),
    )
    return format_drill(chosen, title_of(asked.names), FILES[asked.kind].ending, output)


def _identity(
    keys: Mapping[str, tuple[Key, ...]], wish: DrillWish, version: Version
) -> FileIdentity:
    """Return what drills to fill in say of themselves; nothing of others.

    Args:
        keys: The drills, each with its keys; one line can name one row of keys alone.
        wish: What the user chose.
        version: What is made of them.
    """
    rows = set(keys.values())
    if version is not Version.BLANK or len(rows) > 1:
        return FileIdentity()
    return file_identity(identity_of_drill(tuple(keys), rows.pop(), wish))


def _drill_keys(name: str, asked: DrillRequest) -> tuple[Key, ...]:
    """Return the keys that were typed, else the drill's own, else the page's."""
    usual = keys_for(name, asked.keys)
    if asked.keys or not asked.home or len(usual) > 1:
        return usual
    # A minor drill of a major page is in the minor of the same keynote.
    return keys_for(name, [str(parse_key(asked.home).tonic)])


def sheet_of(asked: ArrangeRequest, sheet: SheetSettings) -> Worksheet:
    """Return a worksheet of a tune as the page has it.

    Raises:
        HarmoniseError: If the tune cannot be read or does not do for it.
    """
    tune = tune_there(asked)
    style = request_of(asked.settings).style
    order = SheetOrder(
        sheet.kind,
        Style(style.level, style.harmonic_rhythm),
        sheet.labels,
        sheet.bars or sheet.kind.row.bars,
        sheet.faults,
        sheet.seed,
        named_keys(sheet.keys, mode=tune.key.mode),
        depth=sheet.depth,
        step=sheet.step,
        about=AuralKind(sheet.about) if sheet.about else None,
        questions=sheet.questions,
    )
    return make_sheets(tune, order, sheet.version)[-1]


class SheetFile(NamedTuple):
    """A file of a worksheet.

    Attributes:
        content: What it holds.
        title: Title of the tune.
        suffix: What its name has after the version.
        media: Its media type.
    """

    content: bytes
    title: str
    suffix: str
    media: str


def worksheet(asked: WorksheetRequest) -> SheetFile:
    """Return a worksheet to print or to fill in, its answers, or its recordings.

    Raises:
        HarmoniseError: If the tune cannot be read or does not do for it.
    """
    sheet = sheet_of(asked.arranging, asked.sheet)
    title = tune_at(asked.source, asked.tune).title
    if asked.copy == "recordings":
        return SheetFile(_recordings(sheet), title, ".zip", "application/zip")
    page = page_of(asked.page)
    fills = asked.copy == "fill-in"
    ending = (FORM if sheet.asked else ".musicxml") if fills else ".pdf"
    answers = asked.copy == "answers"
    (made,) = format_sheet(sheet, ending, page, answers=answers)
    media = next(file.media for file in FILES.values() if file.ending == ending)
    return SheetFile(made, title, f"-answers{ending}" if answers else ending, media)


def _recordings(sheet: Worksheet) -> bytes:
    """Return the recordings of a sheet that is heard, in an archive.

    Raises:
        OutputError: If it is read, and not heard.
    """
    files = sheet_recordings(sheet, PurePath(sheet.version))
    if not files:
        raise OutputError(
            "Nothing of this worksheet is heard.", None, "Make the sheet to print."
        )
    return packed({path.name: content for path, content in files})


def packed(files: Mapping[str, bytes]) -> bytes:
    """Return files in an archive; the same files are the same bytes."""
    made = BytesIO()
    with ZipFile(made, "w", ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(ZipInfo(name, _NEW_YEAR), content)
    return made.getvalue()
