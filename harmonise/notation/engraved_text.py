"""verovio's SVG made ready for paper: fonts, signs, figures, nothing from outside."""

import re

TEXT_FONT = "Liberation Serif"
MUSIC_FONT = "Harmonise Music"

_NOISE = re.compile(
    r"<style\b.*?</style>|<desc>.*?</desc>"
    r'|<title class="labelAttr">.*?</title>'
    r'|<g id="[^"]*" class="[^"]*placeholder[^"]*">(?:<[^<>]*/>)*</g>',
    re.DOTALL,
)
_FAMILIES = {
    "Liberation, serif": f"{TEXT_FONT}, Times New Roman, serif",
    "Leipzig": f"{MUSIC_FONT}, {TEXT_FONT}, serif",
}
_SIGNS = {
    chr(code): sign
    for code, sign in {
        0xEA64: "♭", 0xEA65: "♮", 0xEA66: "♯", 0xE260: "♭", 0xE261: "♮", 0xE262: "♯",
        0xE263: "\U0001d12a", 0xE264: "\U0001d12b", 0xE047: "\U0001d10b",
        0xE048: "\U0001d10c", 0xECA2: "\U0001d15d", 0xECA3: "\U0001d15e",
        0xECA5: "\U0001d15f", 0xECA7: "\U0001d160", 0xECA9: "\U0001d161", 0xECB7: ".",
    }.items()
}  # fmt: skip
"""Signs of the music font in text, as Unicode has them.

U+2669 would be the plainer crotchet, but the text font has one too, and typst takes
that.
"""
_SIGN = re.compile(f"[{''.join(_SIGNS)}]")
_MUSIC = re.compile(r'font-family="Leipzig" font-size="\d+px"')
_FIGURES = re.compile("([⁰¹²³⁴⁵⁶⁷⁸⁹]+)([₀₁₂₃₄₅₆₇₈₉]*)")
_LARGER_FIGURES = 1.15
_RULES = {
    "path ellipse polygon polyline rect": "stroke:currentColor",
    ".tempo .voltaBracket .reh": "font-weight:bold",
}
_LEANING = {".dir .dynam .mNum": "font-style:italic"}
_UPRIGHT = {"text": "font-weight:bold"}
_BAR = re.compile(r'(?=<g id="[^"]*" class="measure">)')
_EDGE = re.compile(r'<path d="M(-?\d+) ')
_SYLLABLE = re.compile(r'(class="syl"[^>]*><text x=")(-?\d+)(")')
_PAD = re.compile("\u00a0(?<!\u00a0\u00a0)<")
"""The space that kept a label apart; it has done its work once the line is set."""
_CLEAR = 50
"""Least distance of a word from the bar line before it, in verovio's measure."""


def polish(svg: str, size: int, *, bold: bool) -> str:
    """Return a line of music that needs nothing from outside.

    Args:
        svg: A page of verovio's.
        size: Height of its text, in its own measure.
        bold: Whether all text is bold and upright.
    """
    svg = _PAD.sub("<", _NOISE.sub("", svg))
    svg = "".join(map(_clear_bar_line, _BAR.split(svg)))
    # Our music font is as large as the text. It has no bold kind: typst would take bold
    # notes from another font.
    own = f'font-family="Leipzig" font-weight="normal" font-size="{size}px"'
    svg = _MUSIC.sub(own, svg)
    for theirs, ours in _FAMILIES.items():
        svg = svg.replace(f'font-family="{theirs}"', f'font-family="{ours}"')
    width = 0.3 if bold else 0.35
    svg = _FIGURES.sub(lambda found: _stack(found[1], found[2], size, width), svg)
    rules = _format_rules({**_RULES, **(_UPRIGHT if bold else _LEANING)})
    svg = svg.replace("<defs>", f"<style>{rules}</style><defs>", 1)
    return _SIGN.sub(lambda found: _SIGNS[found.group()], svg)


def _clear_bar_line(bar: str) -> str:
    """Return a bar whose words keep clear of the bar line before it."""
    edge = _EDGE.search(bar)
    if not edge:
        return bar
    least = int(edge[1]) + _CLEAR
    return _SYLLABLE.sub(
        lambda found: f"{found[1]}{max(int(found[2]), least)}{found[3]}", bar
    )


def _stack(upper: str, lower: str, size: int, width: float) -> str:
    """Return the figures of a numeral one above the other, and large enough to read.

    Args:
        upper: Raised figures.
        lower: Lowered figures, or "".
        size: Height of the text around them.
        width: Width of such a figure in ems.
    """
    larger = round(size * _LARGER_FIGURES)
    if lower:
        lower = f'<tspan dx="{-width * larger:.0f}">{lower}</tspan>'
    return f'<tspan font-size="{larger}px">{upper}{lower}</tspan>'


def _format_rules(rules: dict[str, str]) -> str:
    """Return a stylesheet that holds within verovio's own group, also in a web page."""
    return "".join(
        f"{','.join(f'.page-margin {own}' for own in kinds.split())}{{{rule}}}"
        for kinds, rule in rules.items()
    )
