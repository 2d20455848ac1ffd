"""The printed chord chart and guitar sheet: chords over syllables, nothing cut off."""

import html
import re
from pathlib import Path
from typing import NamedTuple

import pytest
from makers.chart_tunes import TUNES, TWO_VERSES, arranged, typed
from makers.scores import arrange as arrange_by_hand
from makers.scores import make_tune
from oracles.poppler import poppler

from harmonise import arrange, read_tune
from harmonise.errors import OutputError
from harmonise.notation.outputs import Output, Sheet, format_output
from harmonise.notation.paper.blocks import (
    MARGIN,
    Bars,
    Lettering,
    Page,
    Paper,
    Sung,
    Words,
    page_size,
)
from harmonise.notation.paper.chart_sheet import chart_blocks
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.key import parse_key
from harmonise.theory.transposing import capo_choices, capo_on

PAGES = [
    pytest.param(Page(), id="A4"),
    pytest.param(Page(large_print=True), id="large print"),
    pytest.param(Page(Paper.LETTER, landscape=True), id="letter on its side"),
]
_WORD = re.compile(
    r'<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">'
    r"(.*?)</word>"
)


class Printed(NamedTuple):
    """A word on a page; points from the top left corner."""

    left: float
    top: float
    right: float
    bottom: float
    text: str


def pdf_of(
    done: Arrangement, page: Page | None = None, fret: int | None = None
) -> bytes:
    sheet = Sheet.CHART if fret is None else Sheet.GUITAR
    (pdf,) = format_output(done, ".pdf", Output(sheet, page, fret=fret))
    return pdf


def printed(pdf: bytes) -> list[Printed]:
    """Return the words of a PDF with their places, as poppler sees them."""
    found = _WORD.findall(poppler(pdf, "-bbox"))
    return [
        Printed(
            float(left), float(top), float(right), float(bottom), html.unescape(text)
        )
        for left, top, right, bottom, text in found
    ]


def sung_pairs(made: Arrangement) -> list[tuple[str, str]]:
    """Return every chord that begins with a word, and the word's first syllable."""
    chords = {slot.onset: str(slot.chord) for slot in made.changes}
    pairs = []
    inside = False
    for note in made.tune.sounding:
        for syllable in filter(None, note.syllables[:1]):
            if note.onset in chords and not inside:
                pairs.append((chords[note.onset].replace("b", "♭"), syllable.text))
            inside = syllable.joins
    return pairs


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", ["auld_lang_syne", "morning_steps", "water_of_tyne"])
def test_every_chord_stands_over_its_syllable_on_paper(name: str, page: Page) -> None:
    # Outside check: poppler measures where words lie on the page.
    made = arranged(name)
    words = printed(pdf_of(made, page))
    pairs = sung_pairs(made)
    assert len(pairs) > 5
    for chord, syllable in pairs:
        below = [
            (over, under)
            for over in words
            for under in words
            if over.text == chord
            and under.text.startswith(syllable)
            and abs(over.left - under.left) < 1
            and 0 < under.top - over.top < 30
        ]
        assert below, (chord, syllable)


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_nothing_is_printed_over_the_margins_or_over_anything_else(
    path: Path, page: Page
) -> None:
    made = arrange(read_tune(path))
    words = printed(pdf_of(made, page))
    width = page_size(page)[0] / 25.4 * 72
    margin = MARGIN / 25.4 * 72
    assert min(own.left for own in words) > margin - 1
    assert max(own.right for own in words) < width - margin + 1
    assert not any(overlap(own, after) for own in words for after in words)


def overlap(own: Printed, after: Printed) -> bool:
    """Whether two words of a page lie on one another; boxes are taller than letters."""
    return (
        own != after
        and own.left < after.right - 1
        and after.left < own.right - 1
        and abs(own.top - after.top) < 8
    )


def test_verses_of_many_short_and_long_words_stay_on_the_page() -> None:
    verses = ("in- com- pre- hen- si- bil- i- ties " * 3, "oh my " * 12)
    tune = make_tune("C5:1 D5:1 " * 12, "C", words=verses)
    made = arrange_by_hand(tune, "F#m7:1 C:1 " * 12)
    for page in (Page(), Page(large_print=True)):
        words = printed(pdf_of(made, page))
        width = page_size(page)[0] / 25.4 * 72
        assert max(own.right for own in words) < width - MARGIN / 25.4 * 72 + 1
        assert [own.text for own in words].count("F♯m7") == 12
        assert not any(overlap(own, after) for own in words for after in words)


def test_a_hyphen_never_falls_into_the_row_below() -> None:
    # "re-joice" over "us take": verse 1 is pulled apart by less than a hyphen.
    tune = make_tune("C5:2 D5:2", "C", words=("re- joice.", "us take."))
    made = arrange_by_hand(tune, "D:2 G:2")
    words = printed(pdf_of(made, Page(large_print=True)))
    tops = {own.text: own.top for own in words}
    assert tops["re-joice."] < tops["us"]


def test_words_can_be_searched_whole() -> None:
    found = poppler(pdf_of(arranged("auld_lang_syne")))
    assert found.count("acquaintance") == 2
    assert "forgot" in found


def test_a_word_that_chords_pull_apart_gets_a_hyphen() -> None:
    tune = make_tune("C5:2 D5:2", "C", words=("a- gain",))
    made = arrange_by_hand(tune, "F#m7:2 G:2")
    words = printed(pdf_of(made))
    lowest = max(own.top for own in words)
    assert [own.text for own in words if own.top == lowest] == ["a", "-", "gain"]


def test_the_guitar_sheet_says_capo_shapes_and_other_choices() -> None:
    made = typed(TWO_VERSES)
    text = poppler(pdf_of(made, fret=3))
    told = " ".join(text.split())
    assert "Capo 3, play C; the piano is in E flat." in told
    assert "Chords you play: C F Am Dm7 G7" in told
    assert "Other choices: capo 1, play D." in told
    assert "♭" not in told


def test_the_capo_heads_the_sheet_in_large_letters() -> None:
    made = arranged("water_of_tyne")
    blocks = chart_blocks(made, capo=capo_choices(made.tune.key)[0])
    assert blocks[2] == Words("No capo.", Lettering.HEADING, keep=True)


def test_a_refrain_follows_numbered_verses() -> None:
    lines = [own for own in chart_blocks(typed(TWO_VERSES)) if isinstance(own, Sung)]
    assert [own.labels for own in lines] == [("1.", "2."), ("",)]


def test_bars_of_one_part_stand_together_between_signs_of_repeats() -> None:
    blocks = chart_blocks(arranged("greensleeves"))
    parts = [own for own in blocks if isinstance(own, Bars)]
    assert len(parts) == 2
    assert [[text for text, _ in row] for row in parts[0].rows] == [
        ["‖: N.C.", "Am /", "G /", "Am /", "G E"],
        ["Am /", "G /", "Am E", "Am / :‖"],
    ]
    assert [width < 1 for _, width in parts[0].rows[0]] == [True, *[False] * 4]
    told = [own.text for own in blocks if isinstance(own, Words)]
    assert told[1:] == [
        "Each / is one more beat of the same chord.",
        "N.C.: no chord.",
    ]


REPEATED = """\
Key: D
Time: 4/4
|: D4 E F# G | A - A - |
B A G F# | [1 E - - - :| [2 D - - - ||
Words: Round and round the green we go sing-ing as we home
"""


@pytest.mark.parametrize(
    ("capo", "told"),
    [
        # Signs as in any printed score (common practice); the pianist has no bar lines.
        pytest.param(0, ["‖:", "|", "|", "|", "1.", ":‖", "|", "2."], id="guitarist"),
        pytest.param(None, ["Repeat", "First", "Go", "Second"], id="pianist"),
    ],
)
def test_repeats_over_words_have_signs_where_bars_do(
    capo: int | None, told: list[str]
) -> None:
    text = poppler(pdf_of(typed(REPEATED), fret=capo))
    assert re.findall(r"‖:|:‖|\||\d\.|Repeat|Go|First|Second", text) == told


def test_a_sung_line_begins_with_the_chord_in_force() -> None:
    made = arranged("auld_lang_syne")
    for capo in (None, capo_choices(made.tune.key)[0]):
        first, second = (
            own for own in chart_blocks(made, capo=capo) if isinstance(own, Sung)
        )
        # Nothing is played under the pickup; the second line's goes on with IV.
        assert first.runs[0][0].chord == ""
        assert second.runs[0][0].chord == ("G" if capo else "B♭")


def test_short_rows_of_bars_share_one_row() -> None:
    (bars,) = (
        own for own in chart_blocks(arranged("kitchen_clock")) if isinstance(own, Bars)
    )
    assert [[text for text, _ in row] for row in bars.rows] == [
        ["‖: Am / /", "/ / /", "Dm / /", "E / /"],
        ["Am / /", "E / /", "1. Am / / :‖", "2. Am / /"],
    ]


def test_large_print_enlarges_the_words() -> None:
    heights = []
    for page in (Page(), Page(large_print=True)):
        words = printed(pdf_of(arranged("auld_lang_syne"), page))
        word = next(own for own in words if own.text == "acquaintance")
        heights.append(word.bottom - word.top)
    assert heights[1] / heights[0] > 1.3


def test_the_same_arrangement_gives_the_same_bytes() -> None:
    first = pdf_of(typed(TWO_VERSES))
    assert pdf_of(typed(TWO_VERSES)) == first


def test_pictures_have_one_page_each() -> None:
    (picture,) = format_output(arranged("boat_round"), ".png", Output(Sheet.CHART))
    assert picture.startswith(b"\x89PNG")


def test_a_capo_for_another_key_is_refused() -> None:
    with pytest.raises(OutputError, match=r"^This capo does not give F, the key"):
        chart_blocks(arranged("auld_lang_syne"), capo=capo_on(parse_key("Eb"), 3))
