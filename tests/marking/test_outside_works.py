"""Faults planted by code that shares nothing with the rules, in every layout.

The table of mutations says that no fault gets lost which the rules can find, because it
plants faults where they find them. Here hands are laid and changed by counting letters,
and the fault is expected from a table made by hand. In CI a spread sample goes through
every layout; by night all do, and the table of figures is held.
"""

from collections import Counter

import pytest
from makers.outside_layouts import LAYOUTS
from makers.outside_table import TABLE, Case, cases, marked, rows, task_of
from makers.outside_works import PAGES, right_work
from makers.profiles import PROFILE

from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script

CASES = list(cases())
NIGHT = PROFILE == "night"
# A stride that is prime to the number of layouts comes by all of them.
TRIED = CASES if NIGHT else CASES[5::97]
PAIRS = [
    pytest.param(name, layout, id=f"{name}, {layout}")
    for number, layout in enumerate(LAYOUTS)
    for at, name in enumerate(PAGES)
    if NIGHT or (number + at) % len(PAGES) == 0
]


@pytest.mark.parametrize(("name", "layout"), PAIRS)
def test_the_right_page_gets_full_marks(name: str, layout: str) -> None:
    done = marked(name, right_work(PAGES[name]), layout)
    assert [line.what for line in done.lines if line.number] == []
    assert done.got == done.worth


@pytest.mark.parametrize("case", TRIED, ids=str)
def test_a_slip_is_told_by_its_name_in_its_bar_and_nothing_else(case: Case) -> None:
    assert case.told == case.slip.told


def test_the_sample_has_every_layout_and_nearly_every_kind() -> None:
    assert {case.layout for case in TRIED} == set(LAYOUTS)
    kinds = Counter(case.slip.kind for case in CASES)
    assert len(kinds) == 25
    assert len({case.slip.kind for case in TRIED}) > 17


def test_chords_where_the_tune_is_silent_hang_under_no_note() -> None:
    task = task_of("C major")
    lines = ("1: Am | E4 A4 C5 | A2", "5: A3: Am | C4 E4 A4 | A2", "5: A")
    script = parse_script("\n".join(lines).encode(), task.model.tune)
    done = mark(script, task)
    assert 0 < done.got < done.worth


def test_a_comment_hides_no_fault_that_costs() -> None:
    # A second C sharp under the tune's is a comment; the A that both chords share goes.
    work = right_work(PAGES["D major"])
    names = {"E4": "C#4", "A4": "E4"}
    inner = tuple(
        note._replace(name=names[note.name]) if note.at == 18 else note
        for note in work.inner
    )
    done = marked("D major", work._replace(inner=inner), "two parts")
    told = [(line.kind.code, line.place.bar, line.points) for line in done.lines]
    assert {("M18", 7, 0), ("M04", 7, 1), ("M05", 7, 0)} <= set(told)
    assert done.lost == 1


def test_the_published_table_has_every_slip_and_no_miss() -> None:
    head, *lines = TABLE.read_text("utf-8").splitlines()
    table = [line.split("\t") for line in lines]
    assert sum(int(row[2]) for row in table if row[2] != "-") == len(CASES)
    assert {tuple(row[3:]) for row in table} == {("100", "100"), ("-", "-")}
    if NIGHT:
        assert [tuple(row) for row in table] == list(rows(CASES))
    assert head.startswith("layout\tkind")
