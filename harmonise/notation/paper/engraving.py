"""Engraving: MusicXML in, one picture for every line of music out.

verovio engraves; nothing of it is seen outside this module and `patches`. Every line
("system") is an SVG of its own, so that a page can flow around lines and never cuts
one. An SVG needs nothing from outside: no stylesheet, no web address, no fonts but
those of the folder `fonts` (or their like: Times has the same widths). Notes and bars
keep the ids that they have in the MusicXML.

A score is loaded three times: as MusicXML; then as MEI in a single endless line, whose
bars are measured; then with the breaks that follow. A page that redraws the same tune
knows the breaks and spares the second time. Lengths are millimetres on paper.
"""

import re
import threading
from pathlib import Path
from typing import Any, NamedTuple

from harmonise.errors import LibraryError, OutputError
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import Look, System
from harmonise.notation.paper.clearing import clear
from harmonise.notation.paper.patches import (
    BRACE,
    UNIT,
    EndlessLine,
    break_lines,
    dress,
    line_starts,
    measure,
    polish,
    put_in_order,
    share_notes,
)
from harmonise.notation.paper.syllables import clear_words
from harmonise.notation.score.score_plan import Plan

PLAIN = Look()

_TEXT = 4.5
"""Usual size of text, in half staff spaces."""
_SEED = 1
"""verovio makes up ids for what has none; a fixed seed makes the same ones."""


def engrave_plan(plan: Plan, look: Look = PLAIN) -> tuple[System, ...]:
    """Return the lines of a planned score, engraved.

    Raises:
        LibraryError: If verovio is not installed.
        OutputError: If it cannot engrave the score.
    """
    return engrave(format_plan(plan), look, leaders=finger_leaders(plan))


class DraftScore(NamedTuple):
    """A planned score before its lines are broken.

    Attributes:
        score: The score as MEI, mended.
        endless: How wide its bars are, in verovio's measure.
    """

    score: str
    endless: EndlessLine

    def starts(self, look: Look) -> tuple[str, ...]:
        """Return the ids of the bars that its lines begin with in a look."""
        return line_starts(self.endless, look.width / _scale(look))

    def height(self, look: Look) -> float:
        """Return how high a line may be at most, in millimetres."""
        return self.endless.height * _scale(look)

    def engraved(self, look: Look, starts: tuple[str, ...]) -> tuple[System, ...]:
        """Return its lines, engraved.

        Args:
            look: As it was drafted, in any size.
            starts: Ids of the bars that the lines begin with.

        Raises:
            OutputError: If it cannot be engraved.
        """
        return _drawn(_toolkit(), self.score, look, starts)


def draft_score(
    musicxml: bytes, look: Look, leaders: tuple[tuple[str, str], ...]
) -> DraftScore:
    """Return a score, measured but not yet broken into lines.

    Args:
        musicxml: A score as `format_musicxml` makes it.
        look: Width and sizes.
        leaders: As `finger_leaders` finds them.

    Raises:
        LibraryError: If verovio is not installed.
        OutputError: If it cannot engrave the score.
    """
    toolkit = _toolkit()
    score = _dressed(toolkit, musicxml, look, leaders)
    return DraftScore(score, _measured(toolkit, score, look))


def finger_leaders(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Return each fingered head's id and the first such one's of its hand and moment.

    verovio stacks the fingers of a chord in order only if they hang on one note.
    """
    leaders = []
    first: dict[tuple[int, str], str] = {}
    for sign in plan.signs():
        for note in sign.notes:
            if note.finger:
                place = (sign.start, sign.staff)
                leaders.append((note.name, first.setdefault(place, note.name)))
    return tuple(leaders)


def engrave(
    musicxml: bytes,
    look: Look = PLAIN,
    starts: tuple[str, ...] = (),
    leaders: tuple[tuple[str, str], ...] = (),
) -> tuple[System, ...]:
    """Return the lines of a score, engraved.

    A line ends where the score has `<print new-system="yes">` or `new-page`; one that
    is too long for the width is broken again at a bar line, near its middle.

    Args:
        musicxml: A score as `format_musicxml` makes it.
        look: Width and sizes.
        starts: Ids of the bars that lines begin with, where they are known: from the
            same tune with other chords, say. Nothing is measured then.
        leaders: As `finger_leaders` finds them.

    Returns:
        Lines in order; the same score, look and starts give the same text.

    Raises:
        LibraryError: If verovio is not installed.
        OutputError: If it cannot engrave the score.
    """
    toolkit = _toolkit()
    score = _dressed(toolkit, musicxml, look, leaders)
    if not starts:
        starts = DraftScore(score, _measured(toolkit, score, look)).starts(look)
    return _drawn(toolkit, score, look, starts)


def _drawn(
    toolkit: Any,  # noqa: ANN401
    score: str,
    look: Look,
    starts: tuple[str, ...],
) -> tuple[System, ...]:
    """Return the lines of a score in MEI, engraved."""
    _load(toolkit, break_lines(score, starts), look, endless=False)
    pages = range(1, int(toolkit.getPageCount()) + 1)
    return tuple(_system(str(toolkit.renderToSVG(page)), look) for page in pages)


class Excerpt(NamedTuple):
    """One line of a score, by itself.

    Attributes:
        musicxml: The line with what stands beside it, as a score.
        starts: Ids of the bars that its lines begin with.
        place: Which of those lines is meant.
        leaders: As `finger_leaders` finds them, by the names in the excerpt.
        verses: Whether verses are numbered in it, as they are where they begin.
    """

    musicxml: str
    starts: tuple[str, ...]
    place: int
    leaders: tuple[tuple[str, str], ...]
    verses: bool


def engrave_line(excerpt: Excerpt, look: Look = PLAIN) -> System:
    """Return one line of a score, engraved.

    Raises:
        LibraryError: If verovio is not installed.
        OutputError: If it cannot engrave the line.
    """
    toolkit = _toolkit()
    score = _dressed(
        toolkit,
        excerpt.musicxml.encode(),
        look,
        excerpt.leaders,
        verses=excerpt.verses,
    )
    _load(toolkit, break_lines(score, excerpt.starts), look, endless=False)
    if int(toolkit.getPageCount()) != len(excerpt.starts):
        raise OutputError("The score cannot be engraved.")
    return _system(str(toolkit.renderToSVG(excerpt.place + 1)), look)


def lines_begin(
    musicxml: bytes, look: Look = PLAIN, leaders: tuple[tuple[str, str], ...] = ()
) -> tuple[str, ...]:
    """Return the ids of the bars that the lines of a score begin with.

    Args:
        musicxml: A score as `format_musicxml` makes it.
        look: Width and sizes.
        leaders: As `finger_leaders` finds them.

    Raises:
        LibraryError: If verovio is not installed.
        OutputError: If it cannot engrave the score.
    """
    return draft_score(musicxml, look, leaders).starts(look)


def _dressed(
    toolkit: Any,  # noqa: ANN401
    musicxml: bytes,
    look: Look,
    leaders: tuple[tuple[str, str], ...],
    *,
    verses: bool = True,
) -> str:
    """Return a score as MEI, mended before it is engraved."""
    _load(toolkit, musicxml.decode(), look, endless=True)
    score = dress(str(toolkit.getMEI({})), bold=look.bold, verses=verses)
    return share_notes(score, dict(leaders)) if leaders else score


def _measured(toolkit: Any, score: str, look: Look) -> EndlessLine:  # noqa: ANN401
    """Return the bars of a score, measured in one endless line."""
    _load(toolkit, score, look, endless=True)
    return measure(score, str(toolkit.renderToSVG(1)))


def _scale(look: Look) -> float:
    """Return the millimetres that one of verovio's units becomes."""
    return look.staff / (8 * UNIT)


_RAGGED, _STRETCHED = 0.4, 0.2
"""How full a last line is at least that fills the page, as a part of its width."""
_OPTIONS = {
    "unit": UNIT,
    "lyricTopMinMargin": 3,
    "pageHeight": 60000,
    "pageMarginTop": 4,
    "pageMarginBottom": 4,
    "pageMarginLeft": BRACE,
    "pageMarginRight": 0,
    "adjustPageHeight": True,
    "header": "none",
    "footer": "none",
    "mnumInterval": 0,
    "svgViewBox": True,
    "svgFormatRaw": True,
    "smuflTextFont": "none",
    "fontTextLiberation": True,
    "xmlIdSeed": _SEED,
}
"""How verovio is set up, whatever the look."""


def _load(toolkit: Any, score: str, look: Look, *, endless: bool) -> None:  # noqa: ANN401
    """Load MusicXML or MEI, as one endless line or with the breaks that it has."""
    options = {
        "lyricSize": _TEXT * look.text,
        "pageWidth": round(look.width / _scale(look)),
        "breaks": "none" if endless else "encoded",
        "adjustPageWidth": endless,
        "minLastJustification": _RAGGED if look.ragged else _STRETCHED,
    }
    toolkit.setOptions({**_OPTIONS, **options})
    toolkit.resetXmlIdSeed(_SEED)
    if not toolkit.loadData(score):
        raise OutputError("The score cannot be engraved.")


class _Kept(threading.local):
    """What a thread keeps: the toolkit works in the thread that made it."""

    toolkit: Any = None


_kept = _Kept()


def _toolkit() -> Any:  # noqa: ANN401 - verovio has no types
    """Return this thread's toolkit: a new one would read the music font again.

    Raises:
        LibraryError: If verovio is not installed.
    """
    try:
        import verovio  # noqa: PLC0415 - slow to load, and only paper needs it
    except ImportError as error:
        raise LibraryError("Engraving needs", "verovio") from error
    if _kept.toolkit is None:
        verovio.enableLog(verovio.LOG_OFF)
        # Only in the thread that imported verovio does it find its fonts by itself.
        _kept.toolkit = verovio.toolkit(False)  # noqa: FBT003 - it takes no name
        folder = Path(verovio.__file__).with_name("data")
        _kept.toolkit.setResourcePath(str(folder))
    return _kept.toolkit


def _system(svg: str, look: Look) -> System:
    """Return a page of verovio's as a line that stands by itself."""
    svg = clear_words(clear(svg))
    box = re.search(r'viewBox="0 0 (\d+) (\d+)"', svg)
    if not box:
        raise OutputError("The score cannot be engraved.")
    width, height = (round(int(side) * _scale(look), 2) for side in box.groups())
    bars = re.findall(r'<g id="([^"]*)" class="measure">', svg)
    size = round(_TEXT * UNIT * 10 * look.text)
    if 'class="fing"' in svg:
        svg = put_in_order(svg)
    drawn = polish(svg, size, bold=look.bold)
    return System(drawn, width, height, tuple(bars))
