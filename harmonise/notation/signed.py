"""What says inside a file that it was written here, and whether nobody has changed it.

A file that bears such a sign may be replaced by the next run without a question; what
somebody has edited since is theirs. The sign stands where a format has a place for it,
and holds a sum over all the rest of the file. A PDF names the program in its keywords;
who edits one adds to its end.
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

_AFTER_HEADER = 33
"""Bytes of a PNG before its second chunk."""
_PICTURE = re.compile(
    rb"\A\x89PNG.{29}.{4}tEXtSoftware\0harmonise, page (\d+)\.", re.DOTALL
)
_LARGEST = 500_000_000
"""Bytes that are searched for a sign: three hours of sound have 480 MB."""
_LIST = re.compile(
    rb"(?m)^\d+ of \d+ tunes? arranged\.( Stopped: the same command goes on\.)?"
    rb"( Not arranged:\n(  .*\n)+)?\s*\Z"
)
"""How the list of a book ends; a terminal is told more, of what was written."""


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


def sign_xml(data: bytes) -> bytes:
    """Return MusicXML or SVG with a comment after its end that says who wrote it."""
    return sign_bytes(data + f"<!-- {UNSIGNED} -->\n".encode())


def sign_picture(png: bytes, page: int) -> bytes:
    """Return a PNG with a text inside: which page it is, and who made it."""
    text = b"tEXtSoftware\0harmonise, page %d. " % page
    text += UNSIGNED.replace("00000000", f"{crc32(png):08x}").encode()
    chunk = struct.pack(">I", len(text) - 4) + text + struct.pack(">I", crc32(text))
    return png[:_AFTER_HEADER] + chunk + png[_AFTER_HEADER:]


def is_picture_page(path: Path, number: int) -> bool:
    """Whether a file is a page of a picture that was written here."""
    data = path.read_bytes()
    page = _PICTURE.search(data)
    return bool(page and page[1] == b"%d" % number and _is_whole(data))


def _is_whole(png: bytes) -> bool:
    """Whether a PNG without its first chunk of text has the sum that is told there."""
    sign = _SUM.search(png, _AFTER_HEADER, 2 * _AFTER_HEADER + 99)
    if sign is None:
        return False
    # A chunk ends with a sum of its own, of four bytes.
    rest = memoryview(png)
    found = crc32(rest[sign.end() + 4 :], crc32(rest[:_AFTER_HEADER]))
    return found == int(sign[1], 16)


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
    if data.startswith(b"\x89PNG"):
        return _is_whole(data)
    if data.startswith(b"PK"):
        # A zip opens with the mimetype: what is in it is compressed.
        try:
            with import_module("zipfile").ZipFile(BytesIO(data)) as archive:
                data = archive.read("score.musicxml")
        except Exception:  # noqa: BLE001 (a broken zip raises almost anything)
            return False
    return _has_its_sum(data) or bool(_LIST.search(data))
