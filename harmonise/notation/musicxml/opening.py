"""From bytes to a tree that is safe to walk.

The limits bound the time and the memory that any file can cost; how large a file may
be as it comes, `formats` says.
Source: W3C, MusicXML 4.0, `score-partwise`, `score-timewise`.

Compressed MusicXML (.mxl): a zip that names its score in META-INF/container.xml.

We open it ourselves, because a small archive may unpack to gigabytes, and follow its
container, which says which of the files is the score.
Source: W3C, MusicXML 4.0, "Compressed .MXL files".
"""

import io
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from harmonise.errors import NotationError
from harmonise.notation.musicxml.elements import EXPORT, Element, parse_xml, words_of

if TYPE_CHECKING:
    from zipfile import ZipFile

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
    if data[:2] == b"PK":
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


LARGEST_SCORE = 10_000_000
"""Most bytes of a file when it is unpacked."""

_SCORE_TYPES = ("", "application/vnd.recordare.musicxml+xml")


def unpack(data: bytes) -> bytes:
    """Return the score inside a compressed file, as its container names it.

    Args:
        data: The archive.

    Raises:
        NotationError: If it is damaged, too large or does not lead to a score.
    """
    import zipfile  # noqa: PLC0415 (it takes longer to load than a plain file to read)

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            place = "META-INF/container.xml"
            lost = f"has no {place}, which must say where its score is"
            name = _score_name(parse_xml(_member(archive, place, lost)))
            lost = f'names "{name}" as its score but does not hold it'
            return _member(archive, name, lost)
    except NotationError:
        raise
    except Exception as fault:  # A broken zip makes zipfile raise almost anything.
        raise NotationError(
            f"The .mxl file is damaged ({words_of(fault)}).", None, EXPORT
        ) from fault


def _member(archive: "ZipFile", name: str, lost: str) -> bytes:
    """Return one file of an archive; if there is none of that name, refuse."""
    if name not in archive.namelist():
        raise NotationError(f"The .mxl file {lost}.", None, EXPORT)
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
