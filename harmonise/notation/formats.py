"""The one place that opens a tune: which door it takes is decided by its content."""

import re
from pathlib import Path

from harmonise.errors import MelodyError, NotationError
from harmonise.theory.tune import Tune

LARGEST = 2_000_000
"""Most bytes that are read; a songbook of 2,000 bars stays well below."""

LARGEST_BOOK = 20_000_000
"""Most bytes that are read of a file with many tunes."""

_ABC_FIELDS = (re.compile(r"^X:", re.MULTILINE), re.compile(r"^K:", re.MULTILINE))
_SOLFA = re.compile(r"^\s*(doh|lah)\s*:", re.IGNORECASE | re.MULTILINE)
_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_tunes(source: Path | str, *, part: str = "") -> tuple[Tune, ...]:
    """Return the tunes of a file, or of a text.

    Args:
        source: A path; or the tune itself as text (a text has more than one line, or
            names no existing file).
        part: Name of the part to take from a score; the first if empty.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If it holds no tune.
    """
    if isinstance(source, str):
        is_path = "\n" not in source and len(source) < 1000 and Path(source).is_file()
        if not is_path:
            return parse_tunes(source.encode(), part=part)
    return parse_tunes(read_bytes(Path(source)), part=part)


def read_tune(source: Path | str, *, part: str = "") -> Tune:
    """Return the one tune of a file or text, the first if it holds several.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If it holds no tune.
    """
    return read_tunes(source, part=part)[0]


def read_bytes(path: Path, most: int = LARGEST) -> bytes:
    """Return what a file holds, one byte more than the most at most.

    Raises:
        NotationError: If it cannot be opened.
    """
    try:
        with path.open("rb") as file:
            return file.read(most + 1)
    except FileNotFoundError:
        message = f"There is no file {path}."
        raise NotationError(message, None, "Check the name.") from None
    except IsADirectoryError:
        message = f"{path} is a folder."
        raise NotationError(message, None, "Name one tune in it.") from None
    except OSError as error:
        raise NotationError(f"{path} cannot be opened: {error.strerror}.") from None


def parse_tunes(data: bytes, *, part: str = "") -> tuple[Tune, ...]:
    """Return the tunes that some bytes hold; pure.

    Raises:
        NotationError: If they cannot be read.
        MelodyError: If they hold no tune.
    """
    if len(data) > LARGEST:
        raise NotationError(
            "This file is larger than 2 MB.", None, "Take one tune out of it."
        )
    tunes = _parse(data, part)
    if not any(tune.sounding for tune in tunes):
        raise MelodyError(
            "There is no note in this tune.",
            None,
            "Type one line such as: C C G G | A A G - |",
        )
    return tuple(tune for tune in tunes if tune.sounding)


def _parse(data: bytes, part: str) -> tuple[Tune, ...]:
    start = data.removeprefix(b"\xef\xbb\xbf").lstrip()[:4]
    if start[:2] == b"PK" or start[:1] == b"<" or (data[:2] in _MARKS and b"<" in data):
        from harmonise.notation.musicxml import reader as musicxml  # noqa: PLC0415

        return (musicxml.parse_musicxml(data, part),)
    if start == b"MThd":
        from harmonise.notation.midi import reading as midi  # noqa: PLC0415

        return midi.parse_midi(data, part)
    text = decode(data)
    if is_abc(text):
        from harmonise.notation.abc import abc_tune as abc  # noqa: PLC0415

        return abc.parse_abc(text)
    if _SOLFA.search(text):
        from harmonise.notation.solfa import solfa_reading as solfa  # noqa: PLC0415

        return solfa.parse_solfa(text)
    from harmonise.notation.tune_text import tune_text  # noqa: PLC0415

    return tune_text.parse_tune_text(text)


def is_abc(text: str) -> bool:
    """Whether a text has the two fields that every ABC tune has."""
    return all(field.search(text) for field in _ABC_FIELDS)


def decode(data: bytes) -> str:
    """Return bytes as text: UTF-8, UTF-16 with its mark, else Latin-1."""
    if data[:2] in _MARKS:
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")
