"""Syllables under their notes: clear of bar lines, and with hyphens between them.

verovio starts a word at its note, be there a bar line or not, and takes no account of
bold letters when it places hyphens and the lines of syllables that are held. Lengths
are in its inner measure: a staff is 720 high.
"""

import re

from harmonise.notation.paper.clearing import letter_size, letters_of
from harmonise.notation.paper.patches import BRACE, MEASURES

_EDGE = re.compile(r'<path d="M(-?\d+) ')
_START = re.compile(r'(class="syl"[^>]*><text x=")(-?\d+)(")')
_CLEAR = 50
"""Least distance of a word from the bar line before it and from the line after it."""
_SYLLABLE = re.compile(
    r'(?P<row>(?:numeral|position)</title><g id="[^"]*" )?class="syl"[^>]*>'
    r'<text x="(?P<x>-?\d+)" y="(?P<y>-?\d+)"(?P<text>.*?)</text>'
    r'(?P<mark><rect x="(?P<left>-?\d+)" y="(?P<high>-?\d+)" height="\d+"'
    r' width="(?P<wide>\d+)"/>)?(?!<rect)'
)
"""A syllable with the one hyphen or the line after it; more hyphens have room."""
_VIEW = re.compile(r'viewBox="0 0 (\d+) ')
_MARGIN = BRACE * 10
"""What verovio leaves free before a line, as `_OPTIONS` of engraving ask for."""
_NARROW, _WIDE = set("fijlrtI.,;:!?'()-\u2019\u00a0 "), set("mwMW\u2014")
_WIDTHS = (0.31, 0.53, 0.71, 0.92)
"""How wide narrow letters, most letters, capitals and wide letters are in bold."""
_REGULAR = 0.93
"""How wide regular letters are, as a part of bold ones."""
_SPACE = 0.2
"""Least space between words, as a part of their size."""
_HYPHEN = 0.15
"""Hyphens stand higher than this above the base line, as a part of the size."""
_SEEN = 0.5
"""Shortest line after a syllable that is held, as a part of the size."""


def clear_words(svg: str) -> str:
    """Return a line of music whose words are clear of bar lines and of hyphens."""
    return _joined(_apart("".join(map(_clear_bar_line, MEASURES.split(svg)))))


def _clear_bar_line(bar: str) -> str:
    """Return a bar whose words keep clear of the bar line before it."""
    edge = _EDGE.search(bar)
    if not edge:
        return bar
    least = int(edge[1]) + _CLEAR
    return _START.sub(
        lambda found: f"{found[1]}{max(int(found[2]), least)}{found[3]}", bar
    )


def _apart(svg: str) -> str:
    """Return a picture whose words have a space between them.

    A word that was moved from its bar line, or is bold, pushes those after it.
    """
    reached: dict[str, float] = {}
    edges: list[str] = []
    at = 0
    right = max(map(int, _VIEW.findall(svg)), default=0) - _MARGIN
    for one in _SYLLABLE.finditer(svg):
        # Labels and numerals stand wide apart, and strictly below their notes.
        if one["row"]:
            continue
        size = letter_size(one["text"])
        wide = size * _width(one["text"])
        old, y = int(one["x"]), one["y"]
        x = max(old, min(round(reached.get(y, old)), int(right - wide)))
        reached[y] = x + wide + size * _SPACE
        edges += [svg[at : one.start("x")], str(x)]
        at = one.end("x")
    return "".join([*edges, svg[at:]])


def _joined(svg: str) -> str:
    """Return a picture whose hyphens and lines after syllables are clear of both.

    verovio takes no account of bold letters; a line too short to be seen goes.
    """
    found = list(_SYLLABLE.finditer(svg))
    firsts = [(int(one["y"]), int(one["x"])) for one in found]
    for one in reversed(found):
        if not one["mark"]:
            continue
        size = letter_size(one["text"])
        x, base = int(one["x"]), int(one["y"])
        end = x + size * _width(one["text"])
        left, wide = int(one["left"]), int(one["wide"])
        if base - int(one["high"]) < _HYPHEN * size:
            start = max(left, round(end) + _CLEAR)
            wide += left - start
            left, wide = (start, wide) if wide > _SEEN * size else (left, 0)
        else:
            following = [other for y, other in firsts if y == base and other > x]
            middle = (end + min(following, default=0) - wide) / 2
            left = round(middle if following else max(left, end + _CLEAR))
        mark = re.sub(r'x="-?\d+"', f'x="{left}"', one["mark"])
        mark = re.sub(r'width="\d+"', f'width="{wide}"', mark) if wide else ""
        svg = svg[: one.start("mark")] + mark + svg[one.end("mark") :]
    return svg


def _width(syllable: str) -> float:
    """Return about how wide a syllable is, drawn thus, as a multiple of its size."""
    kinds = (
        0 if one in _NARROW else 3 if one in _WIDE else 2 if one.isupper() else 1
        for one in letters_of(syllable)
    )
    width = sum(_WIDTHS[kind] for kind in kinds)
    return width if "bold" in syllable else _REGULAR * width
