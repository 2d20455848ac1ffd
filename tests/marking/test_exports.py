"""Works that other programs wrote are marked as those that stand in our own layouts.

In CI a few pages and slips go through music21, verovio and mido; by night every
thirteenth slip does in every layout, the table is held, and LilyPond writes as well.
"""

import pytest
from makers.outside_exports import (
    HEAD,
    PROGRAMS,
    SCORES,
    TABLE,
    cases,
    exported,
    midi_by_lilypond,
    right_pages,
    rows,
    told_of,
)
from makers.outside_layouts import LAYOUTS
from makers.outside_slips import Slip
from makers.outside_table import marked_data
from makers.outside_works import PAGES, Work, right_work
from makers.profiles import PROFILE

NIGHT = PROFILE == "night"
EVERY = list(cases())
TRIED = EVERY if NIGHT else EVERY[::211]
RIGHT = list(right_pages())


@pytest.mark.parametrize(
    ("program", "layout", "page", "work"), RIGHT if NIGHT else RIGHT[::4]
)
def test_a_right_page_of_another_program_gets_full_marks(
    program: str, layout: str, page: str, work: Work
) -> None:
    done = exported(page, work, program, layout)
    assert [line.what for line in done.lines if line.number] == []
    assert done.got == done.worth


@pytest.mark.parametrize(("program", "layout", "slip"), TRIED)
def test_a_slip_in_the_file_of_another_program_is_told_alone(
    program: str, layout: str, slip: Slip
) -> None:
    assert told_of(program, layout, slip) == slip.told


def test_every_program_and_layout_is_in_the_table_without_a_miss() -> None:
    head, *lines = TABLE.read_text("utf-8").splitlines()
    table = [tuple(line.split("\t")) for line in lines]
    assert tuple(head.split("\t")) == HEAD
    assert {row[:2] for row in table} == {
        (name, own) for name, (_, layouts) in PROGRAMS.items() for own in layouts
    }
    assert sum(int(row[2]) for row in table) == len(EVERY)
    assert {row[3:] for row in table} == {("100", "100")}
    if NIGHT:
        assert table == list(rows())


@pytest.mark.slow
@pytest.mark.skipif(not NIGHT, reason="LilyPond takes four seconds a page")
@pytest.mark.parametrize("layout", SCORES)
def test_a_right_page_that_lilypond_played_gets_full_marks(layout: str) -> None:
    work = right_work(PAGES["C major"])
    done = marked_data("C major", work, midi_by_lilypond(LAYOUTS[layout].write(work)))
    assert done.got == done.worth
