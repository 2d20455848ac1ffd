"""Exercises put together as one score, and their copies as MusicXML."""

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from harmonise.drills.copies import PLAIN_COPY, Copy, Version, copy_of, join
from harmonise.drills.plan import START
from harmonise.drills.score import Exercise
from harmonise.notation.writing.midi import AS_WRITTEN, Playing
from harmonise.notation.writing.musicxml import format_musicxml
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.key_orders import printed

if TYPE_CHECKING:
    from harmonise.notation.sheets.blocks import Page

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
