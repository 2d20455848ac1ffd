"""What is mended in verovio's work, before it engraves (in MEI) and after (in SVG).

Each patch has a test that fails once verovio does without it. Before: verses are
numbered, tempo marks and labels spaced, fingers hung on one note, lines broken where
the score says so and where one is too long. After: fingers are put in order, and the
picture gets our fonts and signs and needs nothing from outside.
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from functools import partial
from itertools import pairwise
from typing import NamedTuple

MEASURES = re.compile(r'(?=<g id="[^"]*" class="measure">)')
_WORD_AND_NOTE = re.compile(r"([^<>\s])(</rend>\s*<rend\b[^>]*\bglyph)")
_VERSE = re.compile(r'<verse xml:id="[^"]*" n="(\d+)"(?! label)')
_LABEL = re.compile(
    r'(<verse\b[^>]*label="position"[^>]*>\s*<syl\b[^>]*>[^<]+)(</syl>)'
)
_TEMPO = re.compile(r"<tempo\b([^>]*)>(.*?)</tempo>", re.DOTALL)
_SECTION = re.compile(
    r'<dir\b((?:(?!\btype=)[^>])*\btstamp="1"[^>]*)>'
    r'(\s*<rend\b[^>]*\bfontweight="bold"[^>]*>[^<]*</rend>\s*)</dir>'
)
"""The name of a section: bold words at a bar's start that are no jump."""
_TEXT = re.compile(r"(<(?:harm|fing|reh|dir)\b[^>]*>)([^<]+)(</)")


def dress(mei: str, *, bold: bool, verses: bool = True) -> str:
    """Return a score with numbered verses, well spaced tempo marks and labels.

    Labels are no words of one song: without a space at its end one would run into the
    next.

    Args:
        mei: The score.
        bold: Whether all its text is bold and upright.
        verses: Whether verses are numbered where their words begin.
    """
    mei = _WORD_AND_NOTE.sub("\\1\u00a0\u00a0\\2", mei)
    # verovio puts a space between a note and its dot.
    mei = mei.replace(" \uecb7", "\uecb7")
    # Verses begin with their numbers, if there are several.
    sung = set(_VERSE.findall(mei)) if verses else set()
    for verse in sorted(sung) if len(sung) > 1 else ():
        first = rf'(<verse xml:id="[^"]*" n="{verse}">\s*<syl\b[^>]*>)'
        mei = re.sub(first, f"\\g<1>{verse}.\u00a0", mei, count=1)
    mei = _LABEL.sub("\\1\u00a0\\2", mei)
    # verovio sets tempo and name of a section below chord symbols, where publishers set
    # them above.
    mei = _TEMPO.sub(r"<reh\1>\2</reh>", mei)
    mei = _SECTION.sub(r"<reh\1>\2</reh>", mei)
    if not bold:
        return mei
    # verovio takes the widths of letters into account: so they are bold in good time.
    mei = _TEXT.sub(r'\1<rend fontweight="bold">\2</rend>\3', mei)
    mei = re.sub(r'(<syl\b[^>]*?) fontstyle="\w+"', r"\1", mei)
    return mei.replace("<syl ", '<syl fontweight="bold" ')


# verovio sets each finger over its own head, and stacks those of one head in any order:
# so all fingers of a hand at one moment hang on one note before engraving, and are put
# in order, in one straight stack, after it (TRADE N07).
_FINGER = re.compile(r'(<fing\b[^>]*\bstartid="#)([^"]*)(")')
_DRAWN = re.compile(
    r'<g id="[^"]*" class="fing"[^>]*><text x="(-?\d+)" y="(-?\d+)".*?>(\d)</tspan>'
)


_STAFF_LINE = re.compile(r'class="staff"><path d="M-?\d+ (-?\d+)')


def share_notes(mei: str, leaders: Mapping[str, str]) -> str:
    """Return MEI whose fingers at one moment hang on one note a hand.

    Args:
        mei: The score as verovio has it.
        leaders: The head that bears the fingers, by the id of every fingered head.
    """
    return _FINGER.sub(
        lambda found: f"{found[1]}{leaders.get(found[2], found[2])}{found[3]}", mei
    )


def put_in_order(svg: str) -> str:
    """Return a line of music whose stacks of fingers follow the notes.

    The right hand's numbers rise with the pitch, the left hand's fall: so in the stack
    above the staves the largest is on top, in the one below the smallest.
    """
    return "".join(map(_order_bar, MEASURES.split(svg)))


def _order_bar(svg: str) -> str:
    # What stands above the middle between the first and the last staff line is the
    # right hand's.
    lines = list(map(int, _STAFF_LINE.findall(svg)))
    stacks: dict[tuple[int, bool], list[re.Match[str]]] = {}
    for one in _DRAWN.finditer(svg):
        above = int(one[2]) * len(lines) < sum(lines)
        stacks.setdefault((int(one[1]), above), []).append(one)
    digits = list(svg)
    for (_, above), stack in stacks.items():
        places = sorted(stack, key=lambda one: int(one[2]))
        numbers = sorted((one[3] for one in stack), reverse=above)
        for place, number in zip(places, numbers, strict=True):
            digits[place.start(3)] = number
    return "".join(digits)


# Bars are measured in one endless line; widths are in verovio's own measure.
UNIT = 9
"""Half a staff space in verovio's measure; pictures are scaled afterwards."""
BRACE = 7 * UNIT
"""Room for the brace; verovio cuts it off without."""

_CLEF, _KEY_SIGN = 9 * UNIT, 2.1 * UNIT
"""What stands at the start of a line: the clef, and each sign of the key."""
_FULL = 0.94
"""How full a line may be: bars at their natural widths leave words no air."""
_BREAKS = re.compile(r"<[sp]b\b[^>]*/>")
_UNNUMBERED = re.compile(
    r'(<pb/><measure\b[^>]*? n="X\d+"(?:(?!<measure\b|<dir\b|<reh\b).)*'
    r'<measure\b[^>]*? n="(\d+)"[^>]*>)',
    re.DOTALL,
)
"""A line that begins with the second part of a split bar, up to its first whole bar.

verovio numbers the first bar of a line alone, and such a part has no number. Where the
name of a section stands over the part, the number would run into it and is left out.
"""
_BARS = re.compile(r'<(?:[sp]b|measure)\b[^>]*?xml:id="([^"]*)"[^>]*>')


class MeasuredBar(NamedTuple):
    """One bar as it lies in an endless line.

    Attributes:
        name: Its id.
        width: Its width.
        starts: Whether the score begins a line with it.
    """

    name: str
    width: float
    starts: bool


class EndlessLine(NamedTuple):
    """A score in one endless line, measured.

    Attributes:
        bars: Its bars; at least one.
        head: What stands at the start of a line that is broken off: clef and key.
        height: Its height; no line that is broken off is higher.
    """

    bars: tuple[MeasuredBar, ...]
    head: float
    height: float

    def marked(self, names: Collection[str]) -> "EndlessLine":
        """Return the same line in a score that begins new ones with these bars."""
        bars = (bar._replace(starts=bar.name in names) for bar in self.bars)
        return self._replace(bars=tuple(bars))


def measure(mei: str, svg: str) -> EndlessLine:
    """Return how wide the bars of a score are.

    Args:
        mei: The score.
        svg: The same, drawn in one endless line.
    """
    staff = svg.partition('class="staff"')[2].partition('class="layer"')[0]
    head = _CLEF + _KEY_SIGN * staff.count('class="keyAccid"')
    box = re.search(r'viewBox="0 0 \d+ (\d+)"', svg)
    height = float(box[1]) if box else 0.0
    return EndlessLine(tuple(_measured_bars(mei, svg)), head, height)


def line_starts(endless: EndlessLine, width: float) -> tuple[str, ...]:
    """Return the ids of the bars that lines of music begin with.

    Args:
        endless: The score, measured.
        width: Width of a line.
    """
    bars, head = endless.bars, endless.head
    edges = [at for at, bar in enumerate(bars) if bar.starts and at]
    starts: list[str] = []
    for start, end in pairwise([0, *edges, len(bars)]):
        line = bars[start:end]
        whole = _with_head(line, head) if start else line
        parts = _parts(whole, (width - BRACE) * _FULL, head)
        starts += [part[0].name for part in parts]
    return tuple(starts)


def break_lines(mei: str, starts: Sequence[str]) -> str:
    """Return a score in MEI with a page for every line of music.

    Args:
        mei: The score.
        starts: Ids of the bars that lines begin with.
    """
    mei = _BREAKS.sub("", mei)
    for name in starts[1:]:
        start = f'<measure xml:id="{name}"'
        mei = mei.replace(start, f"<pb/>{start}", 1)
    return _UNNUMBERED.sub(r"\1<mNum>\2</mNum>", mei)


def _measured_bars(mei: str, svg: str) -> list[MeasuredBar]:
    """Return the bars of an endless line with their widths."""
    starts: set[str] = set()
    broken = False
    for match in _BARS.finditer(mei):
        whole = match.group().startswith("<measure")
        if broken and whole:
            starts.add(match.group(1))
        broken = not whole
    parts = re.split(r'<g id="([^"]*)" class="measure">', svg)
    bars = []
    for name, drawn in zip(parts[1::2], parts[2::2], strict=True):
        line = re.search(r'<path d="M(-?\d+) -?\d+ L(-?\d+)', drawn)
        width = (int(line[2]) - int(line[1])) / 10 if line else 0
        bars.append(MeasuredBar(name, width, name in starts))
    return bars


def _parts(
    line: Sequence[MeasuredBar], room: float, head: float
) -> Iterator[Sequence[MeasuredBar]]:
    """Yield a line in parts that fit, broken so that its halves are nearly alike.

    Args:
        line: Bars; the first one's width includes what stands at a line's start.
        room: Room for a line.
        head: What stands at the start of a broken-off part.
    """
    widths = [bar.width for bar in line]
    if len(line) < 2 or sum(widths) <= room:
        yield line
        return
    halves = [
        max(sum(widths[:at]), sum(widths[at:]) + head) for at in range(1, len(line))
    ]
    middle = halves.index(min(halves)) + 1
    yield from _parts(line[:middle], room, head)
    yield from _parts(_with_head(line[middle:], head), room, head)


def _with_head(line: Sequence[MeasuredBar], head: float) -> Sequence[MeasuredBar]:
    first = line[0]
    return [first._replace(width=first.width + head), *line[1:]]


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
_PAD = re.compile("\u00a0(?<!\u00a0\u00a0)<")
"""The space that kept a label apart; it has done its work once the line is set."""


def polish(svg: str, size: int, *, bold: bool) -> str:
    """Return a line of music that needs nothing from outside.

    Args:
        svg: A page of verovio's.
        size: Height of its text, in its own measure.
        bold: Whether all text is bold and upright.
    """
    svg = _PAD.sub("<", _NOISE.sub("", svg))
    # Our music font is as large as the text. It has no bold kind: typst would take bold
    # notes from another font.
    font = f'font-family="Leipzig" font-weight="normal" font-size="{size}px"'
    svg = _MUSIC.sub(font, svg)
    for theirs, ours in _FAMILIES.items():
        svg = svg.replace(f'font-family="{theirs}"', f'font-family="{ours}"')
    svg = _FIGURES.sub(partial(_stack, round(size * _LARGER_FIGURES), bold), svg)
    # The rules hold within verovio's own group, also in a web page.
    rules = "".join(
        f"{','.join(f'.page-margin {kind}' for kind in kinds.split())}{{{rule}}}"
        for kinds, rule in {**_RULES, **(_UPRIGHT if bold else _LEANING)}.items()
    )
    svg = svg.replace("<defs>", f"<style>{rules}</style><defs>", 1)
    return _SIGN.sub(lambda sign: _SIGNS[sign.group()], svg)


def _stack(size: int, bold: bool, found: re.Match[str]) -> str:  # noqa: FBT001
    """Return the figures of a numeral one above the other, and large enough to read."""
    upper, lower = found.groups()
    if lower:
        width = (0.3 if bold else 0.35) * size
        lower = f'<tspan dx="{-width:.0f}">{lower}</tspan>'
    return f'<tspan font-size="{size}px">{upper}{lower}</tspan>'
