"""Drills as files: MusicXML of any copy, MIDI, or a booklet as PDF or PNG.

A file of MusicXML or MIDI holds all exercises one after the other: a class prints it in
one go, and a player goes through it without turning to another file. A booklet goes key
by key instead.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.lessons.drill_booklet import booklet_blocks
from harmonise.lessons.drill_copies import PLAIN_COPY, DrillCopy, joined, plan_copy
from harmonise.lessons.drill_makers import Exercise
from harmonise.lessons.drills import START
from harmonise.notation.files import MIDI, MUSICXML, check_target, format_mxl
from harmonise.notation.midi.writing import AS_WRITTEN, Playing, format_midi
from harmonise.notation.musicxml.writer import FileIdentity, format_plan
from harmonise.notation.outputs import write_pages
from harmonise.notation.paper.blocks import A4_PAGE, Page
from harmonise.notation.paper.typesetting import typeset, typeset_pictures
from harmonise.notation.signed import sign_xml


class DrillOutput(NamedTuple):
    """How exercises go into a file.

    Attributes:
        copy: Which copy of them is printed.
        tempo: Crotchets a minute that the practice plan starts from.
        playing: How they are played.
        page: The page of a booklet; None for A4 upright.
        identity: What MusicXML says of itself, so that a marker knows the drill.
    """

    copy: DrillCopy = PLAIN_COPY
    tempo: int = START
    playing: Playing = AS_WRITTEN
    page: Page | None = None
    identity: FileIdentity = FileIdentity()


PRINTED = (".pdf", ".png")
ENDINGS = (*MUSICXML, *MIDI, *PRINTED)
"""What the names of files may end in."""


def format_drill(
    exercises: Sequence[Exercise], title: str, ending: str, output: DrillOutput
) -> bytes:
    """Return exercises as what a file's ending names, of a picture the first page."""
    return drill_pages(exercises, title, ending, output)[0]


def drill_pages(
    exercises: Sequence[Exercise], title: str, ending: str, output: DrillOutput
) -> tuple[bytes, ...]:
    """Return exercises as what a file's ending names: one file, or a picture a page.

    Args:
        exercises: At least one.
        title: Title of the whole.
        ending: One of `ENDINGS`: a booklet, MusicXML, or MIDI, which has all notes
            whatever the copy.
        output: How.

    Raises:
        OutputError: If a library is missing.
    """
    if ending == ".pdf":
        return (format_booklet(exercises, title, output),)
    if ending == ".png":
        page = output.page or A4_PAGE
        blocks = booklet_blocks(exercises, title, output.copy, output.tempo, page)
        return typeset_pictures(blocks, page)
    if ending in MIDI:
        return (format_midi(joined(exercises, title), output.playing),)
    copy = output.copy
    plan = plan_copy(joined(exercises, title, copy), copy.version)
    musicxml = sign_xml(format_plan(plan, output.identity))
    return (format_mxl(musicxml) if ending == ".mxl" else musicxml,)


def write_drill(
    exercises: Sequence[Exercise],
    title: str,
    path: Path,
    output: DrillOutput,
    *,
    force: bool = False,
) -> tuple[Path, ...]:
    """Write exercises, one after the other, to a file of the kind that its name says.

    Returns:
        The files: of a picture one a page.

    Raises:
        OutputError: If the ending is another, the file exists (without force), it
            cannot be written, or a library is missing.
    """
    check_place(path, force=force)
    pages = drill_pages(exercises, title, path.suffix.lower(), output)
    return write_pages([(path, pages)], force=force)


def check_place(path: Path, *, force: bool = False) -> None:
    """Refuse a file that cannot be written, before any work is done.

    Raises:
        OutputError: As `write_drill` says.
    """
    if path.suffix.lower() not in ENDINGS:
        raise OutputError(
            f'"{path.name}" does not end in {", ".join(ENDINGS[:-1])} or .png.',
            None,
            f"Call it {path.stem}.musicxml, {path.stem}.mid or {path.stem}.pdf.",
        )
    check_target(path, force=force)


def format_booklet(
    exercises: Sequence[Exercise], title: str, output: DrillOutput
) -> bytes:
    """Return exercises as a booklet in PDF.

    Args:
        exercises: In order.
        title: Title of the booklet.
        output: Which copy, the tempo that the plan starts from, and the page.

    Raises:
        LibraryError: If verovio or typst is not installed.
    """
    page = output.page or A4_PAGE
    return typeset(
        booklet_blocks(exercises, title, output.copy, output.tempo, page), page
    )
