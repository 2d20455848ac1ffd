import re
from functools import cache
from pathlib import Path

import pytest
from makers.profiles import spread
from oracles.engraved_boxes import Ink, inks
from oracles.engraved_reader import size, staff_edges
from oracles.inked import fills, sides
from oracles.poppler import poppler

from harmonise.lessons.sheet_lines import engraved
from harmonise.lessons.sheet_pages import (
    MOST_STAVES,
    USUAL,
    Copies,
    copies_of,
    footed,
)
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.notation.formats import read_tune
from harmonise.notation.paper.blocks import (
    Block,
    Music,
    NewPage,
    Page,
    Paper,
    Picture,
    System,
    Table,
    Whole,
    music_look,
)
from harmonise.notation.paper.typesetting import typeset
from harmonise.theory.arrangement import Voice

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
PLAIN = Page()
NAMES = [path.stem for path in TUNES]

GRAND = [
    kind
    for kind in SheetKind
    if kind
    not in (
        SheetKind.TRANSPOSE,
        SheetKind.KEYBOARDS,
        SheetKind.SYMBOLS,
        SheetKind.HEAR,
        SheetKind.AURAL,
    )
]
"""Kinds whose music stands on grand staves."""

every_tune = pytest.mark.parametrize("name", NAMES)
# Questions by ear are no music on paper; they have tests of their own.
KINDS = [kind for kind in SheetKind if kind is not SheetKind.AURAL]
every_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.value)


@cache
def sheet_of(name: str, kind: SheetKind) -> Worksheet:
    return make_sheets(read_tune(TUNES[NAMES.index(name)]), SheetOrder(kind))[0]


@cache
def copies(name: str, kind: SheetKind, page: Page = PLAIN) -> Copies:
    return copies_of(sheet_of(name, kind), page)


def pages(blocks: tuple[Block, ...]) -> list[list[Block]]:
    """Return the blocks of each page."""
    found: list[list[Block]] = [[]]
    for block in blocks:
        if isinstance(block, NewPage):
            found.append([])
        else:
            found[-1].append(block)
    return found


def bars(page: list[Block]) -> list[tuple[str, ...]]:
    return [block.system.bars for block in page if isinstance(block, Music)]


EVEN = (SheetKind.LABELS, SheetKind.ACCOMPANY, SheetKind.CHOOSE, SheetKind.FAULTS)


def evenly(sheet: Worksheet, lines: list[tuple[str, ...]]) -> bool:
    """Whether no line has twice as many full bars as another, pickups aside."""
    tune = sheet.pieces[0].arrangement.tune
    full = [sum(not tune.bars[int(bar[1:])].offset for bar in line) for line in lines]
    return max(full) < 2 * min(full)


@every_tune
@every_kind
def test_sheet_and_key_have_the_same_lines_on_the_same_pages(
    name: str, kind: SheetKind
) -> None:
    both = copies(name, kind)
    sheet, answers = pages(both.sheet), pages(both.answers)
    # A few lines for the marker stand below, many on pages of their own.
    few = isinstance(answers[len(sheet) - 1][-1], Whole)
    assert few == (len(answers) == len(sheet)) == (kind is SheetKind.FAULTS)
    for one, two in zip(sheet, answers, strict=False):
        assert bars(one) == bars(two)
        both_kinds = [type(block) for block in two if not isinstance(block, Whole)]
        assert [type(block) for block in one] == both_kinds
        assert kind not in EVEN or evenly(sheet_of(name, kind), bars(one))
        margins = [b.margin for b in one if isinstance(b, Music | Picture)]
        assert margins == [b.margin for b in two if isinstance(b, Music | Picture)]


@every_tune
@every_kind
def test_marks_at_the_edge_add_up_to_the_total(name: str, kind: SheetKind) -> None:
    sheet, blocks = sheet_of(name, kind), copies(name, kind).sheet
    told = [b.margin for b in blocks if isinstance(b, Music | Picture)]
    told += [row[-1] for b in blocks if isinstance(b, Table) for row in b.rows]
    marks = [int(text.strip("/ ")) for text in told if text.strip("/ ").isdigit()]
    assert sum(marks) == sheet.marks


PAGES = {
    "usual": PLAIN,
    "letter": Page(Paper.LETTER),
    "large": Page(large_print=True),
    "large letter": Page(Paper.LETTER, large_print=True),
}


@every_tune
@every_kind
@pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
def test_a_page_holds_five_grand_staves_and_never_runs_over(
    name: str, kind: SheetKind, page: Page
) -> None:
    both = copies(name, kind, page)
    if kind in GRAND:
        assert all(len(bars(own)) <= MOST_STAVES for own in pages(both.answers))
    count = len(pages(both.sheet))
    printed, solved = typeset(both.sheet, page), typeset(both.answers, page)
    sheet = poppler(printed, "-layout").split("\f")
    answers = poppler(solved, "-layout").split("\f")
    assert len(sheet) == count + 1
    few = kind is SheetKind.FAULTS
    told = [at for at, text in enumerate(answers) if "For the marker" in text]
    assert told[0] in ((count - 1, count) if few else (count,))
    assert len(answers) == len(pages(both.answers)) + (few and told[0] == count) + 1
    # Of what is said on several pages none is a mere rest; the slips are one list.
    filled = fills(solved)[count:]
    assert len(filled) < 2 or min(filled) > 0.3
    (listed,) = (text.split("Usual slips")[1] for text in answers if "slips" in text)
    assert listed.count("– ") == len(kind.row.slips.splitlines())
    # No line is left alone, and what is one page is a good half full.
    # In large print two lines of a sheet with boxes may be too much for a page.
    for own in pages(both.sheet) if count > 1 and not page.large_print else ():
        lines = sum(isinstance(block, Music | Picture) for block in own)
        assert lines != 1 or any(isinstance(block, Table) for block in own)
    assert page.large_print or all(
        any(isinstance(block, Music) for block in own)
        for own in pages(both.sheet)
        if any(isinstance(block, Table) for block in own)
    )
    assert min(fills(printed)) > 0.33
    assert all(min(free) > 15 for free in (*sides(printed), *sides(solved)))
    if count == 1:
        boxes = poppler(printed, "-bbox")
        height = re.search(r'<page width="\S+" height="(\S+)"', boxes)
        total = re.search(r'yMax="(\S+)">Total<', boxes)
        assert height
        assert total
        assert float(total[1]) > 0.6 * float(height[1])


@every_tune
def test_what_the_pupil_writes_is_not_printed_and_all_else_is(name: str) -> None:
    look = music_look(Page(), margin_text=True, staff=USUAL.staff)
    kinds = (
        SheetKind.VOICES,
        SheetKind.ACCOMPANY,
        SheetKind.CHOOSE,
        SheetKind.TRANSPOSE,
    )
    for kind in spread(kinds, 1, NAMES.index(name)):
        for piece in sheet_of(name, kind).pieces:
            blank, solved = engraved(piece, look)
            asked = {f"n{number}" for number in piece.hidden}
            every = {f"n{n}" for n in range(len(piece.arrangement.notes))}
            assert heads(blank) == every - asked
            assert heads(solved) == every


def heads(systems: tuple[System, ...]) -> set[str]:
    """Return the ids of the notes that have a head on the page."""
    svg = "".join(system.svg for system in systems)
    found = re.findall(
        r'<g id="(n\d+)[^"]*" class="note">(?:(?!class="note").)*?class="notehead"',
        svg,
        re.DOTALL,
    )
    return set(found)


def test_the_key_of_choices_tells_every_chord_and_every_reason() -> None:
    sheet = sheet_of("old_hundredth", SheetKind.CHOOSE)
    copies = copies_of(sheet, Page())
    cells = {
        cell.replace("♯", "#").replace("♭", "b")
        for block in copies.answers
        if isinstance(block, Table)
        for row in block.rows
        for cell in row
    }
    for item in sheet.items:
        first, *others = item.answers
        assert {first.text, first.reason} <= cells
        assert {f"or {other.text}" for other in others} <= cells


def test_a_staff_is_eight_millimetres_high() -> None:
    sheet = sheet_of("morning_steps", SheetKind.ACCOMPANY)
    (first, *_) = [b for b in copies_of(sheet, Page()).sheet if isinstance(b, Music)]
    top, bottom, *_ = staff_edges(first.system)
    width, _ = size(first.system)
    assert (bottom - top) * first.system.width / width == pytest.approx(8, abs=0.05)


def test_seven_keyboards_to_shade_are_one_page() -> None:
    sheet = sheet_of("greensleeves", SheetKind.KEYBOARDS)
    assert len(sheet.diagrams) == 7
    (page,) = pages(copies("greensleeves", SheetKind.KEYBOARDS).sheet)
    assert sum(isinstance(block, Picture) for block in page) == 4


@every_kind
def test_the_same_sheet_is_the_same_file_twice(kind: SheetKind) -> None:
    made = []
    for _ in range(2):
        sheet = make_sheets(read_tune(TUNES[0]), SheetOrder(kind))[0]
        copies = copies_of(sheet, Page())
        made.append(
            (typeset(copies.sheet, footed(Page(), sheet)), typeset(copies.answers))
        )
    assert made[0] == made[1]


@every_kind
def test_the_text_of_sheet_and_key_can_be_read(kind: SheetKind) -> None:
    sheet = sheet_of("kitchen_clock", kind)
    copies = copies_of(sheet, Page())
    blank = poppler(typeset(copies.sheet, footed(Page(), sheet)), "-layout")
    full = poppler(
        typeset(copies.answers, footed(Page(), sheet, answers=True)), "-layout"
    )
    for word in ("Name", "Class", "Date", "Mark", "Kitchen Clock", sheet.footer):
        assert word in blank
    assert f"Total/{sheet.marks}" in "".join(blank.split())
    assert f"{sheet.footer} · answers" in full
    assert "Usual slips" in full
    assert "Usual slips" not in blank
    assert sheet.instruction in " ".join(blank.split())


def test_the_planted_faults_are_told_in_the_key_alone() -> None:
    sheet = sheet_of("kitchen_clock", SheetKind.FAULTS)
    copies = copies_of(sheet, Page())
    blank = " ".join(poppler(typeset(copies.sheet), "-layout").split())
    full = " ".join(poppler(typeset(copies.answers), "-layout").split())
    for number, fault in enumerate(sheet.planted):
        told = f"{fault.name[:1].upper()}{fault.name[1:]}."
        assert told in full
        assert (told in blank) == (number == 0)


def test_nothing_is_told_by_colour() -> None:
    for kind in SheetKind:
        for block in copies("kitchen_clock", kind).answers:
            if isinstance(block, Music | Picture):
                svg = block.system.svg if isinstance(block, Music) else block.svg
                colours = set(re.findall(r'(?:fill|stroke|color)="([^"]+)"', svg))
                assert colours <= {
                    "black",
                    "white",
                    "none",
                    "currentColor",
                    "url(#hatching)",
                }


def test_tune_notes_stand_on_every_sheet_that_gives_the_tune() -> None:
    for kind in (SheetKind.ACCOMPANY, SheetKind.CHOOSE):
        piece = sheet_of("morning_steps", kind).pieces[0]
        look = music_look(Page(), margin_text=True, staff=USUAL.staff)
        shown = heads(engraved(piece, look)[0])
        notes = piece.arrangement.notes
        tune = {f"n{n}" for n, note in enumerate(notes) if note.voice is Voice.TUNE}
        assert tune <= shown


@every_tune
@every_kind
def test_no_box_covers_another(name: str, kind: SheetKind) -> None:
    for block in copies(name, kind).answers:
        if not isinstance(block, Music):
            continue
        found = [tuple(map(int, row)) for row in FRAMES.findall(block.system.svg)]
        for number, (x, y, height, width) in enumerate(found):
            for left, top, tall, wide in found[number + 1 :]:
                beside = left + wide <= x or x + width <= left
                apart = top + tall <= y or y + height <= top
                assert beside or apart
        # None is cut by the edge of the picture.
        edge = float(re.findall(r'viewBox="0 -?\d+ (\d+)', block.system.svg)[-1])
        (indent,) = re.findall(
            r'"page-margin" transform="translate\((\d+)', block.system.svg
        )
        assert all(int(indent) + x + wide <= edge for x, _, _, wide in found)
        # Nor does one lie over a stem, a beam, a head or an accidental.
        drawn = inks(block.system) if kind in BOXED else []
        for x, y, height, width in found:
            frame = Ink("frame", "", x, x + width, y, y + height)
            assert not any(frame.strikes(ink) for ink in drawn)


BOXED = (
    SheetKind.LABELS,
    SheetKind.CHOOSE,
    SheetKind.SYMBOLS,
    SheetKind.HEAR,
)

FRAMES = re.compile(
    r'<rect stroke-width="\d+" fill-opacity="0" x="(\d+)" y="(-?\d+)" '
    r'height="(\d+)" width="(\d+)"'
)


@pytest.mark.parametrize("kind", BOXED, ids=lambda kind: kind.value)
def test_a_box_is_eighteen_by_ten_millimetres(kind: SheetKind) -> None:
    for name in ("ferry_steps", "morning_steps", "water_of_tyne"):
        for block in copies(name, kind).sheet:
            if not isinstance(block, Music):
                continue
            views = re.findall(r'viewBox="0 -?\d+ (\d+)', block.system.svg)
            unit = int(views[-1]) / block.system.width
            for *_, high, wide in FRAMES.findall(block.system.svg):
                assert int(high) / unit >= 10
                assert int(wide) / unit >= 18


def test_there_is_a_box_for_every_answer() -> None:
    for kind, boxes in ((SheetKind.CHOOSE, 1), (SheetKind.LABELS, 4)):
        sheet = sheet_of("morning_steps", kind)
        blocks = copies_of(sheet, Page()).sheet
        svg = "".join(b.system.svg for b in blocks if isinstance(b, Music))
        assert len(FRAMES.findall(svg)) == boxes * len(sheet.items)


def test_boxes_stand_in_rows_and_are_of_one_size() -> None:
    for name in spread(NAMES, 5):
        for block in copies(name, SheetKind.LABELS).answers:
            if not isinstance(block, Music):
                continue
            rows = [tuple(map(int, row)) for row in FRAMES.findall(block.system.svg)]
            columns = {
                x: sorted(y for left, y, *_ in rows if left == x) for x, *_ in rows
            }
            assert len({(height, width) for *_, height, width in rows}) <= 1
            assert len(set(map(tuple, columns.values()))) <= 1
