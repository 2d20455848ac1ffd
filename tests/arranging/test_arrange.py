"""The job as a whole, on random tunes and on our own."""

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples, spread
from makers.tunes import tunes
from oracles.promises import TWO_HANDS, broken_promises

from harmonise.arranging.job import arrange
from harmonise.errors import NoHarmonyError
from harmonise.notation.chart.plain_charts import format_chart
from harmonise.notation.formats import read_tunes
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.rules.score_view import Grade
from harmonise.rules.table import check
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
    HarmonicRhythm,
    Style,
    Texture,
)
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
STYLES = st.tuples(
    st.integers(1, 4), st.sampled_from(HarmonicRhythm), st.sampled_from(TWO_HANDS)
).map(lambda row: Style(*row))


@given(tunes(most_notes=40, lowest=3), STYLES)
@settings(max_examples=examples(500), deadline=None, derandomize=True)
def test_the_promise_holds_for_any_tune(tune: Tune, style: Style) -> None:
    assert not broken_promises(arrange(tune, style), inversions=style.level == 4)


@given(tunes(most_notes=40), STYLES)
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_the_same_tune_gives_the_same_bytes(tune: Tune, style: Style) -> None:
    first, second = arrange(tune, style), arrange(tune, style)
    assert format_musicxml(first) == format_musicxml(second)


def all_styles() -> list[Style]:
    return [
        Style(level, rhythm, texture)
        for level in (1, 2, 3, 4)
        for rhythm in HarmonicRhythm
        for texture in TWO_HANDS
    ]


def never_faults(arrangement: Arrangement) -> list[str]:
    """Return the NEVER faults that no remark of ours admits."""
    admitted = {(r.place and r.place.bar) for r in arrangement.remarks}
    return [
        str(fault)
        for fault in check(arrangement)
        if fault.grade is Grade.NEVER and fault.place.bar not in admitted
    ]


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_our_own_tunes_keep_the_promise_in_every_style(path: Path) -> None:
    # In CI every tune meets a fifth of the styles, and every style some tunes.
    styles = all_styles()
    chosen = spread(styles, len(styles) // 5, TUNES.index(path))
    for tune in read_tunes(path):
        for style in chosen:
            done = arrange(tune, style)
            locked = bool(tune.locks)
            wrong = broken_promises(done, inversions=style.level == 4 or locked)
            assert not wrong, style
            assert not never_faults(done), style


def test_strict_refuses_what_no_chord_fits_and_says_where() -> None:
    (tune,) = read_tunes("Key: C\nE - - - | F# - - - | G - - - | C - - -")
    with pytest.raises(NoHarmonyError) as caught:
        arrange(tune, Style(1, HarmonicRhythm.BAR, strict=True))
    assert str(caught.value) == (
        "Bar 2, beat 1: no chord of level 1 has the tune note F#. Level 4 has D (V/V)."
    )


def test_strict_lets_a_plagal_close_pass() -> None:
    (tune,) = read_tunes("Key: C\nE - - - | F - - - | E - - - | F - - - | E - - -")
    done = arrange(tune, Style(1, HarmonicRhythm.BAR, strict=True))
    assert [remark.code for remark in done.remarks] == ["H29", "H10"]


def test_without_strict_the_best_page_comes_with_a_remark() -> None:
    (tune,) = read_tunes("Key: C\nE - - - | F# - - - | G - - - | C - - -")
    done = arrange(tune, Style(1, HarmonicRhythm.BAR))
    assert not broken_promises(done)
    assert [r.code for r in done.remarks if r.code == "H05"] == ["H05"]


def test_a_lock_that_clashes_is_kept_and_marked() -> None:
    text = "Key: C\nE - - - | E - - - | B - - - | C - - -\nChords: ? | ? | F | ?"
    done = arrange(read_tunes(text)[0], Style(1, HarmonicRhythm.BAR))
    assert [str(r) for r in done.remarks if r.code == "E18"] == [
        (
            "Bar 3, beat 1: you locked F (F A C) but the long tune note is B. "
            "Kept as you asked; marked with ! in the report."
        )
    ]
    assert format_chart(done) == "1  C  | -  | F! | C |"


def test_a_short_pickup_goes_alone() -> None:
    (tune,) = read_tunes("Key: F\nC | F -.F F A | G -.F G A | F - -")
    first = arrange(tune).slots[0]
    assert (first.chord, first.place.bar, first.length) == (None, 0, Fraction(1))


ALL_PICKUP = ("Key: C\nTime: 3/4\nC | 0 0 0\n", "Key: G\nB.D5 | 0 - - - | 0 - - - |\n")


@pytest.mark.parametrize("text", ALL_PICKUP)
def test_a_tune_that_is_all_pickup_has_its_chord_there(text: str) -> None:
    (tune,) = read_tunes(text)
    assert tune.bars[0].number == 0
    styles = spread(all_styles(), 16)
    for style in (*styles, Style(texture=Texture.HYMN), Style(AUTO_LEVEL)):
        done = arrange(tune, style)
        assert [slot.onset for slot in done.slots if slot.chord] == [0], style
        if style.texture in TWO_HANDS:
            assert not broken_promises(done, inversions=style.level == 4)
        assert format_musicxml(done)
