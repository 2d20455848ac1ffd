"""Right is right and wrong is wrong, for works that no rule had a hand in.

In CI every way to play goes over one page in turn, and a spread sample of the wrong
chords is tried; by night all are.
"""

import pytest
from makers.outside_shapes import SHAPES, WrongChord, wrong_chords
from makers.outside_table import marked
from makers.outside_works import PAGES, right_work
from makers.profiles import PROFILE

NIGHT = PROFILE == "night"
LAYOUT = "two staves, a voice a line"
PAIRS = [
    pytest.param(shape, page, id=f"{shape}, {page}")
    for number, shape in enumerate(SHAPES)
    for at, page in enumerate(PAGES)
    if NIGHT or (number + at) % len(PAGES) == 0
]
WRONG = list(wrong_chords())


@pytest.mark.parametrize(("shape", "page"), PAIRS)
def test_a_right_work_gets_full_marks_in_every_shape(shape: str, page: str) -> None:
    done = marked(page, SHAPES[shape](right_work(PAGES[page])), LAYOUT)
    assert [line.what for line in done.lines if line.points] == []
    assert done.got == done.worth


def test_thirty_shapes_are_no_two_alike() -> None:
    assert len(SHAPES) > 30
    for page in PAGES.values():
        work = right_work(page)
        changed = [shape(work) for shape in SHAPES.values()]
        assert len({done for done in changed if done != work}) > 12


@pytest.mark.parametrize("wrong", WRONG if NIGHT else WRONG[::29], ids=str)
def test_a_chord_that_does_not_go_with_the_tune_costs(wrong: WrongChord) -> None:
    done = marked(wrong.page, wrong.work, LAYOUT)
    told = [line for line in done.lines if line.points]
    assert {(line.kind.code, line.place.bar) for line in told} >= {("M13", wrong.bar)}
    assert done.praise != "Every chord is right: full marks."


def test_three_hundred_chords_are_wrong() -> None:
    assert len(WRONG) > 300
