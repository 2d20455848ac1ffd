"""From bytes to a tree that is safe to walk.

The limits (LARGEST_FILE, _LIMITS, and those of `packed`) bound the time and the memory
that any file can cost. We decode the text ourselves, so that a document type with
entities is seen whatever the encoding is.
Source: W3C, MusicXML 4.0, `score-partwise`, `score-timewise`; W3C, XML 1.0.
"""

import re
from xml.etree import ElementTree as ET

from harmonise.errors import NotationError
from harmonise.notation.reading.musicxml.tree import Element

LARGEST_FILE = 2_000_000
"""Most bytes of a file as it comes."""

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
_LIMITS = (
    ("measure", 2_000, "bars"),
    ("measure/note", 20_000, "notes and rests"),
    ("measure/*", 50_000, "notes and signs"),
    ("measure/barline", 8_000, "special bar lines"),
    ("measure/harmony", 8_000, "chord symbols"),
    ("measure/attributes/time", 2_000, "time signatures"),
    ("measure/attributes/key", 200, "key signatures"),
    ("measure/attributes/transpose", 200, "changes of instrument"),
)
"""Path, most elements and name of what is counted in one part."""
EXPORT = "Export it as MusicXML again."


def read_tree(data: bytes) -> Element:
    """Return the score of a MusicXML file, part by part.

    Args:
        data: The file, plain or compressed.

    Returns:
        A `score-partwise` element; a `score-timewise` file is turned into one.

    Raises:
        NotationError: If it is too large, damaged, no MusicXML, or defines entities.
    """
    if len(data) > LARGEST_FILE:
        raise NotationError(
            "The file is larger than 2 MB.",
            None,
            "Compress it (.mxl), or export the tune's part alone.",
        )
    if data[:2] == b"PK":
        from harmonise.notation.reading.musicxml.packed import (  # noqa: PLC0415
            unpack,  # Python's zip reader is slow to load.
        )

        data = unpack(data)
    score = _partwise(parse_xml(data))
    _check_size(score)
    return score


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


def _partwise(root: Element) -> Element:
    if root.tag == "score-partwise":
        return root
    if root.tag == "score-timewise":
        return _turn(root)
    if root.tag == "opus":
        raise NotationError(
            "The file is a list of scores (an opus) and holds no notes itself.",
            None,
            "Name one of its scores.",
        )
    raise NotationError(
        f"The file is XML but no MusicXML: its outermost element is <{root.tag[:40]}>.",
        None,
        EXPORT,
    )


def _turn(timewise: Element) -> Element:
    """Return a bar-by-bar score part by part, as the standard's own stylesheet does."""
    score = ET.Element("score-partwise", timewise.attrib)
    parts: dict[str, Element] = {}
    for child in timewise:
        if child.tag != "measure":
            score.append(child)
            continue
        for share in child.iterfind("part"):
            name = share.get("id", "")
            part = parts.setdefault(name, ET.Element("part", share.attrib))
            ET.SubElement(part, "measure", child.attrib).extend(list(share))
    score.extend(list(parts.values()))
    return score


def _check_size(score: Element) -> None:
    for part in score.iterfind("part"):
        for path, most, name in _LIMITS:
            count = sum(1 for _ in part.iterfind(path))
            if count > most:
                raise NotationError(
                    f"One part has {count} {name}; at most {most} are read.",
                    None,
                    "Export the tune alone, or cut it into shorter files.",
                )
