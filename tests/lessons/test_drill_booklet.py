"""The booklet in PDF; its text is read by pdftotext where that is installed."""

import shutil
import subprocess
from pathlib import Path

import pytest

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
needs_pdftotext = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="pdftotext (poppler) is not installed"
)


def pages_of(pdf: bytes, folder: Path) -> list[str]:
    """Return the text of each page, its blanks made single."""
    path = folder / "booklet.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(  # noqa: S603 (a fixed program on our own file)
        ["pdftotext", "-layout", str(path), "-"],  # noqa: S607
        capture_output=True,
        text=True,
        check=True,
    )
    return [" ".join(page.split()) for page in done.stdout.split("\f") if page.strip()]


@needs_pdftotext
def test_the_first_page_has_the_plan_and_the_caution(tmp_path: Path) -> None:
    pdf = format_booklet(exercises("D1", KEYS), "D1: I–IV–I–V–I", DrillOutput())
    first = pages_of(pdf, tmp_path)[0]
    assert first.startswith("D1: I–IV–I–V–I All notes.")
    assert "Practice plan" in first
    assert all(word in first for word in ("C major", "B♭ major", "clean at", "date"))
    assert all(word in first for word in CAUTION.split())


@needs_pdftotext
def test_each_key_has_its_heading_exercises_and_box(tmp_path: Path) -> None:
    pdf = format_booklet(exercises("D1", all_keys()), "D1", DrillOutput())
    pages = pages_of(pdf, tmp_path)[1:]
    text = " ".join(pages)
    for key in ("C major", "F♯ major", "D♭ major"):
        assert text.count(key) == 1
    for label in ("from root position", "from first inversion", "clean at"):
        assert text.count(label) == 12


@needs_pdftotext
def test_no_key_is_torn_over_two_pages(tmp_path: Path) -> None:
    for version in Version:
        output = DrillOutput(copy=DrillCopy(version))
        pdf = format_booklet(exercises("D1", all_keys()), "D1", output)
        for page in pages_of(pdf, tmp_path)[1:]:
            assert page.count("from root position") == page.count("clean at")


@needs_pdftotext
def test_a_label_never_stands_alone_at_the_foot_of_a_page(tmp_path: Path) -> None:
    pdf = format_booklet(
        exercises("D10", KEYS), "D10", DrillOutput(copy=DrillCopy(Version.ANSWER))
    )
    for page in pages_of(pdf, tmp_path)[1:]:
        assert not page.rpartition("inversion")[2].strip().startswith("/")
        assert "from" not in page[-30:]


@needs_pdftotext
def test_several_drills_are_told_apart(tmp_path: Path) -> None:
    found = (*exercises("D4", KEYS), *exercises("D8", KEYS))
    text = " ".join(
        pages_of(format_booklet(found, "Two drills", DrillOutput()), tmp_path)
    )
    assert "D4: C major" in text
    assert "D8: B♭ major" in text


@needs_pdftotext
def test_a_blank_booklet_has_a_line_for_the_name_and_no_symbols(tmp_path: Path) -> None:
    blank = DrillOutput(copy=DrillCopy(Version.BLANK))
    pages = pages_of(format_booklet(exercises("D4", KEYS[:1]), "D4", blank), tmp_path)
    assert "Name" in pages[0]
    assert "I IV V I" in pages[1]
    assert " F " not in pages[1]


def test_the_same_booklet_gives_the_same_bytes() -> None:
    output = DrillOutput(page=Page(Paper.LETTER, large_print=True))
    once = format_booklet(exercises("D5", KEYS), "D5", output)
    assert once.startswith(b"%PDF")
    assert once == format_booklet(exercises("D5", KEYS), "D5", output)
