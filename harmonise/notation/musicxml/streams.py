"""Streams of music21: a tune out of one, and an arrangement as one.

Both ways go through MusicXML, which music21 reads and writes, so that a stream is read
by the same rules as a file. music21 is no part of the installation; whoever has a
stream has it, and it is loaded by nobody else.
"""

from typing import TYPE_CHECKING, Protocol

from harmonise.errors import LibraryError, NotationError
from harmonise.notation.musicxml.elements import words_of
from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.tune import Tune

if TYPE_CHECKING:
    from music21.stream import Score  # noqa: TID251 (the room that may)

    from harmonise.theory.arrangement import Arrangement


class Streamed(Protocol):
    """A Score, Part or Stream of music21."""

    @property
    def metadata(self) -> object:
        """Return what its title page says; None if it has none."""


def read_stream(stream: Streamed, part: str = "") -> Tune:
    """Return the tune of a stream of music21.

    Args:
        stream: A Score, Part or Stream; it is not changed.
        part: Name of the part that holds the tune; "" for the first with notes.

    Raises:
        TypeError: If it is no stream.
        NotationError: If it cannot be written as MusicXML, or no tune is read from it.
        MelodyError: If it has no note with a pitch.
    """
    kinds = {kind.__module__.partition(".")[0] for kind in type(stream).__mro__}
    if "music21" not in kinds:
        message = (
            "A tune is wanted, or a Score, Part or Stream of music21, not "
            f"{type(stream).__name__}. Read a file with read_tune."
        )
        raise TypeError(message)
    from music21 import defaults  # noqa: PLC0415, TID251
    from music21.musicxml.m21ToXml import (  # noqa: PLC0415, TID251
        GeneralObjectExporter,
    )

    try:  # It raises exceptions of many kinds, its own and Python's.
        data = GeneralObjectExporter(stream).parse()
    except Exception as fault:
        what = f"The stream cannot be written as MusicXML ({words_of(fault)})."
        remedy = 'Try stream.write("musicxml") and mend what it names.'
        raise NotationError(what, None, remedy) from fault
    tune = parse_musicxml(data, part)
    # A stream without title, composer or rights gets music21's own words for them.
    title = "" if tune.title == defaults.title else tune.title
    composer = "" if tune.composer == defaults.author else tune.composer
    facts = (word for word in tune.origin.split("; ") if word != "rights: None")
    return tune._replace(title=title, composer=composer, origin="; ".join(facts))


def to_music21(arrangement: "Arrangement") -> "Score":
    """Return an arrangement as a Score of music21, a part for each staff.

    Raises:
        LibraryError: If music21 is not installed.
    """
    try:
        from music21.musicxml.xmlToM21 import (  # noqa: PLC0415, TID251
            MusicXMLImporter,
        )
    except ImportError as fault:
        raise LibraryError("Scores of music21 need", "music21") from fault

    importer = MusicXMLImporter()
    importer.xmlText = format_musicxml(arrangement).decode()
    importer.parseXMLText()
    return importer.stream
