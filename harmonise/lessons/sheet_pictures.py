"""What is drawn on a worksheet: boxes set in rows, keyboards solved and blank.

The engraver puts every box as near to its staff as the notes let it; for writing they
read better in rows, so boxes are moved, only away from the staff, where they meet
nothing. A blank strip of keyboards is the solved one with everything taken out that is
to be found, so that both have the same keys in the same places. Lengths are the
picture's own.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from functools import partial
from itertools import pairwise
from math import ceil
from typing import NamedTuple

from harmonise.lessons.sheet_parts import Diagram
from harmonise.notation.paper.blocks import Picture, System
from harmonise.notation.paper.keyboards import Keyboard, Press, draw_keyboards

_ROOM = 1
"""Millimetres that a line gets at its foot, where a frame would be cut."""
_VIEW = re.compile(r'viewBox="0 0 (\d+) (\d+)"')
HIGH, WIDE = 10, 18
"""Millimetres of a box at least: room for a pupil's writing."""
_GAP = 0.7
"""Millimetres between two rows of boxes."""
_FRAME = re.compile(
    r'(<rect stroke-width="\d+" fill-opacity="0" x=")(\d+)(" y=")(\d+)'
    r'(" height=")(\d+)(" width=")(\d+)'
)
_WORDS = re.compile(
    r'<g id="[^"]*" class="dir">(?:<rect [^>]*/>)?<text .*?</text></g>', re.DOTALL
)
_TEXT = re.compile(r'(<text x=")(\d+)(" y=")(\d+)')
_STEM = re.compile(r'class="stem"><path d="M(\d+) (\d+) L\d+ (\d+)')
_STAFF = re.compile(r'class="staff"><path d="M\d+ (\d+)')


class _Box(NamedTuple):
    """Words under or over a staff, framed or not.

    Attributes:
        left: Left edge of the frame, or of the words.
        top: Top of the frame, or the line on which the words stand.
        framed: Whether there is a frame.
        svg: The drawing.
    """

    left: int
    top: int
    framed: bool
    svg: str


def set_in_rows(system: System, *, to_write: bool = True) -> System:
    """Return a line whose boxes stand in rows and are all of one size.

    Args:
        system: The line.
        to_write: Whether pupils write in the boxes, so that they need room.
    """
    svg = system.svg
    staff = _STAFF.search(svg)
    if not staff:
        return system
    for old, top in _tops(_boxes(svg), int(staff[1]), still='class="harm"' in svg):
        svg = svg.replace(old.svg, _moved(old, top), 1)
    frames = _FRAME.findall(svg)
    if frames and to_write:
        return _with_foot(_with_room(system._replace(svg=svg), int(staff[1])))
    if frames:
        high, wide = (max(int(row[at]) for row in frames) for at in (5, 7))
        # Where one bar alone is too narrow for them, boxes stand side by side.
        lefts = sorted({int(row[1]) for row in frames})
        wide = min([wide, *(right - left for left, right in pairwise(lefts))])
        svg = _FRAME.sub(rf"\g<1>\g<2>\g<3>\g<4>\g<5>{high}\g<7>{wide}", svg)
    return _with_foot(system._replace(svg=svg))


def is_crowded(system: System, *, to_write: bool = True) -> bool:
    """Whether a frame begins where another one, further left, still goes on."""
    frames = [(int(row[1]), int(row[7])) for row in _FRAME.findall(system.svg)]
    least = ceil(WIDE * _unit(system)) if to_write else 0
    widest = max((width for _, width in frames), default=0)
    lefts = _lefts([left for left, _ in frames], max(widest, least), system)
    places = sorted(set(lefts.values()))
    return any(right < left + max(widest, least) for left, right in pairwise(places))


def _unit(system: System) -> float:
    """Return a millimetre in the numbers of a line's drawing."""
    views = _VIEW.findall(system.svg)
    return int(views[-1][0]) / system.width


def _lefts(lefts: Sequence[int], wide: float, system: System) -> dict[int, int]:
    """Return where boxes begin, so that none goes on beyond the line's end."""
    indent = _INDENT.search(system.svg)
    last = int(system.width * _unit(system) - wide) - _HAIR
    last -= int(indent[1]) if indent else 0
    return {left: min(left, last) for left in lefts}


_INDENT = re.compile(r'class="page-margin" transform="translate\((\d+),')
"""How far the drawing stands in from its left edge."""
_HAIR = 30
"""What the line of a frame needs."""


def _with_room(system: System, staff: int) -> System:
    """Return a line whose boxes have room to write, and which is higher for them."""
    unit, boxes = _unit(system), [b for b in _boxes(system.svg) if b.framed]
    frames = _FRAME.findall(system.svg)
    old = max(int(row[5]) for row in frames)
    high = max(old, ceil(HIGH * unit))
    wide = max(ceil(WIDE * unit), *(int(row[7]) for row in frames))
    pitch = high + round(_GAP * unit)
    lefts = _lefts([box.left for box in boxes], wide, system)
    # Where one bar alone is too narrow for them, boxes stand side by side.
    places = sorted(set(lefts.values()))
    wide = min([wide, *(right - left for left, right in pairwise(places))])
    tops: dict[int, int] = {}
    above = sorted({box.top for box in boxes if box.top < staff}, reverse=True)
    # A beam or a low head would touch the frame without a gap.
    gap = round(_GAP * unit)
    lowest = max(above, default=0) + old - high - gap
    over_it = {lefts[box.left] for box in boxes if box.top < staff}
    ends = _stem_ends(system.svg, over_it, wide)
    lowest = min([lowest, *(end - high - gap for end in ends)])
    tops |= {top: lowest - n * pitch for n, top in enumerate(above)}
    below = sorted({box.top for box in boxes if box.top >= staff})
    tops |= {top: below[0] + gap + n * pitch for n, top in enumerate(below)}
    svg = system.svg
    for box in boxes:
        drawn = _Box(lefts[box.left], tops[box.top], framed=True, svg=box.svg)
        svg = svg.replace(box.svg, _drawn(drawn, high, wide), 1)
    over = max(0, -min(tops.values()) + round(unit / 2))
    under = max(0, max(tops.values()) + high - round(system.height * unit))
    return _with_space(system._replace(svg=svg), over, under)


def _stem_ends(svg: str, lefts: set[int], wide: int) -> Iterator[int]:
    """Yield the upper ends of the stems below boxes.

    A wide box may reach over a longer stem than that of its own chord.
    """
    for stem in _STEM.findall(svg):
        at, *ends = map(int, stem)
        if any(left <= at <= left + wide for left in lefts):
            yield min(ends)


def _drawn(box: _Box, high: int, wide: int) -> str:
    """Return a box at its place, of a size, with its text in the middle."""
    framed = _FRAME.sub(
        rf"\g<1>{box.left}\g<3>{box.top}\g<5>{high}\g<7>{wide}", box.svg
    )
    size = re.search(r'font-size="([1-9]\d*)px"', framed)
    line = box.top + high // 2 + (int(size[1]) // 3 if size else 0)
    place = f'<text text-anchor="middle" x="{box.left + wide // 2}" y="{line}'
    # The blanks that the engraver needed to put the text in the middle.
    return _TEXT.sub(place, framed).replace("\N{NO-BREAK SPACE}", "")


def _with_space(system: System, over: int, under: int) -> System:
    """Return a line with more height over and under what it has, in its numbers."""
    more = (over + under) / _unit(system)
    height = system.height + more
    views = list(_VIEW.finditer(system.svg))
    outer, inner = views[0], views[-1]
    tall = round(int(outer[2]) * height / system.height)
    low = int(inner[2]) + over + under
    parts = (
        system.svg[: outer.start()],
        f'viewBox="0 0 {outer[1]} {tall}"',
        system.svg[outer.end() : inner.start()],
        f'viewBox="0 {-over} {inner[1]} {low}"',
        system.svg[inner.end() :],
    )
    return system._replace(svg="".join(parts), height=height)


def _boxes(svg: str) -> list[_Box]:
    boxes = []
    for drawn in _WORDS.findall(svg):
        frame, text = _FRAME.search(drawn), _TEXT.search(drawn)
        place = frame or text
        if place:
            box = _Box(int(place[2]), int(place[4]), frame is not None, drawn)
            boxes.append(box)
    return boxes


def _tops(boxes: Sequence[_Box], staff: int, *, still: bool) -> list[tuple[_Box, int]]:
    """Return where the top of every box belongs, row by row.

    Args:
        boxes: The boxes.
        staff: Height of the topmost line of the upper staff.
        still: Whether boxes above stay, because chord symbols stand over them.
    """
    rows: dict[tuple[bool, int], list[_Box]] = defaultdict(list)
    columns: dict[tuple[bool, int], int] = defaultdict(int)
    for box in sorted(boxes, key=lambda box: abs(box.top - staff)):
        above = box.top < staff
        if above and (still or not box.framed):
            continue
        row = columns[above, box.left]
        columns[above, box.left] += 1
        rows[above, row].append(box)
    return [
        (box, (min if above else max)(other.top for other in row))
        for (above, _), row in rows.items()
        for box in row
    ]


def _moved(box: _Box, top: int) -> str:
    by = top - box.top
    for part in (_FRAME, _TEXT):
        box = box._replace(svg=part.sub(partial(_shift, by), box.svg))
    return box.svg


def _shift(by: int, match: re.Match[str]) -> str:
    before, after = (
        match[0][: match.start(4) - match.start()],
        match[0][match.end(4) - match.start() :],
    )
    return f"{before}{int(match[4]) + by}{after}"


def _with_foot(system: System) -> System:
    """Return a line with a little room at the foot."""
    height = system.height + _ROOM
    heighten = partial(_heighten, height / system.height)
    svg = _ANY_VIEW.sub(heighten, system.svg, count=2)
    return system._replace(svg=svg, height=height)


_ANY_VIEW = re.compile(r'(viewBox="0 -?\d+ \d+ )(\d+)')
"""A line has two views, one inside the other, of the same shape."""


def _heighten(taller: float, view: re.Match[str]) -> str:
    return f"{view[1]}{round(int(view[2]) * taller)}"


_GROUP = re.compile(r'(<g class="keyboard".*?</g>)', re.DOTALL)
_PATCH = re.compile(
    r'<rect (?!class)[^>]*/>(?=<text class="letter")|'
    r'<text class="(?:letter|finger)"[^>]*>.*?</text>',
    re.DOTALL,
)
_PRESSED = re.compile(r'class="(white|black) pressed"([^>]*) fill="url\(#hatching\)"')
_LEFT = re.compile("(left hand: )[^<]*(<)")
_LINE = "______"


class Strip(NamedTuple):
    """A row of keyboards.

    Attributes:
        sheet: As the pupil gets it.
        answers: As the key shows it.
    """

    sheet: Picture
    answers: Picture


def strips(
    diagrams: Sequence[Diagram], marks: Sequence[int], width: float
) -> Iterator[Strip]:
    """Yield the rows of keyboards of a sheet.

    Args:
        diagrams: The keyboards in order.
        marks: What each is worth.
        width: Room for a row, in millimetres.

    Keyboards are always large, so that pupils can write on the keys.
    """
    boards = [
        Keyboard(
            tuple(Press(*press) for press in diagram.presses),
            diagram.label,
            f"left hand: {diagram.left}",
            links=False,
        )
        for diagram in diagrams
    ]
    at = 0
    for picture in draw_keyboards(boards, width, large=True):
        count = len(_GROUP.findall(picture.svg))
        row = slice(at, at + count)
        at += count
        solved = picture._replace(margin=f"   / {sum(marks[row])}")
        yield Strip(_blank(solved, diagrams[row]), solved)


def _blank(picture: Picture, diagrams: Sequence[Diagram]) -> Picture:
    """Return a strip of which only the solved diagrams are left as they are."""
    parts = _GROUP.split(picture.svg)
    for number, diagram in enumerate(diagrams):
        if not diagram.given:
            parts[2 * number + 1] = _emptied(parts[2 * number + 1])
    told = "; ".join(f"Keyboard {diagram.label}, to fill in" for diagram in diagrams)
    return picture._replace(svg="".join(parts), told=told)


def _emptied(group: str) -> str:
    group = _PRESSED.sub(r'class="\1"\2 fill="\1"', group)
    return _LEFT.sub(rf"\1{_LINE}\2", _PATCH.sub("", group))
