"""Engraved lines made ready for the page, which forbids stylesheets within its parts.

Rules become attributes. Only notes, bars and chord symbols keep ids: the engraver gives
others to clefs and the like, the same on every line. No text of a user's becomes
markup: the engraver escapes it.
"""

import re
from collections.abc import Iterator
from itertools import count

from harmonise.notation.engraving import System

_RULES = re.compile(r"<style>.*?</style>", re.DOTALL)
_ROOT = re.compile(r'<svg [^>]*?id="([^"]*)"')
_MARGIN = '<g class="page-margin"'
_SHAPE = re.compile("<(path|ellipse|polygon|polyline|rect) ")
_OURS = re.compile(r"(n\d+(-\d+|g\d+)?|m\d+)$")
_NAMED = re.compile(r' id="([^"]*)"(?: class="([\w ]*)")?')
_LOOKS = {
    "tempo": ' font-weight="bold"',
    "voltaBracket": ' font-weight="bold"',
    "reh": ' font-weight="bold"',
    "dir": ' font-style="italic"',
    "dynam": ' font-style="italic"',
    "mNum": ' font-style="italic"',
}
"""What the engraver's stylesheet says of words, by the class of their group."""


def for_page(systems: tuple[System, ...]) -> tuple[System, ...]:
    """Return engraved lines as the page shows them, below each other.

    Chord symbols are named h0, h1 and so on in the order in which they stand.
    """
    numbers = count()
    return tuple(
        system._replace(svg=_ready(system.svg, line, numbers))
        for line, system in enumerate(systems)
    )


def _ready(svg: str, line: int, numbers: Iterator[int]) -> str:
    def named(found: re.Match[str]) -> str:
        name, kinds = found[1], found[2] or ""
        if kinds == "harm":
            name = f"h{next(numbers)}"
        own = f' id="{name}"' if kinds == "harm" or _OURS.match(name) else ""
        look = _LOOKS.get(kinds.partition(" ")[0], "")
        return f'{own} class="{kinds}"{look}' if kinds else own

    svg = _RULES.sub("", svg)
    root = _ROOT.search(svg)
    if root:
        svg = svg.replace(root[1], f"{root[1]}-{line}")
    head, margin, music = svg.partition(_MARGIN)
    music = _SHAPE.sub(r'<\1 stroke="currentColor" ', music)
    return head + margin + _NAMED.sub(named, music)
