"""From bytes to a tree that is safe to walk.

The limits (LARGEST_FILE, _LIMITS, and those of `packed`) bound the time and the memory
that any file can cost.
Source: W3C, MusicXML 4.0, `score-partwise`, `score-timewise`.
"""

from xml.etree import ElementTree as ET

from harmonise.errors import NotationError
from harmonise.notation.reading.musicxml.tree import Element
from harmonise.notation.reading.musicxml.xml_text import EXPORT, parse_xml

LARGEST_FILE = 2_000_000
"""Most bytes of a file as it comes."""

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
