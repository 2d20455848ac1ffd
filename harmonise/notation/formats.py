"""The formats that tunes are read from, a row each, and the way from a file to a tune.

What a file holds is decided by its content; its name only says that it may be a tune.
A new format is a row of `FORMATS` and the function that the row names.
"""

import re
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import NamedTuple

from harmonise.errors import SAMPLE_LINE, MelodyError, NotationError
from harmonise.notation.files import keep_file
from harmonise.notation.part_names import PartName, refuse_names
from harmonise.notation.recording.click import FREE, Click
from harmonise.theory.tune import Tune, assert_on_keyboard

LARGEST = 2_000_000
"""Most bytes that are read; a songbook of 2,000 bars stays well below."""

LARGEST_SOUND = 120_000_000
"""Most bytes of a recording: ten minutes in two channels at 48 kHz."""

LARGEST_BOOK = 20_000_000
"""Most bytes that are read of a file with many tunes."""

_ABC_FIELDS = (re.compile(r"^X:", re.MULTILINE), re.compile(r"^K:", re.MULTILINE))
# Blanks of one line alone: over line ends the search would be quadratic.
_SOLFA = re.compile(r"^[^\S\n]*(doh|lah)[^\S\n]*:", re.IGNORECASE | re.MULTILINE)
_MARKS = (b"\xff\xfe", b"\xfe\xff")
_FROM_PAGE = "Type the tune that is on it, or export MusicXML where it was made."
_PICTURE = (
    rb"\x89PNG|GIF8|\xff\xd8\xff|BM.{4}\0{4}|II\*\0|MM\0\*|RIFF.{4}WEBP"
    rb"|.{4}ftyp(?:avif|hei|mif1)"
)
_DOCUMENT = (
    # The last are zips: what their first file is called tells them from .mxl.
    rb"\{\\rtf|\xd0\xcf\x11\xe0|PK\x03\x04.{26}"
    rb"(?:\[Content_Types\]|_rels/|docProps/|word/|mimetypeapplication/vnd\.oasis)"
)
# An MPEG frame begins with eleven bits that are set; FF FE marks UTF-16.
_RECORDED = re.compile(
    rb"RIFF.{4}WAVE|FORM.{4}AIF|ID3|OggS|fLaC|\xff[\xe2-\xfd]", re.DOTALL
)
_SOUND = rb".{4}ftyp"
_NO_MUSIC = (
    ("a picture", _PICTURE, _FROM_PAGE),
    ("a PDF", rb"%PDF-", _FROM_PAGE),
    ("a document of a word processor", _DOCUMENT, "Save the tune as plain text."),
    ("a sound of a kind that is not read", _SOUND, "Save it as WAV or FLAC."),
)
"""What is no music, how its first bytes look, and what to do instead."""
_ROOM = "harmonise.notation"


class Format(NamedTuple):
    """A format that tunes are read from.

    Attributes:
        name: What it is called.
        endings: What names of its files end in, the usual one first.
        fits: Whether bytes are of this format; asked in the order of the rows.
        home: The module that reads it. It is loaded when a file is of this format, for
            the readers of the others would take most of the time of a short job.
        reader: The function in it that makes tunes of the content.
        is_text: Whether the reader takes text, not bytes.
        lister: The function in it that names the parts; the reader then takes the name
            of one too. "" where a file has one line only.
        is_sound: Whether it is heard, not read; the reader then takes the click too.
    """

    name: str
    endings: tuple[str, ...]
    fits: Callable[[bytes], bool]
    home: str
    reader: str
    is_text: bool = True
    lister: str = ""
    is_sound: bool = False

    def parse(
        self, data: bytes, part: str = "", click: Click = FREE
    ) -> tuple[Tune, ...]:
        """Return the tunes that some bytes of this format hold.

        Args:
            data: The content of a file.
            part: Name of the part that holds the tune; "" to leave it to the reader.
            click: What was heard while a recording was made.

        Raises:
            NotationError: If they cannot be read, or no part is called so.
            MelodyError: If they hold no tune.
        """
        if part.strip() and not self.lister:
            refuse_names(part)
        read: Callable[..., Tune | tuple[Tune, ...]]
        read = getattr(import_module(self.home), self.reader)
        content = decode(data) if self.is_text else data
        asked: object = click if self.is_sound else part
        found = read(content, asked) if self.lister or self.is_sound else read(content)
        return (found,) if isinstance(found, Tune) else found

    def parts(self, data: bytes) -> tuple[PartName, ...]:
        """Return the parts that a tune can be taken from; () where there is one line.

        Raises:
            NotationError: If some bytes of this format cannot be read.
        """
        if not self.lister:
            return ()
        listed: Callable[..., tuple[PartName, ...]]
        listed = getattr(import_module(self.home), self.lister)
        return listed(decode(data) if self.is_text else data)


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


def _start(data: bytes) -> bytes:
    """Return the first four bytes after a byte order mark and blanks."""
    return data.removeprefix(b"\xef\xbb\xbf").lstrip()[:4]


def _is_midi(data: bytes) -> bool:
    return _start(data) == b"MThd"


def _is_recorded(data: bytes) -> bool:
    return bool(_RECORDED.match(data))


def _is_musicxml(data: bytes) -> bool:
    # A zip (.mxl), the first tag, or a tag somewhere in UTF-16.
    starts = _start(data).startswith((b"PK", b"<"))
    return starts or (data[:2] in _MARKS and b"<" in data)


FORMATS = (
    # No ending: beside the tunes of a folder lie the sounds that were made of them.
    Format(
        "recorded sound",
        (),
        _is_recorded,
        f"{_ROOM}.recording.hearing",
        "parse_recording",
        is_text=False,
        is_sound=True,
    ),
    Format(
        "MIDI",
        (".mid", ".midi"),
        _is_midi,
        f"{_ROOM}.midi.reading",
        "parse_midi",
        is_text=False,
        lister="list_midi_parts",
    ),
    Format(
        "MusicXML",
        (".musicxml", ".xml", ".mxl"),
        _is_musicxml,
        f"{_ROOM}.musicxml.reader",
        "parse_musicxml",
        is_text=False,
        lister="list_score_parts",
    ),
    Format(
        "ABC",
        (".abc",),
        lambda data: is_abc(decode(data)),
        f"{_ROOM}.abc.abc_tune",
        "parse_abc",
        lister="list_voices",
    ),
    Format(
        "sol-fa",
        (".txt",),
        lambda data: bool(_SOLFA.search(decode(data))),
        f"{_ROOM}.solfa.solfa",
        "parse_solfa",
    ),
    # Whatever is none of the others is read as a tune that somebody typed.
    Format(
        "tune text",
        (".txt",),
        lambda _: True,
        f"{_ROOM}.tune_text.tune_text",
        "parse_tune_text",
    ),
)
ENDINGS = tuple(dict.fromkeys(end for row in reversed(FORMATS) for end in row.endings))
"""What names of files that may hold tunes end in, those of texts first."""


def assert_notation(data: bytes) -> None:
    """Guard that some bytes are not a thing that has no notes to read.

    Raises:
        NotationError: If they are a picture, a PDF, a document or a sound.
    """
    for kind, look, remedy in _NO_MUSIC:
        if re.match(look, data, re.DOTALL):
            raise NotationError(f"This is {kind}, not notation.", None, remedy)


def format_of(data: bytes) -> Format:
    r"""Return the format of some bytes, as their content tells it.

    Raises:
        NotationError: If they are no notation.

    >>> format_of(b"C D E F | G - |").name, format_of(b"X: 1\nK: C\nCDEF|").name
    ('tune text', 'ABC')
    """
    assert_notation(data)
    return next(row for row in FORMATS if row.fits(data))


def read_tunes(
    source: Path | str, *, part: str = "", click: Click = FREE
) -> tuple[Tune, ...]:
    """Return the tunes of a file, or of a text.

    Args:
        source: A path; or the tune itself as text (a text has more than one line, or
            names no existing file).
        part: Name of the part to take from a score; the first if empty.
        click: What was heard while a recording was made.

    Raises:
        NotationError: If it cannot be read.
        MelodyError: If it holds no tune.
    """
    if isinstance(source, str):
        is_path = "\n" not in source and len(source) < 1000 and Path(source).is_file()
        if not is_path:
            return parse_tunes(source.encode(), part=part)
    data = read_bytes(Path(source), LARGEST_SOUND)
    return parse_tunes(data, part=part, click=click)


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
            keep_file(path)
            return file.read(most + 1)
    except FileNotFoundError:
        message = f"There is no file {path}."
        raise NotationError(message, None, "Check the name.") from None
    except IsADirectoryError:
        message = f"{path} is a folder."
        raise NotationError(message, None, "Name one tune in it.") from None
    except OSError as error:
        raise NotationError(f"{path} cannot be opened: {error.strerror}.") from None


def parse_tunes(
    data: bytes, *, part: str = "", click: Click = FREE
) -> tuple[Tune, ...]:
    """Return the tunes that some bytes hold; pure.

    Args:
        data: What a file holds.
        part: Name of the part to take from a score; the first if empty.
        click: What was heard while a recording was made.

    Raises:
        NotationError: If they cannot be read.
        MelodyError: If they hold no tune, or a note that no piano has.
    """
    _assert_size(data)
    tunes = format_of(data).parse(data, part, click)
    if not any(tune.sounding for tune in tunes):
        what = "There is no note in this tune."
        raise MelodyError(what, None, f"Type one line such as: {SAMPLE_LINE}")
    for tune in tunes:
        assert_on_keyboard(tune)
    return tuple(tune for tune in tunes if tune.sounding)


def _assert_size(data: bytes) -> None:
    most = LARGEST_SOUND if _is_recorded(data) else LARGEST
    if len(data) > most:
        what = f"This file is larger than {most // 1_000_000} MB."
        raise NotationError(what, None, "Take one tune out of it.")
