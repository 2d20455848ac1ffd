"""Reads an engraved line of music back: where every note head and every text lies.

Lengths are in the SVG's own inner measure, in which a staff is 720 high.
"""

import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree as ET

from fontTools.ttLib import TTFont

import harmonise
from harmonise.notation.paper.blocks import System

FONTS = Path(harmonise.__file__).parent / "notation/paper/fonts"
SVG = "{http://www.w3.org/2000/svg}"
HALF_SPACE = 90


class Box(NamedTuple):
    """A piece of text and the room that it takes.

    Attributes:
        kind: Class of the group it stands in: harm, syl, fing, tempo ...
        text: What it says.
        left: Its left edge.
        right: Its right edge.
        top: Its top.
        bottom: Its bottom.
    """

    kind: str
    text: str
    left: float
    right: float
    top: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        """Whether two texts overlap by more than a hair."""
        hair = 12
        return (
            self.left < other.right - hair
            and other.left < self.right - hair
            and self.top < other.bottom - hair
            and other.top < self.bottom - hair
        )


class Head(NamedTuple):
    """A note head.

    Attributes:
        name: Id of its note.
        staff: 1 or 2, from the top.
        steps: Staff steps above the lowest line of its staff.
        x: Its left edge.
    """

    name: str
    staff: int
    steps: float
    x: float


def inner(system: System) -> ET.Element:
    """Return the picture inside a line's SVG."""
    root = ET.fromstring(system.svg)  # noqa: S314 - our own text
    found = root.find(f"{SVG}svg")
    assert found is not None
    return found


def size(system: System) -> tuple[float, float]:
    """Return width and height of a line's inside."""
    _, _, width, height = inner(system).attrib["viewBox"].split()
    return float(width), float(height)


def shift(system: System) -> tuple[float, float]:
    """Return by how much everything is moved right and down."""
    group = inner(system).find(f"{SVG}g")
    assert group is not None
    right, down = re.findall(r"-?\d+", group.attrib["transform"])
    return float(right), float(down)


def heads(system: System) -> Iterator[Head]:
    """Yield the note heads of a line."""
    for measure in _of_class(inner(system), "measure"):
        staves = [own for own in measure if own.get("class") == "staff"]
        for number, staff in enumerate(staves, 1):
            bottom = _lines(staff)[-1]
            for note in _of_class(staff, "note"):
                for head in _of_class(note, "notehead"):
                    x, y = _place(head)
                    steps = (bottom - y) / HALF_SPACE
                    yield Head(note.attrib["id"], number, steps, x)


def bar_edges(system: System) -> list[float]:
    """Return the left edges of the bars of a line."""
    found = []
    for measure in _of_class(inner(system), "measure"):
        staff = next(own for own in measure if own.get("class") == "staff")
        path = next(staff.iter(f"{SVG}path"))
        found.append(float(re.findall(r"-?\d+", path.attrib["d"])[0]))
    return found


def staff_edges(system: System) -> tuple[float, float, float, float]:
    """Return top and bottom of the treble staff, then of the bass staff."""
    measure = next(_of_class(inner(system), "measure"))
    upper, lower = [_lines(own) for own in measure if own.get("class") == "staff"]
    return upper[0], upper[-1], lower[0], lower[-1]


def texts(system: System, *, bold: bool = False) -> list[Box]:
    """Return all texts of a line with the room that they take."""
    return list(_texts(inner(system), "", bold=bold))


def _texts(element: ET.Element, kind: str, *, bold: bool) -> Iterator[Box]:
    own = (element.get("class") or "").split()
    kind = own[0] if own and element.tag == f"{SVG}g" else kind
    if element.tag == f"{SVG}text":
        heavy = bold or kind in ("tempo", "voltaBracket", "reh")
        yield from _boxes(element, kind, bold=heavy)
        return
    for child in element:
        yield from _texts(child, kind, bold=bold)


def _boxes(text: ET.Element, kind: str, *, bold: bool) -> Iterator[Box]:
    width = 0.0
    said = ""
    height = 0.0
    for run, big in _runs(text, 0.0):
        width += sum(_width(letter, bold=bold) for letter in run) * big
        said += run
        height = max(height, big)
    if not said.strip():
        return
    x, y = float(text.get("x", "0")), float(text.get("y", "0"))
    x -= {"middle": width / 2, "end": width}.get(text.get("text-anchor", ""), 0)
    yield Box(kind, said, x, x + width, y - height * 0.68, y + height * 0.02)


def _runs(element: ET.Element, size: float) -> Iterator[tuple[str, float]]:
    given = element.get("font-size")
    size = float(given.removesuffix("px")) if given else size
    if element.text:
        yield element.text, size
    for child in element:
        yield from _runs(child, size)
        if child.tail:
            yield child.tail, size


@lru_cache(maxsize=1000)
def _width(letter: str, *, bold: bool) -> float:
    """Return the width of a letter in ems."""
    for name in (f"LiberationSerif-{'Bold' if bold else 'Regular'}", "HarmoniseMusic"):
        font = _font(name)
        glyph = font.getBestCmap().get(ord(letter))
        if glyph:
            return float(font["hmtx"][glyph][0] / font["head"].unitsPerEm)
    raise AssertionError(f"no font of ours has {letter!r}")


@lru_cache
def _font(name: str) -> TTFont:
    return TTFont(FONTS / f"{name}.ttf")


def _of_class(element: ET.Element, name: str) -> Iterator[ET.Element]:
    return (own for own in element.iter(f"{SVG}g") if own.get("class") == name)


def _lines(staff: ET.Element) -> list[float]:
    """Return the heights of a staff's lines, from the top."""
    paths = [own for own in staff if own.tag == f"{SVG}path"]
    return [float(re.findall(r"-?\d+", own.attrib["d"])[1]) for own in paths]


def _place(head: ET.Element) -> tuple[float, float]:
    use = next(head.iter(f"{SVG}use"))
    x, y = re.findall(r"translate\((-?\d+), (-?\d+)\)", use.attrib["transform"])[0]
    return float(x), float(y)
