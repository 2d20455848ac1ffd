"""What meets in an engraved line of music is moved apart.

verovio keeps most signs clear of each other, but not fingers of stems beside them, the
names of sections and tempos of high chord symbols, numerals and labels of low stems and
the numbers of triplets, numbers of verses of a repeat sign, and numbers of bars after a
pickup of symbols. They are moved here, in its picture as it comes; where that needs
more height, the picture grows. Lengths are in verovio's inner measure: a staff is 720
high.
"""

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

_AIR = 45
"""Least distance between a sign and what it must not touch: half a millimetre."""
_CAPITAL = 0.7
"""How high letters and digits stand, as a part of their size."""
_FIGURES = 0.8
"""The same for numerals and labels, whose figures are raised."""
_LETTER = 0.56
"""How wide a letter is, as a part of its size; few are wider, even in bold."""
_DIGIT = 0.5
"""How wide a digit is, as a part of its size."""
_HEAD_WIDTH, _HALF_HEAD = 230, 95
_OVER_STAFF = 240
"""How far above the staff the number of a bar stands, as verovio has it."""
_BESIDE = 1500
"""How near a symbol is that a tempo or a name stands above: two staves are high."""
_LEADING = 110
"""How far above others a tempo or a name is lifted."""
_DOTS = 80
"""How wide the dots of a repeat sign are."""

_TEXT = re.compile(
    r'(?:(?P<row>numeral|position)</title><g id="[^"]*" )?'
    r'class="(?P<kind>fing|harm|mNum|reh|syl)"[^>]*>'
    r'<text x="(?P<x>-?\d+)" y="(?P<y>-?\d+)"(?P<rest>[^>]*(?<!/)>.*?)</text>'
)
_NUMBER = re.compile(r">(\d+)\.\u00a0")
_SIZE = re.compile(r'font-size="([1-9]\d*)px"')
_LETTERS = re.compile(r">([^<]+)<")
_STAFF = re.compile(r'class="staff">((?:<path d="M-?\d+ -?\d+ L-?\d+ -?\d+"[^>]*>)+)')
_HEIGHT = re.compile(r'd="M-?\d+ (-?\d+)')
_STEM = re.compile(r'class="stem"><path d="M(-?\d+) (-?\d+) L-?\d+ (-?\d+)')
_HEAD = re.compile(
    r'class="notehead"><use [^>]*?transform="translate\((-?\d+), (-?\d+)\)'
)
_TUPLET = re.compile(
    r'class="tupletNum"><use [^>]*?transform="translate\((-?\d+), (-?\d+)\)'
)
_BAR_LINE = re.compile(r'class="barLine">(.*?)</g>', re.DOTALL)
_STROKE = re.compile(r'd="M(-?\d+) ')
_DOT = re.compile(r"translate\((-?\d+), ")
_VIEW = re.compile(r'(viewBox="0 0 \d+ )(\d+)"')
_ORIGIN = re.compile(r'(class="page-margin" transform="translate\(-?\d+, )(-?\d+)')


class _Shape(NamedTuple):
    """A sign, a stem or a head, and the room that it takes.

    Attributes:
        left: Its left edge.
        right: Its right edge.
        top: Its top.
        bottom: Its bottom.
    """

    left: float
    right: float
    top: float
    bottom: float

    def near(self, other: "_Shape") -> bool:
        """Whether two shapes are less than some air apart."""
        return (
            self.left < other.right + _AIR
            and other.left < self.right + _AIR
            and self.top < other.bottom + _AIR
            and other.top < self.bottom + _AIR
        )


class _PlacedText(NamedTuple):
    """A piece of text in a line of music.

    Attributes:
        kind: Class of the group that it stands in; "numeral" or "position" for what
            stands in such a row of the words.
        x: Where it is anchored.
        y: Its base line.
        size: Size of its letters.
        shape: The room that it takes.
        places: Where x and y stand in the picture's text.
        verse: The number of a verse that it begins with; "" for none.
    """

    kind: str
    x: int
    y: int
    size: int
    shape: _Shape
    places: tuple[tuple[int, int], tuple[int, int]]
    verse: str = ""


_Moves = dict[_PlacedText, tuple[int, int]]
"""How far signs are moved, right and down."""


def clear(svg: str) -> str:
    """Return a line of music, as verovio draws it, in which nothing meets."""
    signs = list(_signs(svg))
    stems = [
        _Shape(int(x), int(x), min(int(y), int(end)), max(int(y), int(end)))
        for x, y, end in _STEM.findall(svg)
    ]
    moves: _Moves = {}
    lines = [int(y) for staff in _STAFF.findall(svg) for y in _HEIGHT.findall(staff)]
    if lines:
        middle = (min(lines) + max(lines)) / 2
        moves |= _fingers([one for one in signs if one.kind == "fing"], stems, middle)
        moves |= _bar_numbers(signs, min(lines))
    moves |= _verse_numbers(signs, svg)
    heads = [
        _Shape(int(x), int(x) + _HEAD_WIDTH, int(y) - _HALF_HEAD, int(y) + _HALF_HEAD)
        for x, y in _HEAD.findall(svg)
    ]
    numbers = [
        _Shape(int(x), int(x) + _HEAD_WIDTH, int(y) - _HEAD_WIDTH, int(y))
        for x, y in _TUPLET.findall(svg)
    ]
    shapes = stems + heads + numbers
    moves |= _lowered([one for one in signs if one.kind == "position"], shapes)
    below = _lowered([one for one in signs if one.kind == "numeral"], shapes)
    moves |= below
    headings = _headings(signs)
    moves |= headings
    tops = [one.shape.top + down for one, (_, down) in headings.items()]
    return _grown(_moved(svg, moves), min(tops, default=0), _lowest(below))


def _signs(svg: str) -> Iterator[_PlacedText]:
    for found in _TEXT.finditer(svg):
        kind = found["row"] or found["kind"]
        size = letter_size(found["rest"])
        x, y = int(found["x"]), int(found["y"])
        letters = len(letters_of(found["rest"]))
        width = letters * size * (_DIGIT if kind == "fing" else _LETTER)
        left: float = x
        if 'text-anchor="middle"' in found["rest"]:
            left -= width / 2
        elif 'text-anchor="end"' in found["rest"]:
            left -= width
        high = _FIGURES if found["row"] else _CAPITAL
        shape = _Shape(left, left + width, y - high * size, y)
        number = _NUMBER.search(found["rest"])
        places = (found.span("x"), found.span("y"))
        yield _PlacedText(kind, x, y, size, shape, places, number[1] if number else "")


def _bar_numbers(signs: Sequence[_PlacedText], top: int) -> _Moves:
    """Return how the number of a line's first whole bar is moved to the line's start.

    Elsewhere verovio has it there already; after a pickup it would stand among chord
    symbols.
    """
    return {
        sign: (-sign.x, top - _OVER_STAFF - sign.y)
        for sign in signs
        if sign.kind == "mNum" and sign.x > 0
    }


def letter_size(text: str) -> int:
    """Return the size of a drawn text's letters; 0 for one that is empty."""
    return int((_SIZE.findall(text) or ["0"])[0])


def letters_of(text: str) -> str:
    """Return the letters of a drawn text."""
    return "".join(_LETTERS.findall(text))


def _fingers(
    fingers: Sequence[_PlacedText], stems: Sequence[_Shape], middle: float
) -> _Moves:
    """Return how stacks of fingers are moved aside, clear of stems beside them."""
    stacks: dict[tuple[int, bool], list[_PlacedText]] = {}
    for sign in fingers:
        stacks.setdefault((sign.x, sign.y < middle), []).append(sign)
    moves: _Moves = {}
    for (x, _), stack in stacks.items():
        beside = [stem for stem in stems if any(one.shape.near(stem) for one in stack)]
        if beside:
            half = (stack[0].shape.right - stack[0].shape.left) / 2 + _AIR
            after = [stem.left for stem in beside if stem.left >= x]
            before = [stem.left for stem in beside if stem.left < x]
            if after and before:
                # Between two stems there is room in the middle.
                aside = (min(after) + max(before)) / 2
            else:
                aside = min(after) - half if after else max(before) + half
            moves |= dict.fromkeys(stack, (round(aside) - x, 0))
    return moves


def _verse_numbers(signs: Sequence[_PlacedText], svg: str) -> _Moves:
    """Return how first words are moved left by the numbers of verses before them.

    So the words stand under their notes and the numbers before them, but not over the
    bar line.
    """
    edges = []
    for line in _BAR_LINE.findall(svg):
        strokes = [int(x) for x in _STROKE.findall(line)]
        edges.append(max([*strokes, *(int(x) + _DOTS for x in _DOT.findall(line))]))
    moves: _Moves = {}
    for sign in signs:
        if sign.verse:
            # Digits, a full stop and a space, half as wide as a digit each.
            wide = (len(sign.verse) + 1) * _DIGIT * sign.size
            before = [edge + _AIR for edge in edges if edge <= sign.x]
            left = max([sign.x - wide, *before])
            moves[sign] = (round(min(0.0, left - sign.x)), 0)
    return moves


def _lowered(row: Sequence[_PlacedText], shapes: Sequence[_Shape]) -> _Moves:
    """Return how a row is moved down, clear of the low stems and heads above it."""
    deep = [
        shape.bottom + _AIR - sign.shape.top
        for sign in row
        for shape in shapes
        if sign.shape.near(shape) and shape.bottom < sign.y
    ]
    down = round(max(deep, default=0.0))
    return dict.fromkeys(row, (0, down)) if down else {}


def _headings(signs: Sequence[_PlacedText]) -> _Moves:
    """Return how tempos and names of sections are moved up, above chord symbols.

    They stand above all that are near, not only those that they would meet; the lowest
    of several stays the lowest.
    """
    moves: _Moves = {}
    below = [one.shape for one in signs if one.kind == "harm"]
    headings = (one for one in signs if one.kind == "reh")
    for sign in sorted(headings, key=lambda one: -one.y):
        shape = sign.shape
        meeting = [
            other.top
            for other in below
            if shape.left < other.right + _BESIDE
            and other.left < shape.right + _BESIDE
            and shape.bottom + _LEADING > other.top
        ]
        high = min(meeting, default=shape.bottom + _LEADING)
        up = round(high - _LEADING - shape.bottom)
        if up < 0:
            moves[sign] = (0, up)
        below.append(shape._replace(top=shape.top + up, bottom=shape.bottom + up))
    return moves


def _lowest(moves: _Moves) -> int:
    """Return how much further down the moved signs reach."""
    return max((down for _, down in moves.values()), default=0)


def _moved(svg: str, moves: _Moves) -> str:
    """Return a picture whose signs stand where they were moved to."""
    changes = [
        (place, old + step)
        for sign, steps in moves.items()
        for place, old, step in zip(sign.places, (sign.x, sign.y), steps, strict=True)
    ]
    for (start, end), value in sorted(changes, reverse=True):
        svg = f"{svg[:start]}{value}{svg[end:]}"
    return svg


def _grown(svg: str, top: float, more: int) -> str:
    """Return a picture with room for what was moved up or down.

    Args:
        svg: The picture.
        top: Top of what was moved up.
        more: How much further down what was moved down reaches.
    """
    origin = _ORIGIN.search(svg)
    if not origin:
        return svg
    up = max(0, round(-(top + int(origin[2])) + _AIR)) if top < 0 else 0
    # The outer measure is ten times coarser.
    up, more = -(-up // 10) * 10, -(-more // 10) * 10
    if not up + more:
        return svg
    svg = _ORIGIN.sub(lambda found: f"{found[1]}{int(found[2]) + up}", svg, count=1)
    steps = iter((1, 10))
    return _VIEW.sub(
        lambda found: f'{found[1]}{int(found[2]) + (up + more) // 10 * next(steps)}"',
        svg,
        count=2,
    )
