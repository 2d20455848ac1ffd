"""Faults planted by code that shares nothing with the rules are found by name.

The table of mutations says that no fault gets lost which the rules can find, because it
plants faults where they find them. Here a page is changed as text, and the fault is
expected from a table made by hand.
"""

from collections import Counter
from functools import cache

import pytest
from makers.outside_works import PAGES, Slip, as_musicxml, slips

from harmonise.marking.mark import mark
from harmonise.marking.marked import Marking
from harmonise.marking.scripts import parse_script
from harmonise.marking.task import Task
from harmonise.marking.tasks import task_of_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import Style

SLIPS = list(slips())
DOORS = ("text", "MusicXML")


@cache
def task_of(name: str) -> Task:
    return task_of_tune(parse_tune_text(PAGES[name].tune)[0], Style(1))


def marked(name: str, lines: tuple[str, ...], door: str) -> Marking:
    page = PAGES[name]
    text = "\n".join(lines) if door == "text" else as_musicxml(page, lines)
    task = task_of(name)
    return mark(parse_script(text.encode(), task.model.tune), task)


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize("name", PAGES)
def test_the_right_page_gets_full_marks(name: str, door: str) -> None:
    done = marked(name, PAGES[name].lines, door)
    assert [own for own in done.lines if own.number] == []
    assert done.got == done.worth


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize(
    "slip", SLIPS, ids=lambda own: f"{own.page} {own.bar} {own.code}"
)
def test_a_slip_is_told_by_its_name_in_its_bar(slip: Slip, door: str) -> None:
    done = marked(slip.page, slip.lines, door)
    told = {(own.kind.code, own.place.bar) for own in done.lines if own.number}
    assert told == {(slip.code, slip.bar)}
    assert done.got < done.worth


def test_chords_where_the_tune_is_silent_hang_under_no_note() -> None:
    (name, *_) = PAGES
    lines = ("1: Am | E4 A4 C5 | A2", "5: A3: Am | C4 E4 A4 | A2", "5: A")
    done = marked(name, lines, "text")
    assert 0 < done.got < done.worth


def test_every_kind_is_planted_often_enough() -> None:
    counted = Counter(slip.code for slip in SLIPS)
    assert sum(counted.values()) > 100
    assert {"M01", "M02", "M03", "M06", "M08", "M11", "M12", "M16"} <= set(counted)
