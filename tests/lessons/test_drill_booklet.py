"""The booklet in PDF; its text is read by poppler."""

import re
from itertools import pairwise

import pytest
from makers.profiles import spread
from oracles.inked import fills, sides
from oracles.poppler import poppler

from harmonise.lessons.drill_booklet import booklet_blocks
from harmonise.lessons.drill_copies import PLAIN_COPY, DrillCopy, Version
from harmonise.lessons.drill_files import DrillOutput, drill_pages, format_booklet
from harmonise.lessons.drills import CAUTION, DRILLS, all_keys, exercises, keys_for
from harmonise.notation.paper.blocks import Music, Page, Paper, Whole
from harmonise.theory.key import parse_key

KEYS = (parse_key("C"), parse_key("Bb"))


def pages_of(pdf: bytes) -> list[str]:
    """Return the text of each page, its blanks made single."""
    pages = poppler(pdf, "-layout").split("\f")
    return [" ".join(page.split()) for page in pages if page.strip()]


def test_the_first_page_has_the_plan_and_the_caution() -> None:
    pdf = format_booklet(exercises("D1", KEYS), "D1: I–IV–I–V–I", DrillOutput())
    first = pages_of(pdf)[0]
    assert first.startswith("D1: I–IV–I–V–I 6 exercises in C major, B♭ major From")
    assert "Practice plan" in first
    assert all(word in first for word in ("C major", "B♭ major", "clean at", "date"))
    assert all(word in first for word in CAUTION.split())


def test_each_key_has_its_heading_exercises_and_box() -> None:
    pdf = format_booklet(exercises("D1", all_keys()), "D1", DrillOutput())
    pages = pages_of(pdf)
    text = " ".join(pages)
    # Once in the plan, and once over its music; two keys share a page.
    for key in ("C major", "F♯ major", "D♭ major"):
        assert text.count(key) == 2
    assert len(pages) == 7
    for label in ("from root position", "from first inversion", "clean at"):
        assert text.count(label) == (1 if label == "clean at" else 12)


def test_no_key_is_torn_over_two_pages() -> None:
    for version in Version:
        output = DrillOutput(copy=DrillCopy(version))
        pdf = format_booklet(exercises("D1", all_keys()[:6]), "D1", output)
        pages = pages_of(pdf)
        for page in pages:
            starts = ("from root position", "from second inversion")
            assert page.count(starts[0]) == page.count(starts[1])
        assert len(pages) == 4


SIZES = {
    f"{paper.value}{' across' * across}{' large' * large}": Page(paper, across, large)
    for paper in Paper
    for across in (False, True)
    for large in (False, True)
}


WAYS = [
    (version, size, keys)
    for version in Version
    for size in SIZES
    for keys in (["Bb"], ["C", "F#"], ["C", "A", "Eb", "F#"])
]


@pytest.mark.parametrize("drill", [drill.name for drill in DRILLS])
def test_no_page_has_a_lone_row_and_none_is_half_empty(drill: str) -> None:
    for version, size, typed in spread(WAYS, 1, 5 * int(drill[1:])):
        found = exercises(drill, keys_for(drill, typed))
        output = DrillOutput(copy=DrillCopy(version), page=SIZES[size])
        pdf = format_booklet(found, drill, output)
        pages = pages_of(pdf)
        labels = sorted({each.label for each in found}, key=len, reverse=True)
        one = re.compile("|".join(map(re.escape, labels)))
        rows = [len(one.findall(page)) for page in pages]
        assert sum(rows) == len(found)
        # Exercises of two lines are not alone, nor is one below a plan.
        long = drill in ("D7", "D11") or "large" in size
        assert long or all(count != 1 for count in rows[1:])
        # No page has room for the next one's rows; shapes to name have two lines.
        most = max(rows)
        assert drill == "D11" or all(
            one + two > most for one, two in pairwise(rows[1:-1])
        )
        # What was reckoned to go on a page does: nothing runs over.
        assert min(fills(pdf)) > 0.25
        assert all(min(free) > 15 for free in sides(pdf))
        # A plan without music fills its page.
        assert rows[0] or fills(pdf)[0] > 0.4


def test_several_drills_are_told_apart() -> None:
    found = (*exercises("D4", KEYS), *exercises("D8", KEYS))
    text = " ".join(pages_of(format_booklet(found, "Two drills", DrillOutput())))
    assert "D4: C major" in text
    assert "D8: B♭ major" in text


def test_a_blank_booklet_has_a_line_for_the_name_and_no_symbols() -> None:
    blank = DrillOutput(copy=DrillCopy(Version.BLANK))
    pages = pages_of(format_booklet(exercises("D4", KEYS[:1]), "D4", blank))
    assert "Name" in pages[0]
    assert len(pages) == 1
    assert pages[0].count("I IV V I") == 3
    assert " F " not in pages[0]


def test_the_plan_shares_a_page_with_one_key() -> None:
    pdf = format_booklet(exercises("D1", KEYS[:1]), "D1", DrillOutput())
    (page,) = pages_of(pdf)
    assert "Practice plan" in page
    assert "from second inversion" in page


def test_no_line_warns_of_the_time_of_another_exercise() -> None:
    blocks = booklet_blocks(exercises("D9", KEYS[:1]), "D9", PLAIN_COPY, 60, Page())
    lines = [
        inner.system
        for block in blocks
        if isinstance(block, Whole)
        for inner in block.blocks
        if isinstance(inner, Music)
    ]
    shown = [line.svg.count('class="meterSig"') for line in lines]
    # The first one is in 4/4, the waltz in 3/4, what follows it in 4/4 again.
    assert shown == [2, 0, 0, 0, 2, 2]
    numbers = [re.findall(r'class="mNum\b.*?>(\d+)<', line.svg) for line in lines]
    assert numbers == [[], ["4"], ["7"], ["10"], ["13"], ["18"]]


def test_an_answer_key_has_no_plan() -> None:
    answer = DrillOutput(copy=DrillCopy(Version.ANSWER))
    (page,) = pages_of(format_booklet(exercises("D1", KEYS[:1]), "D1", answer))
    assert "Answer key" in page
    assert "Practice plan" not in page


def test_a_progression_is_parted_between_its_parts() -> None:
    blank = DrillOutput(copy=DrillCopy(Version.BLANK))
    pages = pages_of(format_booklet(exercises("D5", KEYS[:1]), "D5", blank))
    told = [(page.count("I–V–I,"), page.count("I–IV–I,")) for page in pages]
    assert told == [(3, 0), (0, 3)]


def test_names_have_room_to_write_and_no_plan() -> None:
    pdf = format_booklet(exercises("D11", KEYS[:1]), "D11", DrillOutput())
    (page,) = pages_of(pdf)
    assert "Practice plan" not in page
    assert page.count("Figures") == 2


def test_answers_of_names_stand_where_pupils_write_them() -> None:
    answer = DrillOutput(copy=DrillCopy(Version.ANSWER))
    (page,) = pages_of(format_booklet(exercises("D11", KEYS[:1]), "D11", answer))
    # Nine shapes: the three chords, each in its three positions, below an instruction.
    _, page = page.split("name each shape")
    for chord in ("C (I)", "F (IV)", "G (V)"):
        assert page.count(chord) == 3
    for figures in ("5/3", "6/3", "6/4"):
        assert page.count(figures) == 3


def test_a_booklet_comes_as_pictures_too() -> None:
    pages = drill_pages(exercises("D1", KEYS), "D1", ".png", DrillOutput())
    assert len(pages) == 2
    assert all(page.startswith(b"\x89PNG") for page in pages)


def test_the_same_booklet_gives_the_same_bytes() -> None:
    output = DrillOutput(page=Page(Paper.LETTER, large_print=True))
    once = format_booklet(exercises("D5", KEYS), "D5", output)
    assert once.startswith(b"%PDF")
    assert once == format_booklet(exercises("D5", KEYS), "D5", output)
