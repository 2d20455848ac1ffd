"""What says inside a file that it was written here, and whether nobody has changed it.

A file that bears such a sign may be replaced by the next run without a question; what
somebody has edited since is theirs. MusicXML, PDF, PNG and SVG name the program that
saved them last, which other programs change. Of texts, MIDI and sound, which have no
such custom, the sign holds a sum over all the rest of the file.
"""

import re
import struct
from collections import deque
from importlib import import_module
from io import BytesIO
from pathlib import Path
from zlib import crc32

UNSIGNED = "Written by harmonise (00000000)."
"""The sign before the sum over the file is put into it."""
_SUM = re.compile(rb"Written by harmonise \(([0-9a-f]{8})\)\.")

_START, _AFTER_HEADER = 600, 33
"""Bytes in which a sign is looked for; those of a PNG before its second chunk."""
_LARGEST = 500_000_000
"""Bytes that are searched for a sign: three hours of sound have 480 MB."""
_SIGNS = (
    # A task file is meant to be filled in, and then holds a pupil's work.
    re.compile(
        rb"\A<\?xml(?![^\0]{,%d}\[harmonise task:)[^\0]{,%d}"
        rb"<software>harmonise</software>" % (_START, _START)
    ),
    re.compile(rb"\A<svg xmlns=[^>]*, Harmonise Music,"),
    re.compile(rb"\A\x89PNG.{29}.{4}tEXtSoftware\0harmonise, page", re.DOTALL),
    # The list ends so; what a terminal was told goes on with what was written.
    re.compile(
        rb"(?m)^\d+ of \d+ tunes? arranged\.( Stopped: the same command goes on\.)?"
        rb"( Not arranged:\n(  .*\n)+)?\s*\Z"
    ),
)


def sign_text(text: str, remark: str = "") -> str:
    r"""Return a text with a last line that says who wrote it.

    Args:
        text: The text.
        remark: How a remark begins in it, with its space; "" where all lines are read.

    >>> sign_text("Key: C\nC - - - |\n", "% ")
    'Key: C\nC - - - |\n% Written by harmonise (da0323e4).\n'
    """
    plain = text.rstrip("\n")
    return sign_bytes(f"{plain}\n{remark}{UNSIGNED}\n".encode()).decode()


def sign_bytes(data: bytes) -> bytes:
    """Return a file with the sum over it in its sign, which was `UNSIGNED`."""
    made = bytearray(data)
    sign_in_place(memoryview(made), data.rindex(UNSIGNED.encode()))
    return bytes(made)


def sign_in_place(data: memoryview, at: int) -> None:
    """Put the sum over the bytes of a file into its sign.

    Args:
        data: The file.
        at: Where its sign begins.
    """
    at += UNSIGNED.index("0")
    data[at : at + 8] = b"%08x" % crc32(data)


def is_signature(line: str) -> bool:
    """Whether a line of a text is the one that says who wrote it."""
    return bool(_SUM.fullmatch(line.encode(errors="replace")))


def _has_its_sum(data: bytes) -> bool:
    """Whether the sum in the last sign of a file is right: nothing has been changed."""
    signs = deque(_SUM.finditer(data), maxlen=1)
    if not signs:
        return False
    sign = signs.pop()
    # Sound is long: its bytes are not copied.
    rest, (start, end) = memoryview(data), sign.span(1)
    found = crc32(rest[end:], crc32(b"00000000", crc32(rest[:start])))
    return found == int(sign[1], 16)


def sign_picture(png: bytes, page: int) -> bytes:
    """Return a PNG with a line of text inside: who made it, and which page it is."""
    text = b"tEXtSoftware\0harmonise, page %d" % page
    chunk = struct.pack(">I", len(text) - 4) + text + struct.pack(">I", crc32(text))
    return png[:_AFTER_HEADER] + chunk + png[_AFTER_HEADER:]


def is_picture_page(path: Path, number: int) -> bool:
    """Whether a file is a page of a picture that was written here."""
    sign = b"tEXtSoftware\0harmonise, page %d" % number
    with path.open("rb") as file:
        return sign in file.read(_START)


def is_signed(path: Path) -> bool:
    """Whether a file says that it was written here, and by no other program since.

    Raises:
        OSError: If it cannot be read.
    """
    if path.stat().st_size > _LARGEST:
        return False
    data = path.read_bytes()
    if data.startswith(b"%PDF"):
        # A program that edits a PDF adds a second table of its parts at the end.
        return b"/Keywords(harmonise)" in data and data.count(b"startxref") == 1
    if data.startswith(b"PK"):
        # A zip opens with the mimetype: what is in it is compressed.
        try:
            with import_module("zipfile").ZipFile(BytesIO(data)) as archive:
                data = archive.read("score.musicxml")
        except Exception:  # noqa: BLE001 (a broken zip raises almost anything)
            return False
    return any(sign.search(data) for sign in _SIGNS) or _has_its_sum(data)
