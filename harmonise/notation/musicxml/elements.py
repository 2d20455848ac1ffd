"""Single elements, read loudly: text, whole numbers, decimals, pitches.

Numbers are matched before they are converted: `Fraction("1e999999")` would take the
whole memory, and Python's `int` reads digits that MusicXML does not know.

The text of an XML file as a tree, in any usual encoding, without entities.

We decode the text ourselves, so that a document type with entities is seen whatever the
encoding is. Source: W3C, XML 1.0.
"""

import re
from fractions import Fraction
from xml.etree import ElementTree as ET
from xml.etree.ElementTree import Element

from harmonise.errors import NotationError, Place
from harmonise.theory.pitch import LETTERS, Pitch, format_alter

__all__ = ["Element", "decimal", "read_pitch", "text", "whole", "words"]

_WHOLE = re.compile(r"[+-]?[0-9]{1,9}$")
_DECIMAL = re.compile(r"[+-]?(?=\.?[0-9])[0-9]{0,9}(\.[0-9]{0,20})?$")


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


def read_pitch(note: Element, place: Place) -> Pitch:
    """Return the written pitch of a note.

    Raises:
        NotationError: If it has none, lies between the keys of the piano or is not
            spelled in ordinary notation.
    """
    if note.find("unpitched") is not None:
        raise NotationError(
            "a note without pitch, as drums have them, stands in the tune.",
            place,
            "Name a part that has pitches.",
        )
    step, octave = text(note, "pitch/step"), whole(note.findtext("pitch/octave"))
    if len(step) != 1 or step not in LETTERS or octave is None:
        raise NotationError(
            "a note has neither a proper pitch nor a rest.",
            place,
            "Give it a step (A to G) and an octave (0 to 9).",
        )
    if not 0 <= octave <= 9:
        raise NotationError(
            f"{step} stands in octave {octave}.", place, "Octaves go from 0 to 9."
        )
    return Pitch(LETTERS.index(step), _alter(note, step, place), octave)


def _alter(note: Element, step: str, place: Place) -> int:
    written = text(note, "pitch/alter")
    alter = decimal(written or "0")
    if alter is None:
        raise NotationError(
            f'the alteration "{words(written)[:20]}" of {step} is not a number.',
            place,
            "Give the semitones, such as -1 for a flat.",
        )
    if alter.denominator != 1:
        raise NotationError(
            f"{step} is altered by {written} semitones, which lies between the keys "
            "of the piano.",
            place,
            f"Write {step} or a neighbour with a sharp or a flat.",
        )
    if abs(alter) > 2:
        raise NotationError(
            f"{step}{format_alter(int(alter))[:6]} has more than two sharps or flats.",
            place,
            "Write the same sound with fewer.",
        )
    return int(alter)


LINES = "lines-end"
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
