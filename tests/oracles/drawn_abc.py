"""What abcm2ps draws of a tune in ABC, read off its picture.

The picture is SVG: one system of five lines under each treble clef, heads as ellipses,
words and chord symbols as texts that begin a little left of the head they belong to.
"""

import re
from collections import defaultdict
from html import unescape
from pathlib import Path
from typing import NamedTuple

from oracles.clients import told_by

_PLACE = r'x="([\d.]+)" y="([\d.]+)"'
_CLEF = re.compile(rf'<use {_PLACE} xlink:href="#tclef"()')
_HEAD = re.compile(rf'<use {_PLACE} xlink:href="#([hH][dD])"')
_TEXT = re.compile(rf"<text {_PLACE}>([^<]*)</text>")
_FONTS = re.compile(r'<g [^>]*style="font:([^"]+)">(.*?)</g>', re.DOTALL)
_SUNG, _SYMBOLS = "bold 13.00px Times", "12.00px Helvetica"
"""Fonts of the words and of the chord symbols, as abcm2ps sets them by itself."""
_G4 = 4 * 7 + 4
_STEP = 3
"""Pixels from a line to the space above it."""


class _Spot(NamedTuple):
    """Something drawn: number of its system from 0, place, and what it says."""

    system: int
    x: float
    y: float
    text: str


class Drawn(NamedTuple):
    """A tune as it is drawn.

    Attributes:
        heads: Letters from C0 up to each note head, in order.
        words: Of each verse the syllables, with the heads over them as numbers from 0.
        symbols: The chord symbols, with the heads under them.
    """

    heads: list[int]
    words: list[list[tuple[str, int]]]
    symbols: list[tuple[str, int]]


def drawn_by_abcm2ps(abc: str, at: Path) -> Drawn:
    """Return a tune in ABC as abcm2ps draws it.

    Args:
        abc: The tune.
        at: A folder to work in.
    """
    # A metronome mark has a head of its own.
    lines = [line for line in abc.splitlines() if not line.startswith("Q:")]
    (at / "tune.abc").write_text("\n".join([*lines, ""]), "utf-8")
    told = told_by("abcm2ps", "-g", "-O", "drawn.svg", "tune.abc", at=at)
    faults = [line for line in told.splitlines() if re.search("(?i)error|warn", line)]
    # Words that end before their line, and lines of few notes, are no fault.
    usual = re.compile("Not enough words|Line (under|over)full")
    assert all(usual.search(line) for line in faults), told
    (page,) = at.glob("drawn*.svg")
    return _read(page.read_text("utf-8"))


def _read(svg: str) -> Drawn:
    clefs = [float(y) for _, y, _ in _CLEF.findall(svg)]
    heads = sorted(_spots(_HEAD, svg, clefs))
    texts: dict[str, str] = defaultdict(str)
    for font, inside in _FONTS.findall(svg):
        texts[font] += inside
    sung = sorted(_spots(_TEXT, texts[_SUNG], clefs, below=True))
    rows = [sorted({s.y for s in sung if s.system == n}) for n in range(len(clefs))]
    words: list[list[tuple[str, int]]] = [[] for _ in max(rows, key=len)]
    for spot in sung:
        verse = rows[spot.system].index(spot.y)
        words[verse].append((unescape(spot.text), _head_of(spot, heads)))
    symbols = sorted(_spots(_TEXT, texts[_SYMBOLS], clefs, below=False))
    return Drawn(
        [_G4 + round((clefs[head.system] - head.y) / _STEP) for head in heads],
        words,
        [(unescape(spot.text), _head_of(spot, heads)) for spot in symbols],
    )


def _spots(
    pattern: re.Pattern[str], svg: str, clefs: list[float], *, below: bool | None = None
) -> list[_Spot]:
    """Return what is drawn, each in its system: the nearest, or the one over or under.

    Args:
        pattern: What it looks like: x, y and what it says.
        svg: The picture.
        clefs: Where the clefs stand, one a system.
        below: Whether it stands below its system; None for on it.
    """
    found = []
    for x, y, text in pattern.findall(svg):
        there = list(range(len(clefs)))
        if below is not None:
            there = [n for n in there if (clefs[n] < float(y)) is below]
        system = min(there, key=lambda n: abs(clefs[n] - float(y)))
        found.append(_Spot(system, float(x), float(y), text))
    return found


def _head_of(text: _Spot, heads: list[_Spot]) -> int:
    """Return the number of the first head at or after the beginning of a text."""
    return next(n for n, head in enumerate(heads) if head[:2] >= text[:2])
