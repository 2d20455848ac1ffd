"""Drills as files: MusicXML of any copy, MIDI, or a booklet in PDF.

One file holds all exercises, one after the other with double bars between, words above
each and a new line for each: a class prints it in one go and a player plays it through
without turning to another file. Bars are numbered through.
"""

from collections.abc import Sequence
from pathlib import Path

from harmonise.drills.output import Output, format_copy, joined
from harmonise.drills.score import Exercise
from harmonise.errors import OutputError
from harmonise.notation.writing.files import check_target, format_mxl, write_whole
from harmonise.notation.writing.midi import format_midi

MUSICXML = (".musicxml", ".xml", ".mxl")
MIDI = (".mid", ".midi")
ENDINGS = (*MUSICXML, *MIDI, ".pdf")
"""What the names of files may end in."""


def format_drill(
    exercises: Sequence[Exercise], title: str, ending: str, output: Output
) -> bytes:
    """Return exercises as what a file's ending names.

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
        # Slow to load, and only paper needs it.
        from harmonise.drills.booklet import format_booklet  # noqa: PLC0415

        return format_booklet(exercises, title, output)
    if ending in MIDI:
        return format_midi(joined(exercises, title), output.playing)
    copy = output.copy
    musicxml = format_copy(joined(exercises, title, copy), copy.version)
    return format_mxl(musicxml) if ending == ".mxl" else musicxml


def write_drill(
    exercises: Sequence[Exercise],
    title: str,
    path: Path,
    output: Output,
    *,
    force: bool = False,
) -> None:
    """Write exercises to one file.

    Raises:
        OutputError: If the ending is another, the file exists (without force), it
            cannot be written, or a library is missing.
    """
    check_place(path, force=force)
    content = format_drill(exercises, title, path.suffix.lower(), output)
    write_whole(path, content, force=force)


def check_place(path: Path, *, force: bool = False) -> None:
    """Refuse a file that cannot be written, before any work is done.

    Raises:
        OutputError: As `write_drill` says.
    """
    if path.suffix.lower() not in ENDINGS:
        raise OutputError(
            f'"{path.name}" does not end in {", ".join(ENDINGS[:-1])} or .pdf.',
            None,
            f"Call it {path.stem}.musicxml, {path.stem}.mid or {path.stem}.pdf.",
        )
    check_target(path, force=force)
