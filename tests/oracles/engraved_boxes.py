"""Reads the shapes of an engraved line of music: how much room each of them takes.

Heads, stems, beams, rests, accidentals and bar lines as boxes, in the SVG's own inner
measure, worked out from the paths themselves. A slur or tie is no box and is left out.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple
from xml.etree import ElementTree as ET

from harmonise.notation.paper.blocks import System
from oracles.engraved_reader import SVG, inner, texts

HAIR = 20
"""What nobody sees: a thirty-sixth of a staff's height."""
LINK = "{http://www.w3.org/1999/xlink}href"
_NUMBER = r"-?\d+(?:\.\d+)?"
_INK = (
    "notehead", "stem", "flag", "beam", "accid", "rest", "dots", "fermata", "artic",
    "barLine", "clef", "keyAccid", "meterSig", "ledgerLines", "voltaBracket", "mRest",
    "tupletNum",
)  # fmt: skip


_SLICES = 24
_STEPS = {"c": 6, "s": 4, "q": 4, "h": 1, "v": 1}
"""Numbers of a path's command."""


class Ink(NamedTuple):
    """A shape and the room that it takes.

    Attributes:
        kind: Class of the group it stands in: stem, notehead, harm, syl ...
        text: What it says, if it is text.
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

    def strikes(self, other: "Ink") -> bool:
        """Whether two shapes overlap by more than a hair, or one lies over a line."""
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        thin = min(other.right - other.left, other.bottom - other.top) / 2
        return min(across, down) > min(HAIR, thin)


def text_inks(system: System, *, bold: bool = False) -> list[Ink]:
    """Return the texts of a line with the room that they take."""
    return [Ink(*box) for box in texts(system, bold=bold)]


def inks(system: System) -> list[Ink]:
    """Return all that is drawn of a line but its texts, staff lines and slurs."""
    picture = inner(system)
    root = ET.fromstring(system.svg)  # noqa: S314 - our own text
    glyphs = {
        own.attrib["id"]: _hull(path.attrib["d"], flip=True)
        for own in root.iter(f"{SVG}g")
        if "id" in own.attrib
        for path in own.findall(f"{SVG}path")[:1]
        if path.get("transform") == "scale(1,-1)"
    }
    return list(_inks(picture, "", glyphs))


_Sides = tuple[float, float, float, float]


def _inks(element: ET.Element, kind: str, glyphs: dict[str, _Sides]) -> Iterator[Ink]:
    own = (element.get("class") or "").split()
    kind = own[0] if own and element.tag == f"{SVG}g" else kind
    if kind in _INK and element.tag == f"{SVG}polygon":
        yield from (Ink(kind, "", *sides) for sides in _slices(element))
    elif kind in _INK and (sides := _sides(element, glyphs)):
        yield Ink(kind, "", *sides)
    for child in element:
        yield from _inks(child, kind, glyphs)


def _sides(element: ET.Element, glyphs: dict[str, _Sides]) -> _Sides | None:
    """Return left, right, top and bottom of one shape."""
    name = element.tag.removeprefix(SVG)
    half = float(element.get("stroke-width", "0")) / 2
    if name == "use":
        left, right, top, bottom = glyphs[element.attrib[LINK].removeprefix("#")]
        x, y, size = _moved(element.attrib["transform"])
        return x + left * size, x + right * size, y + top * size, y + bottom * size
    if name == "path":
        left, right, top, bottom = _hull(element.attrib["d"])
        return left - half, right + half, top - half, bottom + half
    if name == "rect":
        x, y, width, height = (
            float(element.get(side, "0")) for side in ("x", "y", "width", "height")
        )
        return x, x + width, y, y + height
    if name == "ellipse":
        x, y, across, down = (
            float(element.get(n, "0")) for n in ("cx", "cy", "rx", "ry")
        )
        return x - across, x + across, y - down, y + down
    return None


def _slices(polygon: ET.Element) -> Iterator[_Sides]:
    """Yield a beam in upright slices: a slanting one takes less room than its box."""
    numbers = [float(one) for one in re.findall(_NUMBER, polygon.attrib["points"])]
    corners = list(zip(numbers[::2], numbers[1::2], strict=True))
    left, right = min(corners)[0], max(corners)[0]
    ends = [sorted(y for x, y in corners if x == side) for side in (left, right)]
    for at in range(_SLICES):
        near, far = at / _SLICES, (at + 1) / _SLICES
        tops = [ends[0][0] + (ends[1][0] - ends[0][0]) * part for part in (near, far)]
        lows = [ends[0][-1] + (ends[1][-1] - ends[0][-1]) * p for p in (near, far)]
        width = right - left
        yield left + near * width, left + far * width, max(tops), min(lows)


def _moved(transform: str) -> tuple[float, float, float]:
    """Return how a glyph is moved right and down, and its size."""
    x, y = re.findall(rf"translate\(({_NUMBER}),? ?({_NUMBER})\)", transform)[0]
    size = re.findall(rf"scale\(({_NUMBER})", transform)
    return float(x), float(y), float(size[0]) if size else 1.0


def _hull(path: str, *, flip: bool = False) -> _Sides:
    """Return the sides of a path's points, those that bend its curves among them."""
    points = list(_points(path))
    across = [x for x, _ in points]
    down = [-y if flip else y for _, y in points]
    return min(across), max(across), min(down), max(down)


def _points(path: str) -> Iterator[tuple[float, float]]:
    here = start = (0.0, 0.0)
    for command, given in re.findall(r"([MmLlHhVvCcSsQqTtZz])([^A-DF-Za-df-z]*)", path):
        numbers = [float(one) for one in re.findall(_NUMBER, given)]
        if command in "Zz":
            here = start
        step = _STEPS.get(command.lower(), 2)
        for at in range(0, len(numbers), step):
            base = here if command.islower() else (0.0, 0.0)
            part = numbers[at : at + step]
            if command in "Hh":
                part = [part[0], here[1] - base[1]]
            elif command in "Vv":
                part = [here[0] - base[0], part[0]]
            for x, y in zip(part[::2], part[1::2], strict=True):
                here = (base[0] + x, base[1] + y)
                yield here
            if command in "Mm" and at == 0:
                start = here
