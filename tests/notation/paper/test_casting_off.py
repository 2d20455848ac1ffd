"""Where lines and pages end: even lines, good turns, nobody alone, short ones large."""

import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import pytest
from makers.forms import formed
from makers.profiles import spread
from oracles.engraved_reader import size, staff_edges
from oracles.poppler import poppler

from harmonise import arrange, read_tune
from harmonise.form.plan import Introduction, SongForm
from harmonise.notation.outputs import Output, format_output
from harmonise.notation.paper.blocks import (
    Music,
    NewPage,
    Page,
    Paper,
    Title,
    page_size,
)
from harmonise.notation.paper.score_sheet import score_blocks
from harmonise.theory.arrangement import Arrangement, Hand, Labels, Style

TUNES = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))
NAMES = [path.stem for path in TUNES]
PAGES = [
    Page(paper, landscape=landscape, large_print=large)
    for paper in Paper
    for landscape in (False, True)
    for large in (False, True)
]
"""Four sizes on two papers."""
FULL = Style(level=4, fingering=True, labels=Labels.WORDS)
POINT = 25.4 / 72
LEGEND = 15
"""Millimetres that the legend of labels needs at most, in large print."""


def pages_of(done: Arrangement, page: Page) -> list[list[Music]]:
    """Return the lines of music on each page, as they were cast off."""
    pages: list[list[Music]] = [[]]
    for block in score_blocks(done, page):
        if isinstance(block, NewPage):
            pages.append([])
        elif isinstance(block, Music):
            pages[-1].append(block)
    return pages


def page_count(done: Arrangement, page: Page) -> int:
    """Return how many pages the PDF has, counted by another program."""
    pdf = format_output(done, ".pdf", Output(page=page))[0]
    return int(re.findall(r"Pages: +(\d+)", poppler(pdf, program="pdfinfo"))[0])


def sections_of(done: Arrangement, pages: Sequence[Sequence[Music]]) -> list[list[int]]:
    """Return the full bars of each line, section by section."""
    bars = done.tune.bars
    sections: list[list[int]] = []
    for line in (line for page in pages for line in page):
        places = [int(name.removeprefix("m")) for name in line.system.bars]
        last, first = bars[places[0] - 1], bars[places[0]]
        signs = (last.double, last.repeat_end > 1, first.repeat_start)
        if not sections or any(signs) or first.section or first.ending:
            sections.append([])
        sections[-1].append(sum(not bars[at].offset for at in places))
    return sections


@pytest.mark.parametrize("name", NAMES)
def test_pages_are_as_cast_off_and_no_line_stands_alone(name: str) -> None:
    done = arrange(read_tune(TUNES[NAMES.index(name)]), FULL)
    for page in spread(PAGES, 2, NAMES.index(name)):
        pages = pages_of(done, page)
        assert page_count(done, page) == len(pages)
        heights = [line.system.height for lines in pages for line in lines]
        # It may where no page holds the last two, however small they may be set.
        room = page_size(page)[1] - 36
        least = 0.92 * usual_staff(page) / staff_of(pages[0][0])
        together = least * sum(heights[-2:]) + 4
        if len(pages) > 1 and len(heights) > 2 and together < room - LEGEND:
            assert len(pages[-1]) > 1, page
        # No page is turned that a smaller size saves: by 15 per cent, if not in large
        # print; by 8 there. Title and legend need 30 mm, in large print 40 mm.
        least *= 1 if page.large_print else 0.85 / 0.92
        needed = least * sum(heights) + 4 * (len(heights) - 1)
        assert len(pages) == 1 or needed > room - (40 if page.large_print else 30)
        for before, line in pairwise(line for lines in pages for line in lines):
            assert line.above >= 4
            assert before.system.width == line.system.width


def test_no_2_bar_line_stands_beside_a_4_bar_line() -> None:
    for at, path in enumerate(TUNES):
        done = arrange(read_tune(path), FULL)
        for page in spread(PAGES, 2, at + 1):
            sections = sections_of(done, pages_of(done, page))
            # A section of one line may be as short as an Amen.
            lines = {bars for one in sections if len(one) > 1 for bars in one}
            lines |= {max(one) for one in sections if max(one) > 2}
            assert not {2, 4} <= lines, (path, page)


AMENS = [
    ("bobby_shafto", SongForm(introduction=Introduction.TWO_BARS, amen=True)),
    ("old_hundredth", SongForm(introduction=Introduction.LAST_LINE, amen=True)),
    ("oak_and_ash", SongForm(verses=2, amen=True)),
]


@pytest.mark.parametrize(("name", "form"), AMENS)
def test_an_amen_never_stands_alone_on_a_page(name: str, form: SongForm) -> None:
    done = formed(name, form)
    for page in spread(PAGES, 3, AMENS.index((name, form))):
        pages = pages_of(done, page)
        if max(map(len, pages)) > 1:
            assert len(pages[-1]) > 1


def usual_staff(page: Page) -> float:
    """Return the height of a staff that is neither enlarged nor squeezed."""
    return 9.5 if page.large_print else 7


def staff_of(line: Music) -> float:
    """Return the height of the upper staff of a line in millimetres."""
    top, low, _, _ = staff_edges(line.system)
    return (low - top) / size(line.system)[1] * line.system.height


LINE = "C4 E G C5 | A4 F A G | G F E D | E D C - |\n"


def test_a_page_is_turned_where_a_section_ends() -> None:
    # Nine lines need two pages; a double bar after the fourth one is the best turn.
    # Without it five and four would leave the pages as full.
    text = "Key: C\n" + LINE * 3 + LINE.replace("|\n", "||\n") + LINE * 5
    pages = pages_of(arrange(read_tune(text)), Page())
    assert [len(lines) for lines in pages] == [4, 5]
    text = "Key: C\n" + LINE * 4 + LINE.replace("|\n", "||\n") + LINE * 4
    pages = pages_of(arrange(read_tune(text)), Page())
    assert [len(lines) for lines in pages] == [5, 4]


def test_a_page_is_turned_while_a_hand_rests() -> None:
    resting = LINE.replace("E D C - |", "E D C 0 |")
    for before in (3, 4, 5):
        text = "Key: C\n" + LINE * before + resting + LINE * (8 - before)
        done = arrange(read_tune(text), Style(level=1))
        pages = pages_of(done, Page())
        assert [len(lines) for lines in pages] == [before + 1, 8 - before]


def edges(pdf: bytes) -> tuple[float, float]:
    """Return top of the highest and bottom of the lowest word, in millimetres."""
    told = poppler(pdf, "-bbox")
    tops = re.findall(r'yMin="([\d.]+)"', told)
    bottoms = re.findall(r'yMax="([\d.]+)"', told)
    return min(map(float, tops)) * POINT, max(map(float, bottoms)) * POINT


@pytest.mark.parametrize("paper", Paper)
def test_a_short_tune_is_larger_in_the_upper_two_thirds(paper: Paper) -> None:
    done = arrange(read_tune("Key: C\nTitle: Short\n" + LINE * 2))
    page = Page(paper)
    ((line, _),) = pages_of(done, page)
    assert 7.5 < staff_of(line) < 8.6
    top, bottom = edges(format_output(done, ".pdf", Output(page=page))[0])
    height = 297 if paper is Paper.A4 else 279.4
    # The text of a page begins 16 mm from its top and ends 20 mm from its bottom.
    middle = 16 + (height - 16 - 20) / 3
    assert (top + bottom) / 2 == pytest.approx(middle, abs=6)
    assert top > 16 + 8


def test_a_piece_in_a_booklet_keeps_its_size_and_place() -> None:
    done = arrange(read_tune("Key: C\nTitle: Short\n" + LINE * 2))
    title, line, *_ = score_blocks(done, alone=False)
    assert isinstance(title, Title)
    assert isinstance(line, Music)
    assert title.above == 0
    assert staff_of(line) == pytest.approx(7, abs=0.05)


def test_chords_are_said_at_the_start_of_every_line_as_printed() -> None:
    # On a narrow page lines are broken where the score for editors does not break them.
    done = arrange(
        read_tune("Key: C\nC E G E | C E G - | C5 G E G | E - C -"), Style(1)
    )
    page = Page(large_print=True)
    for line in (line for lines in pages_of(done, page) for line in lines):
        first_bar = line.system.svg.split('class="measure"')[1]
        assert 'class="harm"' in first_bar


def test_numerals_are_said_anew_after_a_pickup_without_a_bass() -> None:
    half = "G4 | E - C | E - G | C5 - G4 | E - {} ||"
    text = f"Key: C\nTime: 3/4\n{half.format('G')}\n{half.format('0')}\n"
    done = arrange(read_tune(text.replace("- G ||", "- ||")), Style(level=1))
    ((_, second),) = pages_of(done, Page())
    left = {note.onset for note in done.notes if note.hand is Hand.LEFT}
    bars = [int(one.removeprefix("m")) for one in second.system.bars]
    assert done.tune.bars[bars[0]].start not in left
    played = second.system.svg.split('class="measure"')[2]
    assert re.findall(r">(I)<", played) == ["I"]
