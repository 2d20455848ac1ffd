"""What verovio does that is mended afterwards: each patch fails here once it is idle.

verovio is asked alone, set up as its own manual says, and shares no code with ours. A
test that fails tells that a newer verovio does without the patch of its name.
"""

import re
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest
import verovio

from harmonise.arranging.job import arrange
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import Labels, Style, Texture

TUNES = Path(__file__).parents[3] / "tunes"
SONG = """\
Key: Bb
Time: 6/8
Tempo: Gently, dotted crotchet = 60
F G A D E F | G - A F - D | E - C F - A | B - - - - -
Words: one two three four five six | sev- en eight nine | ten e- lev- en | twelve
Words: strength a b c d e | f g h j | k l m n | o
"""
CHORDS = "Key: C\nTime: 4/4\nG - -.A G | E - C -"
FULL = Style(level=4, fingering=True, labels=Labels.FIGURES, texture=Texture.HELD)


class Engraved(NamedTuple):
    """What verovio makes of a score: its own format, and a picture."""

    mei: str
    svg: str


def toolkit_of(score: str, breaks: str = "none") -> verovio.toolkit:
    """Return verovio with a score loaded."""
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    options = {
        "breaks": breaks,
        "adjustPageWidth": True,
        "adjustPageHeight": True,
        "fontTextLiberation": True,
        "header": "none",
        "footer": "none",
        "mnumInterval": 0,
        "smuflTextFont": "none",
        "svgFormatRaw": True,
    }
    toolkit.setOptions(options)
    assert toolkit.loadData(score)
    return toolkit


@cache
def engraved(tune: str) -> Engraved:
    """Return a tune's score as verovio engraves it in one line, unmended."""
    text = tune if "\n" in tune else (TUNES / f"{tune}.txt").read_text("utf-8")
    score = format_musicxml(arrange(read_tune(text), FULL)).decode()
    toolkit = toolkit_of(score)
    return Engraved(str(toolkit.getMEI({})), str(toolkit.renderToSVG(1)))


def groups(svg: str, kind: str) -> list[str]:
    """Return the texts of one kind, as they are drawn."""
    return re.findall(rf'class="{kind}"[^>]*>(<text .*?</text>)', svg)


def letters(drawn: str) -> str:
    """Return what a drawn text says."""
    return re.sub("<[^>]*>", "", drawn)


def test_words_of_a_tempo_run_into_its_note() -> None:
    (tempo,) = groups(engraved(SONG).svg, "tempo")
    assert re.search("Gently[\ue000-\uf8ff]", letters(tempo))


def test_a_dotted_note_of_a_tempo_stands_apart_from_its_dot() -> None:
    (tempo,) = groups(engraved(SONG).svg, "tempo")
    assert re.search("[\uec00-\uecff] \uecb7", letters(tempo))


def test_verses_have_no_numbers() -> None:
    verses = re.findall(r'class="verse">(.*?)</text>', engraved(SONG).svg)
    assert verses
    assert not any("1." in letters(verse) for verse in verses)


def test_labels_have_no_space_that_keeps_them_apart() -> None:
    labels = re.findall(
        r'<verse\b[^>]*label="position".*?</verse>', engraved(SONG).mei, re.DOTALL
    )
    assert labels
    assert all(
        letters(label).strip(" \n") == letters(label).strip() for label in labels
    )
    assert not any("\u00a0" in label for label in labels)


def test_words_of_large_print_are_not_bold() -> None:
    svg = engraved(SONG).svg
    for kind in ("harm", "fing", "syl"):
        assert groups(svg, kind)
        assert not any("bold" in drawn for drawn in groups(svg, kind))


def test_labels_lean_in_large_print_too() -> None:
    labels = [own for own in groups(engraved(SONG).svg, "syl") if "italic" in own]
    assert labels


def test_fingers_of_a_chord_stand_over_their_own_heads() -> None:
    fingers = groups(engraved(CHORDS).svg, "fing")
    lefts = [re.search(r'x="(-?\d+)"', own) for own in fingers[:3]]
    assert len({own[1] for own in lefts if own}) > 1


def test_fingers_that_hang_on_one_note_are_stacked_in_any_order() -> None:
    # Three fingers for one note: the stack would follow the order they are given in.
    mei = engraved(CHORDS).mei
    first = re.search(r'<fing\b[^>]*startid="#([^"]*)"', mei)
    assert first
    shared = re.sub(
        r'(<fing\b[^>]*place="above"[^>]*startid=")#[^"]*"', rf'\1#{first[1]}"', mei
    )
    shared = re.sub(
        r'(<fing\b[^>]*startid=")#[^"]*("[^>]*place="above")',
        rf"\1#{first[1]}\2",
        shared,
    )
    drawn = groups(toolkit_of(shared).renderToSVG(1), "fing")
    places = [re.search(r'x="(-?\d+)" y="(-?\d+)"', own) for own in drawn]
    stack = sorted(
        (int(place[2]), letters(own))
        for own, place in zip(drawn, places, strict=True)
        if place and int(place[2]) < 2000
    )
    digits = [digit for _, digit in stack]
    assert digits != sorted(digits, reverse=True)


@pytest.mark.parametrize("name", ["widows_rant", "the_bucket", "greensleeves"])
def test_a_line_that_begins_with_half_a_bar_has_no_number(name: str) -> None:
    # A page for each line, so that each is drawn as the first one of its page.
    paged = re.sub(r"<sb\b", "<pb", engraved(name).mei)
    toolkit = toolkit_of(paged, "encoded")
    numbers = dict(re.findall(r'<measure xml:id="([^"]*)"[^>]*? n="([^"]*)"', paged))
    halves = 0
    for page in range(2, toolkit.getPageCount() + 1):
        drawn = toolkit.renderToSVG(page)
        first = re.search(r'<g id="([^"]*)" class="measure">', drawn)
        assert first
        half = numbers[first[1]].startswith("X")
        assert ('class="mNum autogenerated"' in drawn) != half
        halves += half
    assert halves


@pytest.mark.parametrize(
    "noise",
    [
        pytest.param("<desc>", id="the name of the engraver"),
        pytest.param('<title class="labelAttr">', id="names of labels"),
        pytest.param('font-family="Leipzig"', id="a music font of its own"),
        pytest.param('@import url("https:', id="an address"),
        pytest.param("placeholder", id="empty groups"),
    ],
)
def test_the_picture_holds_what_a_page_cannot_use(noise: str) -> None:
    assert noise in engraved(SONG).svg


def test_signs_of_texts_are_those_of_a_music_font() -> None:
    symbols = [letters(drawn) for drawn in groups(engraved(SONG).svg, "harm")]
    assert any(re.search("[\ue000-\uf8ff]", symbol) for symbol in symbols)


def test_figures_of_numerals_stand_side_by_side() -> None:
    assert any(
        "⁶₄" in letters(own) or "⁶₃" in letters(own)
        for own in groups(engraved(SONG).svg, "syl")
    )


def test_a_long_word_may_touch_the_bar_line_before_it() -> None:
    gaps = [gap for name in ("old_hundredth", "auld_lang_syne") for gap in _gaps(name)]
    assert min(gaps) < 50


def _gaps(name: str) -> list[int]:
    """Return how far words begin after the start of the staff lines of their bar."""
    found = []
    for bar in re.split(r'(?=<g id="[^"]*" class="measure">)', engraved(name).svg)[1:]:
        edge = re.search(r'<path d="M(-?\d+) ', bar)
        assert edge
        lefts = re.findall(r'class="syl"[^>]*><text x="(-?\d+)"', bar)
        found += [int(left) - int(edge[1]) for left in lefts]
    return found
