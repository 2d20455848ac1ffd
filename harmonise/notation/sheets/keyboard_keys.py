"""The shapes of one keyboard diagram: keys, letters, fingers, the mark of middle C.

Lengths are millimetres.
"""

from collections.abc import Iterator
from html import escape
from typing import NamedTuple

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
    """

    width: float
    key: float
    text: float
    bold: bool = False

    @property
    def label(self) -> float:
        """Height of the room above the keys, for label and arches."""
        return self.text * 3.2

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
    pressed = {own.pitch.midi: own for own in board.presses}
    keys = range(low, low + 12 * OCTAVES)
    for black in (False, True):
        for midi in keys:
            if (midi % 12 not in _WHITES) == black:
                yield _key(midi, low, size, pressed=midi in pressed)
    for midi, own in pressed.items():
        yield from _name(own, midi, low, size)
    foot = size.label + size.long
    if MIDDLE_C in keys:
        yield _triangle(centre(MIDDLE_C, low, size), foot, size)
    yield _text(size.width / 2, size.text * 1.1, board.label, size.text * 1.25, "label")
    yield _text(size.width / 2, foot + size.text * 3.7, board.under, size.text, "under")


def _place(midi: int, low: int, size: Size) -> tuple[float, float]:
    """Return the left edge and the width of a key."""
    before = sum(key % 12 in _WHITES for key in range(low, midi))
    left = before * size.key
    if midi % 12 in _WHITES:
        return left, size.key
    return left - size.key * 0.3, size.key * 0.6


def centre(midi: int, low: int, size: Size) -> float:
    """Return the middle of a key, from the left edge of its diagram.

    Args:
        midi: The key.
        low: The lowest key of the diagram, a white one.
        size: Sizes of the diagram.
    """
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


def _name(own: Press, midi: int, low: int, size: Size) -> Iterator[str]:
    """Yield the letter on a pressed key, in a white patch, and the finger below."""
    middle = centre(midi, low, size)
    black = midi % 12 not in _WHITES
    line = size.label + size.long * (0.52 if black else 0.93)
    letter = str(own.pitch.name).replace("##", "\U0001d12a").translate(_SIGNS)
    width = size.text * (0.55 + 0.4 * len(letter))
    yield (
        f'<rect x="{mm(middle - width / 2)}" y="{mm(line - size.text * 0.85)}" '
        f'width="{mm(width)}" height="{mm(size.text * 1.1)}" '
        f'rx="{mm(size.text / 5)}" fill="white"/>'
    )
    yield _text(middle, line, letter, size.text, "letter")
    if own.finger:
        foot = size.label + size.long + size.text * 2.2
        yield _text(middle, foot, str(own.finger), size.text * 1.15, "finger")


def _triangle(middle: float, top: float, size: Size) -> str:
    half = size.key / 4
    points = (
        (middle, top + half / 2), (middle + half, top + half * 2.2),
        (middle - half, top + half * 2.2),
    )  # fmt: skip
    told = " ".join(f"{mm(x)},{mm(y)}" for x, y in points)
    return f'<polygon class="middle-c" points="{told}"/>'


def _text(x: float, y: float, text: str, height: float, kind: str) -> str:
    if not text:
        return ""
    weight = ' font-weight="bold"' if kind in ("label", "finger") else ""
    return (
        f'<text class="{kind}" x="{mm(x)}" y="{mm(y)}" text-anchor="middle" '
        f'font-size="{mm(height)}"{weight}>{escape(text)}</text>'
    )
