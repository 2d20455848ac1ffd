"""Lines that no page tells are found from the tune."""

from pathlib import Path

import pytest
from makers.scores import make_tune

from harmonise import read_tune
from harmonise.theory.phrases import find_lines
from harmonise.theory.tune import Tune

TUNES = Path(__file__).parents[2] / "tunes"


def found(tune: Tune) -> list[str]:
    """Return the places at which lines end."""
    ends = find_lines(tune.notes, tune.bars)
    assert ends[-1] == tune.end
    assert list(ends) == sorted(set(ends))
    return [str(tune.place(end)) for end in ends[:-1]]


@pytest.mark.parametrize(
    "name",
    [
        "auld_lang_syne",  # a pickup before each line
        "bobby_shafto",
        "buy_broom_besoms",
        "five_bar_gate",
        "greensleeves",  # repeats and a pickup
        "morning_steps",
        "rakes_of_mallow",  # repeats
        "the_early_morning",
        "widows_rant",
        "yankee_doodle",
    ],
)
def test_lines_of_four_bars_are_those_that_were_typed(name: str) -> None:
    tune = read_tune(TUNES / f"{name}.txt")
    assert find_lines(tune.notes, tune.bars) == tune.phrases


EIGHT = "C5:1 D5:1 E5:1 F5:1 " * 8


def test_eight_even_bars_are_two_lines() -> None:
    # No bar begins a line more than another, for all are equal.
    assert found(make_tune(EIGHT)) == ["bar 5, beat 1"]


def test_five_bars_are_one_line() -> None:
    assert found(make_tune("C5:1 D5:1 E5:1 F5:1 " * 5)) == []


def test_a_rest_and_the_beginning_come_again_outweigh_groups_of_four() -> None:
    three = "C5:1 D5:1 E5:1 F5:1 G5:1 E5:1 D5:1 C5:1 E5:2 r:2 "
    assert found(make_tune(three * 2)) == ["bar 4, beat 1"]


def test_double_bars_labels_and_endings_end_lines_for_certain() -> None:
    tune = make_tune(EIGHT)
    marked = list(tune.bars)
    marked[1] = marked[1]._replace(double=True)
    marked[3] = marked[3]._replace(section="B")
    marked[4] = marked[4]._replace(ending=(1,))
    assert found(tune._replace(bars=tuple(marked))) == [
        "bar 3, beat 1",
        "bar 4, beat 1",
        "bar 6, beat 1",
    ]


def test_a_fermata_ends_a_line_as_in_hymns() -> None:
    tune = make_tune(EIGHT)
    notes = list(tune.notes)
    notes[6] = notes[6]._replace(fermata=True)
    assert found(tune._replace(notes=tuple(notes)))[0] == "bar 2, beat 4"


def test_two_thousand_bars_are_cut_at_once() -> None:
    tune = make_tune("C5:1 D5:1 E5:1 F5:1 " * 2000)
    assert len(find_lines(tune.notes, tune.bars)) == 500
