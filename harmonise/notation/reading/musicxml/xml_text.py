"""The text of an XML file as a tree, in any usual encoding, without entities.

We decode the text ourselves, so that a document type with entities is seen whatever the
encoding is. Source: W3C, XML 1.0.
"""

import re
from xml.etree import ElementTree as ET

from harmonise.errors import NotationError
from harmonise.notation.reading.musicxml.tree import Element

EXPORT = "Export it as MusicXML again."
"""What to do with a file that is damaged or no MusicXML."""

_ENCODING = re.compile(rb"""^\s*<\?xml[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
_ENCODINGS = {
    "utf-8": "utf-8-sig",
    "utf8": "utf-8-sig",
    "us-ascii": "utf-8-sig",
    "ascii": "utf-8-sig",
    "iso-8859-1": "latin-1",
    "latin-1": "latin-1",
    "latin1": "latin-1",
    "iso-8859-15": "iso-8859-15",
    "windows-1252": "cp1252",
    "utf-16": "utf-16",
}


def words_of(fault: Exception) -> str:
    """Return what an exception says, on one short line, without a full stop."""
    said = " ".join(str(fault).split()) or type(fault).__name__
    return said[:80].rstrip(".")


def _decode(data: bytes) -> str:
    """Return the text of an XML file, whichever of the usual encodings it has."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        name = "utf-16"
    elif data[:2] in (b"<\x00", b"\x00<"):
        name = "utf-16-le" if data[0] else "utf-16-be"
    else:
        declared = _ENCODING.match(data.removeprefix(b"\xef\xbb\xbf"))
        said = declared.group(1).decode() if declared else "utf-8"
        name = _ENCODINGS.get(said.lower(), "")
        if not name:
            raise NotationError(
                f"The file says that it is written in {said}, which is not read.",
                None,
                "Export it in UTF-8.",
            )
    try:
        return data.decode(name)
    except UnicodeDecodeError as fault:
        raise NotationError(
            f"Byte {fault.start + 1} of the file is no text in its encoding, "
            f"{name.removesuffix('-sig')}.",
            None,
            "Export it in UTF-8.",
        ) from fault


def parse_xml(data: bytes) -> Element:
    """Return the outermost element of an XML file, names without namespaces.

    Raises:
        NotationError: If it is not well formed or defines entities.
    """
    written = _decode(data).lstrip("\ufeff \t\r\n")
    if "<!ENTITY" in written:
        raise NotationError(
            "The file defines entities of its own (<!ENTITY>), which MusicXML does "
            "not need and which can be used to attack.",
            None,
            EXPORT,
        )
    if not written.startswith("<"):
        raise NotationError(
            "The file is no MusicXML: it does not begin with <.", None, EXPORT
        )
    try:
        root = ET.fromstring(written)  # noqa: S314 - see the module's docstring
    except ET.ParseError as fault:
        line, column = fault.position
        raise NotationError(
            f"The XML breaks off or breaks its own rules in line {line}, column "
            f"{column + 1} ({words_of(fault).split(':')[0]}).",
            None,
            EXPORT,
        ) from fault
    _strip_namespaces(root)
    return root


def _strip_namespaces(root: Element) -> None:
    """Take namespaces off the names, which the standard does not use but some add."""
    if root.tag.startswith("{"):
        for element in root.iter():
            element.tag = element.tag.rpartition("}")[2]
