"""Keyboard diagrams: two octaves, the keys to press shaded and named.

Shading is a pattern of lines, never a colour: it survives a black and white copier.
Finger numbers stand below, a triangle marks middle C, and an arch leads from a key to
the same key in the next diagram where it is kept. Lengths are millimetres.
"""

from collections.abc import Iterator, Sequence
from html import escape
from itertools import pairwise
from typing import NamedTuple

from harmonise.notation.paper.blocks import Picture
from harmonise.notation.paper.patches import MUSIC_FONT, TEXT_FONT
from harmonise.theory.pitch import Pitch

OCTAVES = 2
MIDDLE_C = 60

_WHITES = (0, 2, 4, 5, 7, 9, 11)
"""Pitch classes of the white keys."""
_SIGNS = str.maketrans("#b", "♯♭")


class Press(NamedTuple):
    """A key to press.

    Attributes:
        pitch: Which key, spelled: its letter is drawn on it.
        finger: 1 to 5; 0 for none.
    """

    pitch: Pitch
    finger: int = 0


class Keyboard(NamedTuple):
    """One diagram.

    Attributes:
        presses: The keys to press, lowest first; () for a blank to fill in.
        label: What stands above it, such as "C (I)".
        under: What stands below the fingers, such as the left-hand root; or "".
        links: Whether keys that the next diagram presses too are linked to it.
    """

    presses: tuple[Press, ...]
    label: str = ""
    under: str = ""
    links: bool = True


class Size(NamedTuple):
    """Sizes of the diagrams of a strip.

    Attributes:
        width: Of one diagram.
        key: Width of a white key.
        text: Height of letters.
        bold: Whether all text is bold.
        arches: Whether arches need room above the keys.
    """

    width: float
    key: float
    text: float
    bold: bool = False
    arches: bool = True

    @property
    def label(self) -> float:
        """Height of the room above the keys, for label and arches."""
        return self.text * (3.2 if self.arches else 1.8)

    @property
    def long(self) -> float:
        """Length of a white key."""
        return self.key * 4

    @property
    def height(self) -> float:
        """Height of a whole diagram."""
        return self.label + self.long + self.text * 4


def mm(length: float) -> str:
    """Return a length to the hundredth, without idle noughts."""
    return f"{length:.2f}".rstrip("0").rstrip(".")


def hatching(size: Size) -> str:
    """Return the pattern of slanting lines that shades pressed keys."""
    step = mm(size.key / 3.2)
    return (
        f'<defs><pattern id="hatching" width="{step}" height="{step}" '
        'patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<rect width="{step}" height="{step}" fill="white"/>'
        f'<rect width="{mm(size.key / 9)}" height="{step}" fill="black"/>'
        "</pattern></defs>"
    )


def draw_keys(board: Keyboard, low: int, size: Size) -> Iterator[str]:
    """Yield the shapes of one diagram: white keys, then black ones, then text."""
    pressed = {press.pitch.midi: press for press in board.presses}
    keys = range(low, low + 12 * OCTAVES)
    # Black keys lie over the edges of white ones, so they are drawn later.
    for black in (False, True):
        for midi in keys:
            if (midi % 12 not in _WHITES) == black:
                yield _key(midi, low, size, pressed=midi in pressed)
    for midi, press in pressed.items():
        yield from _name(press, midi, low, size)
    foot = size.label + size.long
    # Two octaves look the same everywhere on the piano: middle C tells them apart.
    if MIDDLE_C in keys:
        middle, half = _centre(MIDDLE_C, low, size), size.key / 4
        top, low_end = mm(foot + half / 2), mm(foot + half * 2.2)
        points = f"{mm(middle)},{top} {mm(middle + half)},{low_end}"
        points += f" {mm(middle - half)},{low_end}"
        yield f'<polygon class="middle-c" points="{points}"/>'
    yield _text(size.width / 2, size.text * 1.1, board.label, size.text * 1.25, "label")
    yield _text(size.width / 2, foot + size.text * 3.7, board.under, size.text, "under")


def _place(midi: int, low: int, size: Size) -> tuple[float, float]:
    """Return the left edge and the width of a key."""
    before = sum(key % 12 in _WHITES for key in range(low, midi))
    left = before * size.key
    if midi % 12 in _WHITES:
        return left, size.key
    return left - size.key * 0.3, size.key * 0.6


def _centre(midi: int, low: int, size: Size) -> float:
    """Return the middle of a key, from the left edge of its diagram."""
    left, width = _place(midi, low, size)
    return left + width / 2


def _key(midi: int, low: int, size: Size, *, pressed: bool) -> str:
    left, width = _place(midi, low, size)
    black = midi % 12 not in _WHITES
    length = size.long * (0.62 if black else 1)
    fill = "url(#hatching)" if pressed else "black" if black else "white"
    kind = f"{'black' if black else 'white'}{' pressed' if pressed else ''}"
    return (
        f'<rect class="{kind}" x="{mm(left)}" y="{mm(size.label)}" '
        f'width="{mm(width)}" height="{mm(length)}" fill="{fill}" stroke="black" '
        f'stroke-width="{mm(size.key / 14)}"/>'
    )


def _name(press: Press, midi: int, low: int, size: Size) -> Iterator[str]:
    """Yield the letter on a pressed key, in a white patch, and the finger below."""
    middle = _centre(midi, low, size)
    black = midi % 12 not in _WHITES
    line = size.label + size.long * (0.52 if black else 0.93)
    letter = printed_name(press.pitch)
    width = size.text * (0.55 + 0.4 * len(letter))
    yield (
        f'<rect x="{mm(middle - width / 2)}" y="{mm(line - size.text * 0.85)}" '
        f'width="{mm(width)}" height="{mm(size.text * 1.1)}" '
        f'rx="{mm(size.text / 5)}" fill="white"/>'
    )
    yield _text(middle, line, letter, size.text, "letter")
    if press.finger:
        foot = size.label + size.long + size.text * 2.2
        yield _text(middle, foot, str(press.finger), size.text * 1.15, "finger")


def printed_name(pitch: Pitch) -> str:
    """Return the name of a key with the signs that print has.

    >>> from harmonise.theory.pitch import parse_pitch
    >>> [printed_name(parse_pitch(text)) for text in ("Bb3", "F#4", "C##5")]
    ['B♭', 'F♯', 'C𝄪']
    """
    return str(pitch.name).replace("##", "\U0001d12a").translate(_SIGNS)


def _text(x: float, y: float, text: str, height: float, kind: str) -> str:
    if not text:
        return ""
    weight = ' font-weight="bold"' if kind in ("label", "finger") else ""
    return (
        f'<text class="{kind}" x="{mm(x)}" y="{mm(y)}" text-anchor="middle" '
        f'font-size="{mm(height)}"{weight}>{escape(text)}</text>'
    )


def told_legend(keyboards: Sequence[Keyboard]) -> str:
    """Return the sentences that tell what diagrams show, of what they have alone."""
    heights = [{press.pitch.midi for press in board.presses} for board in keyboards]
    every = [midi for keys in heights for midi in keys]
    low = _lowest(keyboards)
    fingered = any(press.finger for board in keyboards for press in board.presses)
    told = "Press the hatched keys with the right hand"
    told += "; the numbers below are fingers." if fingered else "."
    if any(board.under for board in keyboards):
        told += " Below stands what the left hand plays."
    if every and any(start <= MIDDLE_C < start + 12 * OCTAVES for start in low):
        told += " A triangle marks middle C."
    if any(before & after for before, after in pairwise(heights)):
        told += " An arch leads to a key that is pressed again."
    return told


_STARTS = (0, 5, 4, 9, 7, 2, 11)
"""Pitch classes at which a diagram may start, the clearest first."""
_GAP = 6.0
"""Between diagrams, also above and below."""
_LEAST, _MOST = 50.0, 70.0
"""Least and greatest width of a diagram, in ordinary size."""


def draw_keyboards(
    keyboards: Sequence[Keyboard], width: float, *, large: bool = False
) -> tuple[Picture, ...]:
    """Return strips of keyboard diagrams, in rows that fit a width.

    Args:
        keyboards: The diagrams in order.
        width: Room for a row.
        large: Whether keys and text are larger.
    """
    least = _LEAST * (1.5 if large else 1)
    across = max(1, int((width + _GAP) // (least + _GAP)))
    diagram = min((width + _GAP) / across - _GAP, _MOST * (1.5 if large else 1))
    key = diagram / (7 * OCTAVES)
    arches = any(board.links for board in keyboards)
    size = Size(diagram, key, key * 0.72, bold=large, arches=arches)
    low = _lowest(keyboards)
    rows = [
        range(at, min(at + across, len(keyboards)))
        for at in range(0, len(keyboards), across)
    ]
    return tuple(_draw_row(keyboards, row, low, size) for row in rows)


def _lowest(keyboards: Sequence[Keyboard]) -> list[int]:
    """Return the lowest key of every diagram: the same for all, if they all fit."""
    pressed = [[press.pitch.midi for press in board.presses] for board in keyboards]
    every = [midi for keys in pressed for midi in keys] or [MIDDLE_C]
    common = _start(every)
    if common is not None:
        return [common] * len(keyboards)
    return [_start(keys or [MIDDLE_C]) or min(keys) // 12 * 12 for keys in pressed]


def _start(heights: Sequence[int]) -> int | None:
    """Return the white key from which two octaves hold keys; None if there is none.

    Middle C is among the octaves if it can be; C comes first, then F, then the others.
    """
    span = 12 * OCTAVES
    starts = [
        low
        for low in range(min(heights) - span + 1, min(heights) + 1)
        if low % 12 in _STARTS and max(heights) < low + span
    ]

    def clearest(low: int) -> tuple[bool, int, int]:
        return not low <= MIDDLE_C < low + span, _STARTS.index(low % 12), -low

    return min(starts, key=clearest, default=None)


def _draw_row(
    keyboards: Sequence[Keyboard], row: range, low: Sequence[int], size: Size
) -> Picture:
    shapes: list[str] = []
    for place, at in enumerate(row):
        drawn = "".join(draw_keys(keyboards[at], low[at], size))
        shapes.append(
            f'<g class="keyboard" transform="translate({mm(_left(place, size))},0)">'
            f"{drawn}</g>"
        )
    shapes += _arches(keyboards, row, low, size)
    width = _left(len(row), size) - _GAP
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        f'viewBox="-0.3 0 {mm(width + 0.6)} {mm(size.height)}" '
        f'font-family="{TEXT_FONT}, {MUSIC_FONT}, serif" '
        f'font-weight="{"bold" if size.bold else "normal"}">'
        f"{hatching(size)}{''.join(shapes)}</svg>"
    )
    spoken = []
    for board in (keyboards[at] for at in row):
        keys = [
            f"{press.pitch}{f' (finger {press.finger})' if press.finger else ''}"
            for press in board.presses
        ]
        name = f"Keyboard {board.label}".rstrip()
        spoken.append(f"{name}: {' '.join(keys) or 'blank'}")
    return Picture(svg, width, size.height, "; ".join(spoken))


def _left(place: int, size: Size) -> float:
    return place * (size.width + _GAP)


def _arches(
    keyboards: Sequence[Keyboard], row: range, low: Sequence[int], size: Size
) -> Iterator[str]:
    """Yield an arch for every key that a diagram and the next one press.

    Where the next diagram stands in the next row, the arch leads to the row's end and
    goes on at the start of the next.
    """
    edge = _left(len(row), size) - _GAP
    for at, after in pairwise(range(len(keyboards))):
        here, there, board = at in row, after in row, keyboards[at]
        if not (board.links and (here or there)):
            continue
        again = {press.pitch.midi for press in keyboards[after].presses}
        for midi in (press.pitch.midi for press in board.presses):
            if midi in again:
                left = _left(at - row.start, size) + _centre(midi, low[at], size)
                right = _left(after - row.start, size) + _centre(midi, low[after], size)
                ends = (left if here else None, right if there else None)
                yield _arch(*ends, edge, size)


def _arch(left: float | None, right: float | None, edge: float, size: Size) -> str:
    """Return an arch from a key to a key; half of one at an edge of the row."""
    foot, top = size.label - size.text * 0.1, size.text * 1.2
    ends = [left or 0, right or edge]
    heights = [foot if end is not None else top * 1.4 for end in (left, right)]
    bend = (ends[1] - ends[0]) / 5
    return (
        f'<path class="kept" d="M{mm(ends[0])} {mm(heights[0])} C{mm(ends[0] + bend)} '
        f'{mm(top)} {mm(ends[1] - bend)} {mm(top)} {mm(ends[1])} {mm(heights[1])}" '
        f'fill="none" stroke="black" stroke-width="{mm(size.key / 9)}"/>'
    )
