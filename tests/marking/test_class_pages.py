"""The tables of a class on paper, read back by poppler."""

from fractions import Fraction

import pytest
from oracles.poppler import poppler

from harmonise.marking.class_pages import format_class_pdf
from harmonise.marking.register import WorkRecord
from harmonise.notation.paper.blocks import Page, Paper

PUPILS = [f"Pupil {letter}" for letter in "ABCDEFGHIJKLMNOPQRSTUVWXY"]
LOST = (
    ("M01", Fraction(2)),
    ("M02", Fraction(1)),
    ("M06", Fraction(1)),
    ("M07", Fraction(1, 2)),
)


def works(tasks: int, lost: tuple[tuple[str, Fraction], ...]) -> list[WorkRecord]:
    """Return the works of a class of 25, all with the same faults."""
    found = tuple(key for key, _ in lost)
    got = 40 - sum((marks for _, marks in lost), Fraction(0))
    return [
        WorkRecord(name, f"Task {n}", f"{name}.xml", got, Fraction(40), lost, found)
        for n in range(1, tasks + 1)
        for name in PUPILS
    ]


def pages_of(records: list[WorkRecord], page: Page) -> list[str]:
    text = poppler(format_class_pdf(records, page), "-layout")
    return [" ".join(page.split()) for page in text.split("\f")[:-1]]


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("tasks", [1, 6])
def test_a_class_of_25_is_seen_at_a_glance(paper: Paper, tasks: int) -> None:
    first, *others = pages_of(works(tasks, LOST[:2]), Page(paper))
    assert all(name in first for name in PUPILS)
    assert f"{25 * tasks} of {25 * tasks}: tune not on top" in first
    # How each goes on from task to task follows.
    assert bool(others) == (tasks > 1)


def test_no_row_of_a_pupil_is_cut_by_the_end_of_a_page() -> None:
    _, *others = pages_of(works(2, LOST), Page())
    assert len(others) > 1
    for page in others:
        pupils = page.count("Pupil ") - 1
        # Each has a line for each fault, and what to do next.
        assert page.count("→") == len(LOST) * pupils
        assert page.count("Next: ") == pupils


def test_marks_stay_beside_the_fault_that_cost_them() -> None:
    text = poppler(format_class_pdf(works(1, LOST), Page()), "-layout")
    assert text.count("stretch over an octave 1/2") == len(PUPILS)
