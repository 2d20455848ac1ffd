"""The one place that opens a tune: which door it takes is decided by its content."""

import re
from pathlib import Path

from harmonise.errors import MelodyError, NotationError
from harmonise.theory.tune import Tune

LARGEST = 2_000_000
"""Most bytes that are read; a songbook of 2,000 bars stays well below."""

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
    return parse_tunes(_read_bytes(Path(source)), part=part)


def read_tune(source: Path | str, *, part: str = "") -> Tune:
    """Return the one tune of a file or text, the first if it holds several.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If it holds no tune.
    """
    return read_tunes(source, part=part)[0]


def _read_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(LARGEST + 1)
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
        from harmonise.notation.reading import musicxml  # noqa: PLC0415

        return (musicxml.parse_musicxml(data, part),)
    if start == b"MThd":
        raise NotationError(
            "This is a MIDI file, and MIDI is not read yet.",
            None,
            "Save the tune as MusicXML, or type it.",
        )
    text = _decode(data)
    if all(field.search(text) for field in _ABC_FIELDS):
        from harmonise.notation.reading import abc  # noqa: PLC0415

        return abc.parse_abc(text)
    if _SOLFA.search(text):
        raise NotationError(
            "This is tonic sol-fa, and sol-fa is not read yet.",
            None,
            "Type the tune in letters or numbers.",
        )
    from harmonise.notation.reading import tune_text  # noqa: PLC0415

    return tune_text.parse_tune_text(text)


def _decode(data: bytes) -> str:
    if data[:2] in _MARKS:
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")
