"""Drills as files: MusicXML of any copy, MIDI, or a booklet in PDF.

One file holds all exercises, one after the other with double bars between, words above
each and a new line for each: a class prints it in one go and a player plays it through
without turning to another file. Bars are numbered through.
"""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from harmonise.drills.copies import PLAIN_COPY, Copy, Version, copy_of, join
from harmonise.drills.keys import printed
from harmonise.drills.plan import START
from harmonise.drills.score import Exercise
from harmonise.errors import OutputError
from harmonise.notation.writing.files import check_target, format_mxl, write_whole
from harmonise.notation.writing.midi import AS_WRITTEN, Playing, format_midi
from harmonise.notation.writing.musicxml import format_musicxml
from harmonise.theory.arrangement import Arrangement

if TYPE_CHECKING:
    from harmonise.notation.sheets.blocks import Page

MUSICXML = (".musicxml", ".xml", ".mxl")
MIDI = (".mid", ".midi")
ENDINGS = (*MUSICXML, *MIDI, ".pdf")
"""What the names of files may end in."""

_NOTE = re.compile(r"( *)<note .*?</note>\n", re.DOTALL)
_REST = re.compile(r"( *)<note [^>]*>\n *<rest.*?</note>\n", re.DOTALL)
_DURATION = re.compile(r"<duration>(\d+)</duration>")
_NUMERAL = re.compile(
    r' *<lyric number="1" name="numeral">.*?<text>(.*?)</text>.*?</lyric>\n', re.DOTALL
)
_SYMBOL = re.compile(r" *<harmony .*?</harmony>\n", re.DOTALL)
_WORDS = (
    '{0}<direction placement="below">\n'
    "{0}  <direction-type>\n"
    '{0}    <words default-y="-80" font-style="normal">{1}</words>\n'
    "{0}  </direction-type>\n"
    "{0}  <staff>2</staff>\n"
    "{0}</direction>\n"
)


def joined(
    exercises: Sequence[Exercise],
    title: str,
    copy: Copy = PLAIN_COPY,
) -> Arrangement:
    """Return exercises as one score.

    Args:
        exercises: At least one.
        title: Title of the score.
        copy: Which copy of them.
    """
    several = len({own.drill for own in exercises}) > 1
    parts = []
    for own in exercises:
        words = f"{printed(own.key)}, {own.label}"
        if several and own.drill:
            words = f"{own.drill}: {words}"
        parts.append((words, copy_of(own, copy)))
    return join(parts, title)


def format_copy(score: Arrangement, version: Version) -> bytes:
    """Return a copy of exercises as MusicXML.

    A blank copy has no chord symbols and shows no rests: the pupil writes over the
    numerals.
    """
    text = format_musicxml(score).decode()
    if version is Version.BLANK:
        text = _NOTE.sub(_hidden_rest, _SYMBOL.sub("", text))
        return _NOTE.sub(_numeral_as_words, text).encode()
    return _REST.sub(_numeral_as_words, text).encode()


class Output(NamedTuple):
    """How exercises go into a file.

    Attributes:
        copy: Which copy of them is printed.
        tempo: Crotchets a minute that the practice plan starts from.
        playing: How they are played.
        page: The page of a booklet; None for A4 upright.
    """

    copy: Copy = PLAIN_COPY
    tempo: int = START
    playing: Playing = AS_WRITTEN
    page: "Page | None" = None


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


def _numeral_as_words(found: re.Match[str]) -> str:
    """Return a note whose numeral is words under the staff.

    Engravers drop the lyrics of rests.
    """
    note, indent = found.group(), found.group(1)
    numeral = _NUMERAL.search(note)
    if not numeral:
        return note
    note = note[: numeral.start()] + note[numeral.end() :]
    return _WORDS.format(indent, numeral.group(1)) + note


def _hidden_rest(found: re.Match[str]) -> str:
    """Return a rest that is not shown; notes stay as they are.

    A rest for the whole bar gets a value, or what hangs on it is set at the bar's end.
    """
    note = found.group()
    if "<rest" not in note:
        return note
    note = note.replace("<note ", '<note print-object="no" ', 1)
    if '<rest measure="yes"/>' not in note:
        return note
    value = "<type>half</type><dot/>" if _is_triple(note) else "<type>whole</type>"
    note = note.replace(' measure="yes"', "", 1)
    return note.replace("</voice>\n", f"</voice>\n{found.group(1)}  {value}\n", 1)


def _is_triple(note: str) -> bool:
    """Return whether a rest for a whole bar lasts three crotchets, not four."""
    duration = _DURATION.search(note)
    return duration is not None and int(duration.group(1)) % 3 == 0
