"""Lines of music engraved one by one, so that one that did not change is not drawn.

A line is cut out of the MusicXML of the whole score together with the bars beside it,
for ties, endings, words and signs of a new key reach over the end of a line; of what is
engraved the line itself is kept. It is the same picture as in the whole score, and
`tests/page` holds it to that. Notes are numbered anew within their line: a chord that
is swapped changes the numbers of all notes after it, and none of their pictures.
"""

import re
from collections.abc import Iterator, Sequence
from itertools import count
from typing import NamedTuple

from harmonise.notation.paper.engraving import Excerpt

_MEASURE = re.compile(r"    <measure .*?</measure>\n", re.DOTALL)
_NAME = re.compile(r'(?<= id=")(n\d+(?:-\d+|g\d+)?)(?=")')
_BAR_NAME = re.compile(r'<measure [^>]*id="([^"]*)"')
_ATTRIBUTES = re.compile(r" *<attributes>(.*?)</attributes>\n", re.DOTALL)
_SIGN = re.compile(
    r" *<(divisions|key|time|staves|clef)( [^>]*)?>(?:(?!</\1>).)*</\1>\n", re.DOTALL
)
_ORDER = ("divisions", "key", "time", "staves", "clef")
_ENDING = re.compile(r'<ending [^>]*type="(start|stop|discontinue)"')
_VERSE = re.compile(r'<lyric number="(\d+)"(?! name)')
_SYLLABIC = re.compile(r"<syllabic>(\w+)</syllabic>|<extend")


class ScoreLine(NamedTuple):
    """A line of a score: how it is engraved, and what its notes are called.

    Attributes:
        excerpt: The line by itself.
        names: The name in the line of each of its heads, by the name in the score.
    """

    excerpt: Excerpt
    names: dict[str, str]


class _Measure(NamedTuple):
    """A bar as MusicXML.

    Attributes:
        text: The whole of it.
        name: Its id.
        signs: What stands in force at its start: divisions, key, time, staves, clefs.
        goes_on: Whether an ending or a word goes on over its end.
    """

    text: str
    name: str
    signs: dict[str, str]
    goes_on: bool


def score_lines(
    musicxml: str, starts: Sequence[str], leaders: Sequence[tuple[str, str]]
) -> tuple[ScoreLine, ...]:
    """Return the lines of a score, each to be engraved by itself.

    Args:
        musicxml: The score as `format_plan` makes it.
        starts: Ids of the bars that its lines begin with.
        leaders: As `finger_leaders` finds them.
    """
    measures = tuple(_measures(musicxml))
    head = musicxml[: musicxml.index("    <measure ")]
    tail = musicxml[musicxml.rindex("</measure>\n") + len("</measure>\n") :]
    # Lines that begin elsewhere are told from page to page by `<print>` alone.
    head = re.sub(r" *<miscellaneous>.*?</miscellaneous>\n", "", head, flags=re.DOTALL)
    names = [measure.name for measure in measures]
    firsts = [names.index(start) for start in starts]
    ends = [*firsts[1:], len(measures)]
    sung = next((n for n, it in enumerate(measures) if _VERSE.search(it.text)), 0)
    led = dict(leaders)
    return tuple(
        _line(measures, (first, end), (head, tail), sung, led)
        for first, end in zip(firsts, ends, strict=True)
    )


def _line(
    measures: Sequence[_Measure],
    place: tuple[int, int],
    frame: tuple[str, str],
    sung: int,
    led: dict[str, str],
) -> ScoreLine:
    first, end = place
    begin = max(first - 1, 0)
    while begin and measures[begin - 1].goes_on:
        begin -= 1
    stop = min(end + 1, len(measures))
    while stop < len(measures) and measures[stop - 1].goes_on:
        stop += 1
    body = "".join(measure.text for measure in measures[first:end])
    numbers = count()
    names = {name: f"n{next(numbers)}" for name in _NAME.findall(body)}
    beside = {
        name: f"n{next(numbers)}"
        for measure in (*measures[begin:first], *measures[end:stop])
        for name in _NAME.findall(measure.text)
    }
    every = names | beside
    whole = "".join(
        [
            _opened(measures[begin]),
            *(measure.text for measure in measures[begin + 1 : stop]),
        ]
    )
    text = _NAME.sub(lambda found: every[found[1]], whole)
    edges = [begin] * (begin < first) + [first] + [end] * (end < stop)
    excerpt = Excerpt(
        frame[0] + text + frame[1],
        tuple(measures[edge].name for edge in edges),
        int(begin < first),
        tuple(
            (every[name], every[led[name]])
            for name in every
            if name in led and led[name] in every
        ),
        begin <= sung,
    )
    return ScoreLine(excerpt, names)


def _measures(musicxml: str) -> Iterator[_Measure]:
    """Yield the bars of a score with what is in force at the start of each."""
    signs: dict[str, str] = {}
    ending = False
    word = ""
    for found in _MEASURE.finditer(musicxml):
        text = found.group()
        name = _BAR_NAME.search(text)
        for kind in _ENDING.findall(text):
            ending = kind == "start"
        for kind in _SYLLABIC.findall(text):
            word = kind
        yield _Measure(
            text,
            name[1] if name else "",
            dict(signs),
            goes_on=ending or word in ("begin", "middle"),
        )
        for attributes in _ATTRIBUTES.findall(text):
            signs |= _signs(attributes)


def _signs(attributes: str) -> dict[str, str]:
    """Return what some attributes say: each element by its name and its number."""
    return {
        f"{found[1]}{found[2] or ''}": found.group()
        for found in _SIGN.finditer(attributes)
    }


def _opened(measure: _Measure) -> str:
    """Return a bar as the first of a score: with all that is in force at its start."""
    head, _, rest = measure.text.partition("\n")
    own = _ATTRIBUTES.search(rest)
    begins = own is not None and _before_notes(rest, own.start())
    signs = measure.signs | (_signs(own[1]) if own and begins else {})
    rows = sorted(signs, key=lambda name: (_ORDER.index(name.split()[0]), name))
    attributes = "".join(signs[name] for name in rows)
    if own and begins:
        rest = rest[: own.start()] + rest[own.end() :]
    printed = re.match(r" *<print [^>]*/>\n", rest)
    at = printed.end() if printed else 0
    return (
        f"{head}\n{rest[:at]}      <attributes>\n{attributes}      </attributes>\n"
        f"{rest[at:]}"
    )


def _before_notes(rest: str, place: int) -> bool:
    return "<note" not in rest[:place]
