"""Support, core and stretch: three depths of one sheet with one key."""

from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner
from makers.profiles import spread
from oracles.full_marks import assert_full
from oracles.poppler import poppler

from harmonise.cli.worksheet import worksheet
from harmonise.lessons.marker_notes import fault_rows
from harmonise.lessons.sheet_pages import copies_alike, copies_of
from harmonise.lessons.task_files import format_task_file
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.marking.given_out import TaskShelf
from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import read_points
from harmonise.notation.formats import read_tune
from harmonise.notation.paper.blocks import Block, Music, NewPage, Page, Picture
from harmonise.notation.paper.typesetting import typeset

TUNES = Path(__file__).parents[2] / "tunes"
every_kind = pytest.mark.parametrize("kind", SheetKind, ids=lambda kind: kind.value)


@cache
def depths(kind: SheetKind, name: str = "water_of_tyne") -> dict[Depth, Worksheet]:
    tune = read_tune(TUNES / f"{name}.txt")
    order = SheetOrder(kind, bars=kind.row.bars)
    return {depth: make_sheets(tune, order._replace(depth=depth))[0] for depth in Depth}


@every_kind
def test_support_asks_for_half_and_stretch_for_all(kind: SheetKind) -> None:
    support, core, stretch = depths(kind).values()
    asked = [
        sum(item.marks > 0 for item in sheet.items)
        for sheet in (support, core, stretch)
    ]
    places = sum(not item.stays for item in core.items)
    assert asked[0] == (asked[1] + 1) // 2
    assert asked[2] == places
    assert support.marks < core.marks <= stretch.marks


@every_kind
def test_depths_share_places_answers_and_music(kind: SheetKind) -> None:
    support, core, stretch = depths(kind).values()
    for other in (support, stretch):
        assert [item.answers for item in other.items] == [
            item.answers for item in core.items
        ]
        assert [piece.arrangement for piece in other.pieces] == [
            piece.arrangement for piece in core.pieces
        ]
        assert [d._replace(given=False) for d in other.diagrams] == [
            d._replace(given=False) for d in core.diagrams
        ]


@every_kind
def test_what_is_given_is_not_hidden_at_any_depth(kind: SheetKind) -> None:
    for sheet in depths(kind).values():
        for number, piece in enumerate(sheet.pieces):
            given = {
                item.onset
                for item in sheet.items
                if item.piece == number and not item.marks and not item.stays
            }
            notes = piece.arrangement.notes
            assert not given & {notes[at].onset for at in piece.hidden}
            open_boxes = {
                box.onset for box in piece.boxes if not box.given and not box.key_only
            }
            assert not given & open_boxes or kind is SheetKind.LABELS


NO_MUSIC = (SheetKind.FAULTS, SheetKind.KEYBOARDS, SheetKind.AURAL)
MUSIC = [kind for kind in SheetKind if kind not in NO_MUSIC]


@pytest.mark.parametrize("kind", MUSIC, ids=lambda kind: kind.value)
@pytest.mark.parametrize("depth", [Depth.SUPPORT, Depth.STRETCH])
def test_every_depth_is_marked_by_itself(kind: SheetKind, depth: Depth) -> None:
    sheet = depths(kind)[depth]
    for answers in (True, False):
        data = format_task_file(sheet, answers=answers)
        shelf = TaskShelf(read_points())
        shelf.add_works([data])
        task = shelf.get(data).task
        assert task
        assert task.marks == sheet.marks
        done = mark(parse_script(data, task.model.tune), task)
        if answers:
            assert_full(done)
        else:
            assert done.got == 0


def test_a_list_of_faults_tells_those_that_are_given() -> None:
    support, core, stretch = (
        fault_rows(sheet)[0] for sheet in depths(SheetKind.FAULTS).values()
    )
    told = [[bool(row[2].strip()) for row in rows[1:]] for rows in (support, core)]
    assert told == [
        [True, False, True, False, True],
        [True, False, False, False, False],
    ]
    assert [row[0] for row in stretch[1:]] == ["1", "2", "3", "4", "5"]


def test_all_depths_come_with_one_key(tmp_path: Path) -> None:
    target = tmp_path / "sheet.musicxml"
    words = ["--kind", "choose", "--depth", "all", "-o", str(target)]
    done = CliRunner().invoke(worksheet, [str(TUNES / "water_of_tyne.txt"), *words])
    assert done.exit_code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "sheet-A-answers.musicxml",
        "sheet-A-core.musicxml",
        "sheet-A-stretch.musicxml",
        "sheet-A-support.musicxml",
    ]


LINES_DIFFER = "five_bar_gate"
"""A tune whose depths have other lines where each is set by itself."""


def lines(blocks: tuple[Block, ...]) -> list[tuple[str, ...] | type[Block]]:
    """Return the bars of each line, and where a new page begins, up to the notes."""
    return [
        block.system.bars if isinstance(block, Music) else type(block)
        for block in blocks
        if isinstance(block, Music | Picture | NewPage)
    ]


@every_kind
def test_depths_and_their_key_can_be_told_line_by_line(kind: SheetKind) -> None:
    sheets = tuple(depths(kind, LINES_DIFFER).values())
    for page in spread(
        (Page(), Page(large_print=True)), 1, list(SheetKind).index(kind)
    ):
        copies = copies_alike(sheets, page)
        one, *others = (lines(each.sheet) for each in copies)
        assert all(other == one for other in others)
        assert all(lines(each.answers)[: len(one)] == one for each in copies)
        for sheet, each in zip(sheets, copies, strict=True):
            pages = poppler(typeset(each.sheet, page)).count("\f")
            assert pages == one.count(NewPage) + 1, sheet.order.depth


def test_alone_a_depth_may_have_lines_of_its_own() -> None:
    sheets = depths(SheetKind.CHOOSE, LINES_DIFFER).values()
    alone = [copies_of(sheet, Page()) for sheet in sheets]
    assert len({str(lines(each.sheet)) for each in alone}) > 1
