"""Repeat signs for whole bars: an empty bar under one sounds like the bars before.

The standard wants the notes written out under the sign; where a file leaves them out
they are filled in. Source: W3C, MusicXML 4.0, `measure-repeat`.
"""

from bisect import bisect_left
from collections.abc import Iterator
from operator import attrgetter

from harmonise.notation.reading.musicxml.bars import Page
from harmonise.notation.reading.musicxml.line import Struck
from harmonise.notation.reading.musicxml.remarks import Code, Remarks
from harmonise.notation.reading.musicxml.tree import whole


def fill_repeated(
    struck: tuple[Struck, ...], page: Page, remarks: Remarks
) -> tuple[Struck, ...]:
    """Return the notes with those that bar-repeat signs stand for.

    Args:
        struck: Notes and written rests in order.
        page: The part.
        remarks: Told which bars were filled.
    """
    signs = list(_repeated(page))
    if not signs:
        return struck
    bars = [_in_measure(struck, page, count) for count in range(len(page.measures))]
    for count, size in signs:
        source = count - size
        if source < 0 or any(not note.rest for note in bars[count]):
            continue
        if _length(page, source) != _length(page, count):
            continue
        shift = page.starts[count] - page.starts[source]
        bars[count] = [
            note._replace(onset=note.onset + shift, copied=True)
            for note in bars[source]
        ]
        remarks.add(
            Code.SIMILE,
            "the bar holds a repeat sign only; the notes before it were filled in.",
            page.starts[count],
        )
    return tuple(note for bar in bars for note in bar)


def _in_measure(struck: tuple[Struck, ...], page: Page, count: int) -> list[Struck]:
    first = bisect_left(struck, page.starts[count], key=attrgetter("onset"))
    last = bisect_left(struck, page.starts[count + 1], key=attrgetter("onset"))
    return list(struck[first:last])


def _length(page: Page, count: int) -> object:
    return page.starts[count + 1] - page.starts[count]


def _repeated(page: Page) -> Iterator[tuple[int, int]]:
    """Yield each measure under a repeat sign, and how many bars the sign repeats."""
    size = 0
    for count, measure in enumerate(page.measures):
        for item in measure.items:
            for sign in item.element.iterfind("measure-style/measure-repeat"):
                starts = sign.get("type") == "start"
                size = max(whole(sign.text) or 1, 1) if starts else 0
        if size:
            yield count, size
