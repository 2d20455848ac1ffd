"""Tonic sol-fa as an output: columns of pulses that read back to the same notes."""

from pathlib import Path

import pytest

from harmonise.errors import OutputError
from harmonise.notation.solfa.solfa import format_solfa, parse_solfa
from harmonise.notation.tune_text.tune_text import format_tune_text, parse_tune_text
from harmonise.theory.key import parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.play_order import played
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))


def only(text: str) -> Tune:
    (tune,) = parse_solfa(text)
    return tune


def heard(tune: Tune) -> list[tuple[object, ...]]:
    return [(note.onset, note.length, note.pitch) for note in tune.sounding]


def read_file(path: Path) -> Tune:
    return parse_tune_text(path.read_text("utf-8"))[0]


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_letters_numbers_and_sol_fa_give_the_same_notes(path: Path) -> None:
    tune = read_file(path)
    (numbers,) = parse_tune_text(format_tune_text(tune, numbers=True))
    assert heard(numbers) == heard(tune)
    solfa = only(format_solfa(tune))
    assert heard(solfa) == [
        (note.onset + stretch.at - stretch.start, note.length, note.pitch)
        for stretch in played(tune)
        for note in tune.sounding
        if stretch.start <= note.onset < stretch.end
    ]
    assert [change.key for change in solfa.keys] == [change.key for change in tune.keys]


def test_repeats_and_endings_are_written_out() -> None:
    text = "Key: C\nTime: 3/4\nC | |: C D E | [1 F - 0 :| [2 G - - ||"
    (tune,) = parse_tune_text(text)
    assert format_solfa(tune) == (
        "Doh: C\nTime: 3/4\n:d | d :r :m | f :- :\n| d :r :m | s :- :- ||\n"
    )


def test_a_bar_that_a_repeat_sign_splits_is_whole_again() -> None:
    (tune,) = parse_tune_text("Key: C\nTime: 3/4\n|: G | C D E | C - :|")
    assert format_solfa(tune) == (
        "Doh: C\nTime: 3/4\n:s | d :r :m | d :-\n:s | d :r :m | d :- |\n"
    )


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("C.D.E.F.G E | C -", "Bar 1, beat 1: a beat in 5 parts"),
        ("C.-.0.E E | C -", "Bar 1, beat 1: this division of a beat"),
        ("C Fb | C -", "Bar 1, beat 2: Fb4 in C major"),
    ],
)
def test_what_sol_fa_cannot_say_is_refused_with_its_place(
    text: str, sentence: str
) -> None:
    (tune,) = parse_tune_text(f"Key: C\nTime: 2/4\n{text}")
    with pytest.raises(OutputError) as caught:
        format_solfa(tune)
    assert str(caught.value) == (
        f"{sentence} cannot be written in sol-fa. Write MusicXML instead."
    )


def test_marks_that_sol_fa_has_not_are_refused() -> None:
    (tune,) = parse_tune_text("Key: C\nTime: 2/4\nC D | E F |")
    held = tune.notes[0]._replace(fermata=True)
    with pytest.raises(OutputError) as caught:
        format_solfa(tune._replace(notes=(held, *tune.notes[1:])))
    assert str(caught.value) == (
        "Bar 1, beat 1: a fermata cannot be written in sol-fa. Write MusicXML instead."
    )


def test_a_pickup_of_half_a_pulse_is_filled_up_with_silence() -> None:
    text = "Key: C\nTime: 4/8\nG | C - D - | E - - |"
    (tune,) = parse_tune_text(text)
    crotchets = tune._replace(
        bars=tuple(bar._replace(time=TimeSignature(2, 4)) for bar in tune.bars)
    )
    written = format_solfa(crotchets)
    assert written == "Doh: C\nTime: 2/4\n:.s | d :r | m :-. |\n"
    read = only(written)
    assert (read.bars, heard(read)) == (crotchets.bars, heard(crotchets))
    assert read.phrases == tune.phrases


def test_pulses_stand_in_columns() -> None:
    (tune,) = parse_tune_text(
        "Key: A minor\nTime: 2/4\nA G#.A | B -.D5\nC5.B A | A - |"
    )
    assert format_solfa(tune) == (
        "Lah: A\nTime: 2/4\n| l    :se.l | t :-.r¹\n| d¹.t :l    | l :-    |\n"
    )


def test_the_raised_sixth_of_the_minor_is_ba() -> None:
    (tune,) = parse_tune_text("Key: A minor\nTime: 2/4\nE F# | G# A |")
    assert "| m :ba | se :l |" in format_solfa(tune)
    assert parse_key("A minor") == only(format_solfa(tune)).key
