"""What a printed document is made of: blocks, and the page that they are set on.

A document is a tuple of blocks from top to bottom. Blocks hold plain text: none of it
is ever read as markup. No line of music, drawing or table row is cut by a page end; a
heading stays with what follows.
"""

from enum import Enum
from typing import NamedTuple

from harmonise.notation.chart.sung_pieces import SungPiece


class Look(NamedTuple):
    """How music is drawn.

    Attributes:
        width: Width of a full line, in millimetres.
        staff: Height of a staff, in millimetres; 7 is usual for piano music, 8 for
            learners.
        text: Size of chord symbols, words, numerals and fingers as a multiple of what
            suits the staff.
        bold: Whether all of them are bold and upright.
        ragged: Whether a last line that is short keeps its own width.
    """

    width: float = 180
    staff: float = 7
    text: float = 1
    bold: bool = False
    ragged: bool = False


class System(NamedTuple):
    """One engraved line of music.

    Attributes:
        svg: The picture, by itself complete; text in it is text.
        width: Millimetres.
        height: Millimetres.
        bars: Ids of its bars in the MusicXML.
    """

    svg: str
    width: float
    height: float
    bars: tuple[str, ...] = ()


class Paper(Enum):
    """Sheets that printers hold: A4 (210 x 297 mm) and letter (8 1/2 x 11 in)."""

    A4 = "a4"
    LETTER = "letter"


class Page(NamedTuple):
    """The page that a document is set on.

    Attributes:
        paper: Which sheet.
        landscape: Whether it lies on its long side.
        large_print: Whether staves and text are larger, and text upright and bold.
        footer: What stands at the foot of every page, at the left, such as sheet number
            and version.
        numbers: Whether pages are numbered, at the right of the foot; a document of
            one page is not.
        title: Title of the document in the file, which readers show and speak; by
            default the first `Title` block's.
        language: Language of the text, for readers that speak.
    """

    paper: Paper = Paper.A4
    landscape: bool = False
    large_print: bool = False
    footer: str = ""
    numbers: bool = True
    title: str = ""
    language: str = "en"


A4_PAGE = Page()


class Lettering(Enum):
    """How a paragraph looks."""

    PLAIN = "plain"
    SMALL = "small"
    BOLD = "bold"
    HEADING = "heading"
    INSTRUCTION = "instruction"


class Title(NamedTuple):
    """The title at the head of a sheet, and a line under it.

    Attributes:
        text: The title.
        under: Where the tune comes from, or a subtitle; "" for none.
        by: Who made the tune, at the right over the music; "" for nobody.
        above: Millimetres left free above it.
    """

    text: str
    under: str = ""
    by: str = ""
    above: float = 0


class Cover(NamedTuple):
    """The title page of a booklet; it comes first, and a new page follows.

    Attributes:
        text: The title.
        under: Lines below it, such as how many tunes there are.
    """

    text: str
    under: str = ""


class Contents(NamedTuple):
    """The list of what follows, each with its page.

    Attributes:
        text: What stands above it.
        rows: A row for each `Title` that follows, in order: the title, and a note that
            stands beside its page, such as the key.
    """

    text: str
    rows: tuple[tuple[str, str], ...]


class Words(NamedTuple):
    """A paragraph.

    Attributes:
        text: Plain text; a line break in it is kept.
        manner: How it looks.
        margin: Short text at the right edge, such as marks; "" for none.
        keep: Whether it stays on the page of what follows; headings and instructions
            always do.
        above: Least distance from the block above, in millimetres; 0 for the usual one.
    """

    text: str
    manner: Lettering = Lettering.PLAIN
    margin: str = ""
    keep: bool = False
    above: float = 0


class Music(NamedTuple):
    """One line of music.

    Attributes:
        system: The engraved line; as wide as `music_look` says, less the margin.
        told: What readers that speak say in its place, such as "Bars 1 to 4".
        margin: Short text at the right edge, such as marks; "" for none.
        above: Least distance from the block above, in millimetres.
    """

    system: System
    told: str = "Music"
    margin: str = ""
    above: float = 4


class Picture(NamedTuple):
    """A drawing of ours, such as keyboard diagrams.

    Attributes:
        svg: The drawing, by itself complete.
        width: Millimetres.
        height: Millimetres.
        told: What readers that speak say in its place.
        margin: Short text at the right edge, such as marks; "" for none.
        above: Millimetres between it and what stands above on the page.
    """

    svg: str
    width: float
    height: float
    told: str
    margin: str = ""
    above: float = 4


class Sung(NamedTuple):
    """A line of words with chords over the syllables that they begin on.

    Attributes:
        runs: Pieces in runs; the line may be broken between two runs, but never inside
            one.
        labels: What stands before each verse, such as "1."; "" for none.
    """

    runs: tuple[tuple[SungPiece, ...], ...]
    labels: tuple[str, ...] = ("",)


class Bars(NamedTuple):
    """Rows of bars with chords in them.

    Attributes:
        rows: Rows of (text, width), widths as parts of a full bar.
        across: How many full bars fill a row.
    """

    rows: tuple[tuple[tuple[str, float], ...], ...]
    across: int = 4


class Table(NamedTuple):
    """Rows of cells, ruled.

    Attributes:
        rows: Rows of equally many cells of plain text.
        widths: Relative widths of the columns; () for as wide as their text needs.
        header: Whether the first row is a heading, repeated on every page.
        inset: Millimetres between the rules and the text.
        looser: Millimetres more than that above and below the text.
    """

    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...] = ()
    header: bool = True
    inset: float = 2
    looser: float = 0


class Blanks(NamedTuple):
    """Lines to fill in by hand, side by side: name, class, date, mark.

    Attributes:
        labels: What stands before each line.
        widths: Relative lengths of the lines; () for all alike.
    """

    labels: tuple[str, ...] = ("Name", "Class", "Date", "Mark")
    widths: tuple[float, ...] = (5, 2, 2, 2)


class Space(NamedTuple):
    """Empty height, such as room to write in.

    Attributes:
        height: Millimetres.
    """

    height: float


class NewPage(NamedTuple):
    """What follows begins on a new page."""


class Whole(NamedTuple):
    """Blocks that stand on one page, unless they are higher than one.

    Attributes:
        blocks: From top to bottom.
        above: Millimetres between them and what stands above on the page.
        between: Millimetres between two of them.
    """

    blocks: "tuple[Block, ...]"
    above: float = 4
    between: float = 4


Block = (
    Cover
    | Contents
    | Title
    | Words
    | Music
    | Picture
    | Sung
    | Bars
    | Table
    | Blanks
    | Space
    | NewPage
    | Whole
)

MARGIN = 16
"""Millimetres free at every edge of the paper."""
FOOT = 20
"""Millimetres below the text of a page, with its number."""
GAP = 4
"""Millimetres between two blocks."""
MARGIN_TEXT = 14
"""Millimetres kept at the right for margin text."""

_SIDES = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}


def page_size(page: Page) -> tuple[float, float]:
    """Return width and height of a page in millimetres."""
    width, height = _SIDES[page.paper]
    return (height, width) if page.landscape else (width, height)


def text_width(page: Page, *, margin_text: bool = False) -> float:
    """Return the width of the text of a page in millimetres.

    Args:
        page: The page.
        margin_text: Whether room is kept for text at the right, such as marks.
    """
    return page_size(page)[0] - 2 * MARGIN - (MARGIN_TEXT if margin_text else 0)


def music_look(page: Page, *, margin_text: bool = False, staff: float = 7) -> Look:
    """Return how music is engraved to fill the lines of a page.

    Args:
        page: The page.
        margin_text: Whether room is kept for text at the right, such as marks.
        staff: Height of a staff in millimetres where print is not large.
    """
    width = text_width(page, margin_text=margin_text)
    if page.large_print:
        return Look(width, staff=9.5, text=1.2, bold=True)
    return Look(width, staff)
