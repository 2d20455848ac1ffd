"""The booklet in PDF; its text is read by poppler."""

from oracles.poppler import poppler

from harmonise.lessons.drill_files import (
    DrillCopy,
    DrillOutput,
    Version,
    format_booklet,
)
from harmonise.lessons.drills import CAUTION, all_keys, exercises
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.theory.key import parse_key

KEYS = (parse_key("C"), parse_key("Bb"))


def pages_of(pdf: bytes) -> list[str]:
    """Return the text of each page, its blanks made single."""
    pages = poppler(pdf, "-layout").split("\f")
    return [" ".join(page.split()) for page in pages if page.strip()]


def test_the_first_page_has_the_plan_and_the_caution() -> None:
    pdf = format_booklet(exercises("D1", KEYS), "D1: I–IV–I–V–I", DrillOutput())
    first = pages_of(pdf)[0]
    assert first.startswith("D1: I–IV–I–V–I All notes.")
    assert "Practice plan" in first
    assert all(word in first for word in ("C major", "B♭ major", "clean at", "date"))
    assert all(word in first for word in CAUTION.split())


def test_each_key_has_its_heading_exercises_and_box() -> None:
    pdf = format_booklet(exercises("D1", all_keys()), "D1", DrillOutput())
    pages = pages_of(pdf)[1:]
    text = " ".join(pages)
    for key in ("C major", "F♯ major", "D♭ major"):
        assert text.count(key) == 1
    for label in ("from root position", "from first inversion", "clean at"):
        assert text.count(label) == 12


def test_no_key_is_torn_over_two_pages() -> None:
    for version in Version:
        output = DrillOutput(copy=DrillCopy(version))
        pdf = format_booklet(exercises("D1", all_keys()), "D1", output)
        for page in pages_of(pdf)[1:]:
            assert page.count("from root position") == page.count("clean at")


def test_a_label_never_stands_alone_at_the_foot_of_a_page() -> None:
    pdf = format_booklet(
        exercises("D10", KEYS), "D10", DrillOutput(copy=DrillCopy(Version.ANSWER))
    )
    for page in pages_of(pdf)[1:]:
        assert not page.rpartition("inversion")[2].strip().startswith("/")
        assert "from" not in page[-30:]


def test_several_drills_are_told_apart() -> None:
    found = (*exercises("D4", KEYS), *exercises("D8", KEYS))
    text = " ".join(pages_of(format_booklet(found, "Two drills", DrillOutput())))
    assert "D4: C major" in text
    assert "D8: B♭ major" in text


def test_a_blank_booklet_has_a_line_for_the_name_and_no_symbols() -> None:
    blank = DrillOutput(copy=DrillCopy(Version.BLANK))
    pages = pages_of(format_booklet(exercises("D4", KEYS[:1]), "D4", blank))
    assert "Name" in pages[0]
    assert "I IV V I" in pages[1]
    assert " F " not in pages[1]


def test_the_same_booklet_gives_the_same_bytes() -> None:
    output = DrillOutput(page=Page(Paper.LETTER, large_print=True))
    once = format_booklet(exercises("D5", KEYS), "D5", output)
    assert once.startswith(b"%PDF")
    assert once == format_booklet(exercises("D5", KEYS), "D5", output)
