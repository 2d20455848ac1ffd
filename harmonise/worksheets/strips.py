"""Keyboard diagrams of a worksheet: the same strips solved and blank.

The blank strip is the solved one with everything taken out that is to be found, so
that both have the same keys in the same places.
"""

import re
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from harmonise.notation.sheets.blocks import Picture
from harmonise.notation.sheets.keyboards import Keyboard, Press, draw_keyboards
from harmonise.worksheet import Diagram

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
            tuple(Press(*press) for press in own.presses),
            own.label,
            f"left hand: {own.left}",
            links=False,
        )
        for own in diagrams
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
    told = "; ".join(f"Keyboard {own.label}, to fill in" for own in diagrams)
    return picture._replace(svg="".join(parts), told=told)


def _emptied(group: str) -> str:
    group = _PRESSED.sub(r'class="\1"\2 fill="\1"', group)
    return _LEFT.sub(rf"\1{_LINE}\2", _PATCH.sub("", group))
