"""From the bytes of a MusicXML file to its elements, and what there is to remark.

The limits bound the time and the memory that any file can cost; how large a file may
be as it comes, `formats` says. A compressed file (.mxl) is a zip that names its score
in META-INF/container.xml. We open it ourselves, because a small archive may unpack to
gigabytes, and follow its container, which says which of the files is the score.

We decode the text ourselves, so that a document type with entities is seen whatever the
encoding is. Numbers are matched before they are converted: `Fraction("1e999999")` would
take the whole memory, and Python's `int` reads digits that MusicXML does not know.
Source: W3C, XML 1.0; MusicXML 4.0, `score-partwise`, "Compressed .MXL files".
"""

import io
import re
from enum import Enum
from fractions import Fraction
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET
from xml.etree.ElementTree import Element

from harmonise.errors import NotationError, RemarkList

if TYPE_CHECKING:
    from zipfile import ZipFile

__all__ = ["Element", "decimal", "text", "whole", "words"]

_WHOLE = re.compile(r"[+-]?[0-9]{1,9}$")
_DECIMAL = re.compile(r"[+-]?(?=\.?[0-9])[0-9]{0,9}(\.[0-9]{0,20})?$")
LINES = "lines-end"
LOCKED = "locked-chords"
"""Name of the field that tells where lines of the tune end, in crotchets."""
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
LARGEST_SCORE = 10_000_000
"""Most bytes of a file when it is unpacked."""
_SCORE_TYPES = ("", "application/vnd.recordare.musicxml+xml")


def text(element: Element, path: str) -> str:
    """Return the text of the first element on a path, without outer blanks; or ""."""
    return (element.findtext(path) or "").strip()


def words(written: str | None) -> str:
    """Return a text on one line, its blanks made single.

    >>> words(" Slow   and  sad ")
    'Slow and sad'
    """
    return " ".join((written or "").split())


def whole(written: str | None) -> int | None:
    """Return a whole number of at most nine digits; None if the text is none.

    >>> whole(" 12 "), whole("twelve"), whole(None)
    (12, None, None)
    """
    plain = (written or "").strip()
    return int(plain) if _WHOLE.match(plain) else None


def decimal(written: str | None) -> Fraction | None:
    """Return a decimal exactly; None if the text is none.

    >>> decimal("68.5"), decimal("1e99"), decimal("-2")
    (Fraction(137, 2), None, Fraction(-2, 1))
    """
    plain = (written or "").strip()
    return Fraction(plain) if _DECIMAL.match(plain) else None


def words_of(fault: Exception) -> str:
    """Return what an exception says, on one short line, without a full stop."""
    said = " ".join(str(fault).split()) or type(fault).__name__
    return said[:80].rstrip(".")


def _decode(data: bytes) -> str:
    """Return the text of an XML file, whichever of the usual encodings it has."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        name = "utf-16"
    elif data[:2] in (b"<\x00", b"\x00<"):
        # UTF-16 without its mark is known by the zero byte beside "<".
        name = "utf-16-le" if data[0] else "utf-16-be"
    else:
        declared = _ENCODING.match(data.removeprefix(b"\xef\xbb\xbf"))
        said = declared.group(1).decode() if declared else "utf-8"
        name = _ENCODINGS.get(said.lower(), "")
        if not name:
            what = f"The file says that it is written in {said}, which is not read."
            raise NotationError(what, None, "Export it in UTF-8.")
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
    # An entity may name another ten times, and so on, until memory ends.
    if "<!ENTITY" in written:
        raise NotationError(
            "The file defines entities of its own (<!ENTITY>), which MusicXML does "
            "not need and which can be used to attack.",
            None,
            EXPORT,
        )
    if not written.startswith("<"):
        what = "The file is no MusicXML: it does not begin with <."
        raise NotationError(what, None, EXPORT)
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
        what = "The file is a list of scores (an opus) and holds no notes itself."
        raise NotationError(what, None, "Name one of its scores.")
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
                what = f"One part has {count} {name}; at most {most} are read."
                remedy = "Export the tune alone, or cut it into shorter files."
                raise NotationError(what, None, remedy)


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
        # What it says is meant for programmers, and holds bytes of the file.
        locked = isinstance(fault, RuntimeError) and "encrypted" in str(fault)
        what = "locked with a password" if locked else "damaged: it cannot be unpacked"
        raise NotationError(f"The .mxl file is {what}.", None, EXPORT) from fault


def _member(archive: "ZipFile", name: str, lost: str) -> bytes:
    """Return one file of an archive; if there is none of that name, refuse."""
    if name not in archive.namelist():
        raise NotationError(f"The .mxl file {lost}.", None, EXPORT)
    with archive.open(name) as file:
        # The size in the directory of a zip may lie, so the bytes are counted.
        data = file.read(LARGEST_SCORE + 1)
    if len(data) > LARGEST_SCORE:
        what = "The .mxl file unpacks to more than 10 MB."
        raise NotationError(what, None, "Export the tune's part alone.")
    return data


def _score_name(container: Element) -> str:
    for rootfile in container.iter("rootfile"):
        name = rootfile.get("full-path", "").strip()
        if name and rootfile.get("media-type", "").strip() in _SCORE_TYPES:
            return name
    what = "META-INF/container.xml in the .mxl file names no score."
    raise NotationError(what, None, EXPORT)


class XmlCode(Enum):
    """What a remark is about; the value is its short name."""

    PART = "X01"
    VOICES = "X02"
    CHORD = "X03"
    CUE = "X04"
    HIDDEN = "X05"
    LENGTH = "X06"
    NO_TIME = "X07"
    UNMEASURED = "X08"
    REPEAT = "X09"
    ENDING = "X10"
    BACKUP = "X11"
    GRACE = "X12"
    OVERLAP = "X13"
    STAFF = "X14"
    TIE = "X15"
    WORDS = "X16"
    SIMILE = "X17"
    TEMPO = "X19"
    HEAPED = "X20"
    NO_CHORD = "X21"
    NEAR_CHORD = "X22"
    BASS = "X23"
    SYMBOLS = "X24"
    TRANSPOSED = "X25"
    KEY = "X26"


class XmlRemarks(RemarkList):
    """What a reader of MusicXML tells; remarks of one code are told as one."""

    likewise = "The same in"
    here_again = " The same again in this bar."
    # All but what has a beat: notes, ties, words, tempos, chords, keys.
    of_a_bar = frozenset(
        {*XmlCode} - {XmlCode(f"X{n:02}") for n in (1, 3, 13, 15, 16, *range(19, 27))}
    )
    # What is told of every place, because it says something else each time.
    alone = frozenset(map(XmlCode, ("X21", "X22", "X23", "X26")))
