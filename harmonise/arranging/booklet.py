"""Booklets: the tunes of a book in one PDF, after a title page and a list of contents.

The guitarist's and the singer's booklets are made in the same way, of other sheets. A
tune stands on one page if it fits on one; one that does not begins on a new page.
"""

import re
import unicodedata
from collections.abc import Sequence
from itertools import chain
from typing import NamedTuple

from harmonise.arranging.request import TuneOrder
from harmonise.errors import OutputError
from harmonise.notation.outputs import Output, capo_of, printed_blocks
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    Block,
    Contents,
    Cover,
    NewPage,
    Page,
    Whole,
)
from harmonise.notation.paper.typesetting import typeset
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.key import Key, Mode, printed

MOST_TUNES = 1000
"""Tunes of a booklet; typesetting holds all of them in memory, about 1 MB each."""
_ABOVE = 12
"""Millimetres between a tune and the one above it."""
_ARTICLE = re.compile(r"^(the|an?) +(?=\w)")


class BookletTune(NamedTuple):
    """A tune of a booklet, in one key.

    Attributes:
        title: Its title.
        key: The key it is played in.
        note: What the contents say beside the title.
        blocks: Its sheet; the first block is its title.
    """

    title: str
    key: Key
    note: str
    blocks: tuple[Block, ...]


def booklet_tune(
    arrangement: Arrangement, name: str, page: Page, output: Output
) -> BookletTune:
    """Return a tune as it stands in a booklet.

    Args:
        arrangement: What was arranged.
        name: What a tune is called that has no title.
        page: The page of the booklet.
        output: The sheet, and how it is made.

    Raises:
        OutputError: If the page cannot say what the tune holds.
        LibraryError: If verovio is not installed.
    """
    tune = arrangement.tune
    tune = tune._replace(title=tune.title or name)
    arrangement = arrangement._replace(tune=tune)
    capo = capo_of(arrangement, output)
    note = printed(tune.key)
    if capo and capo.fret:
        note += f", capo {capo.fret}"
    blocks = tuple(printed_blocks(arrangement, page, output, alone=False))
    return BookletTune(tune.title, tune.key, note, blocks)


def in_order(tunes: Sequence[BookletTune], order: TuneOrder) -> list[BookletTune]:
    """Return the tunes of a booklet in the order that was asked for."""
    if order is TuneOrder.TITLE:
        return sorted(tunes, key=lambda tune: _by_title(tune.title))
    if order is TuneOrder.KEY:
        return sorted(tunes, key=_by_key)
    return list(tunes)


def _by_title(title: str) -> list[tuple[int, str]]:
    """Return what a title is sorted by.

    Neither accents nor an article in front count (common practice of song books), and
    numbers count as such.
    """
    letters = unicodedata.normalize("NFKD", title.casefold())
    plain = "".join(sign for sign in letters if not unicodedata.combining(sign))
    # Beside each other stand letters and digits by turns, letters first.
    parts = re.split(r"(\d+)", _ARTICLE.sub("", plain, count=1).strip())
    return [
        (int(part[:100]), "") if at % 2 else (0, part) for at, part in enumerate(parts)
    ]


def _by_key(tune: BookletTune) -> tuple[object, ...]:
    """Return what a tune is sorted by: few sharps or flats first, sharps before flats.

    Major comes before its relative minor and the modes (common practice of tutors).
    """
    signs = tune.key.fifths
    modes = list(Mode)
    place = modes.index(tune.key.mode)
    return (abs(signs), -signs, place, _by_title(tune.title))


def assert_fits(number: int) -> None:
    """Guard that so many tunes are not too many for one booklet.

    Raises:
        OutputError: If they are.
    """
    if number > MOST_TUNES:
        raise OutputError(
            f"A booklet holds {MOST_TUNES} tunes at most, and here are {number}.",
            None,
            "Arrange a part of them, or a page for each: -o NAME --file-ending pdf.",
        )


def format_booklet(
    tunes: Sequence[BookletTune], title: str, output: Output, order: TuneOrder
) -> bytes:
    """Return a booklet as a PDF.

    Args:
        tunes: At least one.
        title: Title of the booklet.
        output: The sheet and the page.
        order: The order of the tunes.

    Raises:
        OutputError: If there are too many tunes for one PDF.
        LibraryError: If typst is not installed.
    """
    assert_fits(len(tunes))
    tunes = in_order(tunes, order)
    count = "1 tune" if len(tunes) == 1 else f"{len(tunes)} tunes"
    rows = tuple((tune.title, tune.note) for tune in tunes)
    page = (output.page or A4_PAGE)._replace(title=title, footer=title)
    document: tuple[Block, ...] = (
        Cover(title, f"{count}\n{output.sheet.row.players}"),
        NewPage(),
        Contents("Contents", rows),
        NewPage(),
        *chain.from_iterable(map(_in_booklet, tunes)),
    )
    return typeset(document, page)


def _in_booklet(tune: BookletTune) -> tuple[Block, ...]:
    """Return a tune as it is set: whole, or on pages of its own if it has several."""
    if any(isinstance(block, NewPage) for block in tune.blocks):
        return (NewPage(), *tune.blocks, NewPage())
    return (Whole(tune.blocks, _ABOVE),)
