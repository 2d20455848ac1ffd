"""What the MIDI door makes of notes that come late, stop early or never stop."""

from fractions import Fraction

import mido
import pytest
from makers.midi_files import (
    FACTS,
    TICKS,
    Row,
    heard,
    in_a_row,
    packed,
    performed,
    read,
    told,
    track,
)

from harmonise.theory.pitch import parse_pitch
from harmonise.theory.tune import TuneNote

TUNE = "60 62:1/2 64:1/2 65:2 67:3/2 65:1/2 64:1/4 62:1/4 60:1/2 60"
PLAIN = "C4:1 D4:1/2 E4:1/2 F4:2 G4:3/2 F4:1/2 E4:1/4 D4:1/4 C4:1/2 C4:1"


def delayed(ticks: int) -> list[Row]:
    """Return the tune a bar after the start, every note late by some ticks."""
    late = 4 + Fraction(ticks, TICKS)
    return [(late + at, long, key) for at, long, key in in_a_row(TUNE)]


@pytest.mark.parametrize("ticks", [5, 10, 15, 17, 30, 40, 45, 60, 80, 90, -15, -25])
def test_a_delay_that_all_notes_share_is_no_syncopation(ticks: int) -> None:
    tune = read(packed(track(delayed(ticks), *FACTS)))
    assert heard(tune) == PLAIN
    # 480 ticks are half a second where no tempo is told.
    way = f"{round(abs(ticks) * 500 / TICKS)} milliseconds"
    (line,) = told(tune, "Q11")
    assert line == (
        f"All notes come about {way} {'late' if ticks > 0 else 'early'}, as in a "
        "recording; put in time together."
    )
    assert not told(tune, "Q05")


@pytest.mark.parametrize("seed", range(4))
def test_a_late_performance_is_put_in_time_before_its_notes_are(seed: int) -> None:
    notes: list[TuneNote] = []
    for at, long, key in in_a_row(" ".join([TUNE] * 4)):
        pitch = parse_pitch({60: "C4", 62: "D4", 64: "E4", 65: "F4", 67: "G4"}[key])
        notes.append(TuneNote(Fraction(at), Fraction(long), pitch))
    # 90 milliseconds at 120 crotchets a minute; players stray by up to 30.
    rows = [(at + 0.18, long, key) for at, long, key in performed(notes, 120, seed)]
    tune = read(packed(track(rows, *FACTS)))
    assert heard(tune) == " ".join([PLAIN] * 4)
    (line,) = told(tune, "Q11")
    assert abs(int(line.split()[4]) - 90) <= 8


def test_a_tune_that_is_syncopated_stays_so() -> None:
    text = "-:1/4 60:1/2 62:1/2 64:1/2 65:1/2 64:1/2 62:1/2 60:3/4"
    tune = read(packed(track(in_a_row(text), *FACTS)))
    assert heard(tune).split()[:2] == ["-:1/4", "C4:1/2"]
    assert not tune.remarks


@pytest.mark.parametrize("over", [15, 30, 60, 120, 239, 241, 400, 479])
def test_a_last_note_held_over_the_bar_line_is_cut_there(over: int) -> None:
    *rows, (at, long, key) = in_a_row(TUNE)
    tune = read(packed(track([*rows, (at, long + over / TICKS, key)], *FACTS)))
    assert heard(tune) == PLAIN
    assert told(tune, "Q12") == [
        "Bar 2, beat 5: the last note is held on beyond its beat; cut here."
    ]


def test_a_last_note_held_a_little_over_its_beat_is_cut_on_it() -> None:
    rows = [*in_a_row("60 62 64 65 67"), (5, 1 + Fraction(30, TICKS), 60)]
    tune = read(packed(track(rows, *FACTS)))
    assert heard(tune) == "C4:1 D4:1 E4:1 F4:1 G4:1 C4:1 -:2"
    assert [line[:13] for line in told(tune, "Q12")] == ["Bar 2, beat 3"]


def test_a_last_note_that_print_writes_as_one_is_kept_over_a_bar_line() -> None:
    # A pickup of a quaver without a bar of its own puts every bar line a quaver late.
    tune = read(packed(track(in_a_row("60:1/2 62 64 65 67:3/2"), *FACTS)))
    assert heard(tune) == "C4:1/2 D4:1 E4:1 F4:1 G4:3/2 -:3"
    assert not tune.remarks


@pytest.mark.parametrize("gate", [75, 66, 60, 50, 40, 25])
def test_staccato_of_a_program_keeps_its_beat(gate: int) -> None:
    rows = [(at, long * Fraction(gate, 100), key) for at, long, key in in_a_row(TUNE)]
    tune = read(packed(track(rows, *FACTS)))
    assert heard(tune) == PLAIN
    (line,) = told(tune, "Q13")
    assert line == (
        f"The notes stop after about {gate} per cent of their time, as in staccato; "
        "each is written as long as the beat that it takes."
    )


def test_staccato_of_a_player_keeps_its_beat() -> None:
    shares = (0.42, 0.55, 0.48, 0.5, 0.38, 0.6, 0.45, 0.52, 0.44, 0.5)
    strays = (0.01, -0.01, 0.02, 0.0, -0.02, 0.01, 0.0, 0.015, -0.01, 0.01)
    rows: list[Row] = [
        (float(at) + 0.02 + stray, float(long) * share, key)
        for (at, long, key), share, stray in zip(
            in_a_row(TUNE), shares, strays, strict=True
        )
    ]
    tune = read(packed(track(rows, *FACTS)))
    assert heard(tune) == PLAIN
    assert len(told(tune, "Q13")) == 1


def test_a_few_rests_after_short_notes_are_no_staccato() -> None:
    text = "60:1/2 -:1/2 62:1/2 -:1/2 64:1/2 -:1/2 65"
    tune = read(packed(track(in_a_row(text), *FACTS)))
    assert heard(tune) == "C4:1/2 -:1/2 D4:1/2 -:1/2 E4:1/2 -:1/2 F4:1"
    assert not tune.remarks


def never_let_go(rows: list[Row]) -> mido.MidiTrack:
    """Return a track in which notes are struck and none is let go of."""
    made = mido.MidiTrack()
    waited = 0
    for message in track(rows, *FACTS):
        waited += message.time
        if message.type != "note_off":
            made.append(message.copy(time=waited))
            waited = 0
    return made


def test_a_file_that_never_lets_go_says_so_and_loses_no_note() -> None:
    tune = read(packed(never_let_go(in_a_row(TUNE))))
    assert heard(tune) == PLAIN
    assert told(tune) == [
        (
            "The file does not say when notes end: each was taken to last until the "
            "next one. Check the lengths."
        )
    ]


def test_chords_that_are_never_let_go_of_end_together() -> None:
    rows: list[Row] = [
        row for at in range(4) for row in ((at, 1, 60), (at, 1, 67 + at))
    ]
    tune = read(packed(never_let_go(rows)))
    assert heard(tune) == "G4:1 G#4:1 A4:1 Bb4:1"
    assert [line[:25] for line in told(tune)][1:] == ["Several notes sound toget"]
