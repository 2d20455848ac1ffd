"""Which reader a script needs, decided by its content."""

from pathlib import Path

from harmonise.errors import NotationError
from harmonise.notation.reading.reader import LARGEST, decode, read_bytes
from harmonise.notation.reading.scripts.script import Script, in_order
from harmonise.notation.reading.scripts.typed import is_typed, parse_typed
from harmonise.theory.tune import Tune

ENDINGS = (".musicxml", ".xml", ".mxl", ".mid", ".midi", ".txt")
"""What the names of scripts end in."""
_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_script(path: Path, tune: Tune) -> Script:
    """Return the script that a file holds.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    return parse_script(read_bytes(path), tune)


def parse_script(data: bytes, tune: Tune) -> Script:
    """Return the script that some bytes hold; pure.

    Args:
        data: MusicXML, MIDI, or text.
        tune: The tune of the task, whose bars and key are meant where the script has
            none of its own.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If there is nothing in it.
    """
    if len(data) > LARGEST:
        raise NotationError("This file is larger than 2 MB.", None, "Hand in one work.")
    start = data.removeprefix(b"\xef\xbb\xbf").lstrip()[:4]
    if start[:2] == b"PK" or start[:1] == b"<" or (data[:2] in _MARKS and b"<" in data):
        from harmonise.notation.reading.scripts.score import parse_score  # noqa: PLC0415

        return parse_score(data)
    if start == b"MThd":
        from harmonise.notation.reading.scripts.played import (  # noqa: PLC0415
            parse_played,
        )

        return parse_played(data, tune)
    text = decode(data)
    if is_typed(text):
        return parse_typed(text, tune)
    return _spoken(text)


def _spoken(text: str) -> Script:
    """Return the score in words as a script.

    Raises:
        NotationError: If it is none; both forms of text are told.
    """
    if "Bar " not in text:
        raise NotationError(
            "This text is no work that can be marked.",
            None,
            "Write lines such as: 1.3: F | C4 F4 A4 | F2",
        )
    from harmonise.notation.reading.spoken import parse_spoken  # noqa: PLC0415

    return Script(tuple(sorted(parse_spoken(text), key=in_order)))
