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
from typing import NamedTuple

from harmonise.lessons.worksheet import Diagram
from harmonise.notation.paper.blocks import Picture, System
from harmonise.notation.paper.keyboards import Keyboard, Press, draw_keyboards

_ROOM = 1
"""Millimetres that a line gets at its foot, where a frame would be cut."""
_VIEW = re.compile(r'(viewBox="0 0 \d+ )(\d+)')
_FRAME = re.compile(
    r'(<rect stroke-width="\d+" fill-opacity="0" x=")(\d+)(" y=")(\d+)'
    r'(" height=")(\d+)(" width=")(\d+)'
)
_WORDS = re.compile(
    r'<g id="[^"]*" class="dir">(?:<rect [^>]*/>)?<text .*?</text></g>', re.DOTALL
)
_TEXT = re.compile(r'(<text x=")(\d+)(" y=")(\d+)')
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


def set_in_rows(system: System) -> System:
    """Return a line whose boxes stand in rows and are all of one size."""
    svg = system.svg
    staff = _STAFF.search(svg)
    if not staff:
        return system
    for old, top in _tops(_boxes(svg), int(staff[1]), still='class="harm"' in svg):
        svg = svg.replace(old.svg, _moved(old, top), 1)
    frames = _FRAME.findall(svg)
    if frames:
        high, wide = (max(int(row[at]) for row in frames) for at in (5, 7))
        # Where one bar alone is too narrow for them, boxes stand side by side.
        lefts = sorted({int(row[1]) for row in frames})
        wide = min([wide, *(right - left for left, right in pairwise(lefts))])
        svg = _FRAME.sub(rf"\g<1>\g<2>\g<3>\g<4>\g<5>{high}\g<7>{wide}", svg)
    return _with_foot(system._replace(svg=svg))


def is_crowded(system: System) -> bool:
    """Whether a frame begins where another one, further left, still goes on."""
    frames = [(int(row[1]), int(row[7])) for row in _FRAME.findall(system.svg)]
    widest = max((width for _, width in frames), default=0)
    lefts = sorted({left for left, _ in frames})
    return any(right < left + widest for left, right in pairwise(lefts))


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
    # A line has two views, one inside the other, of the same shape.
    heighten = partial(_heighten, height / system.height)
    return system._replace(svg=_VIEW.sub(heighten, system.svg, count=2), height=height)


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
