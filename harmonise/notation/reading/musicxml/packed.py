"""Compressed MusicXML (.mxl): a zip that names its score in META-INF/container.xml.

We open it ourselves, because a small archive may unpack to gigabytes, and follow its
container, which says which of the files is the score. A module of its own, because
Python's zip reader takes longer to load than a plain file to read.
Source: W3C, MusicXML 4.0, "Compressed .MXL files".
"""

import io
import zipfile
import zlib

from harmonise.errors import NotationError
from harmonise.notation.reading.musicxml.tree import Element
from harmonise.notation.reading.musicxml.xml_text import (
    EXPORT,
    parse_xml,
    words_of,
)

LARGEST_SCORE = 10_000_000
"""Most bytes of a file when it is unpacked."""

_SCORE_TYPES = ("", "application/vnd.recordare.musicxml+xml")
_FAULTS = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    RuntimeError,
    ValueError,
    OSError,
)


def unpack(data: bytes) -> bytes:
    """Return the score inside a compressed file, as its container names it.

    Args:
        data: The archive.

    Raises:
        NotationError: If it is damaged, too large or does not lead to a score.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            container = _member(archive, "META-INF/container.xml")
            if container is None:
                raise NotationError(
                    "The .mxl file has no META-INF/container.xml, which must say "
                    "where its score is.",
                    None,
                    EXPORT,
                )
            name = _score_name(parse_xml(container))
            score = _member(archive, name)
    except _FAULTS as fault:
        raise NotationError(
            f"The .mxl file is damaged ({words_of(fault)}).", None, EXPORT
        ) from fault
    if score is None:
        raise NotationError(
            f'The .mxl file names "{name}" as its score but does not hold it.',
            None,
            EXPORT,
        )
    return score


def _member(archive: zipfile.ZipFile, name: str) -> bytes | None:
    """Return one file of an archive; None if there is none of that name."""
    if name not in archive.namelist():
        return None
    with archive.open(name) as file:
        data = file.read(LARGEST_SCORE + 1)
    if len(data) > LARGEST_SCORE:
        raise NotationError(
            "The .mxl file unpacks to more than 10 MB.",
            None,
            "Export the tune's part alone.",
        )
    return data


def _score_name(container: Element) -> str:
    for rootfile in container.iter("rootfile"):
        name = rootfile.get("full-path", "").strip()
        if name and rootfile.get("media-type", "").strip() in _SCORE_TYPES:
            return name
    raise NotationError(
        "META-INF/container.xml in the .mxl file names no score.", None, EXPORT
    )
