"""What the MIDI door makes of notes and bars, in files made with mido."""

from fractions import Fraction

import pytest
from makers.midi_files import (
    FACTS,
    bars,
    heard,
    in_a_row,
    key_sign,
    one,
    packed,
    read,
    time_sign,
    told,
    track,
)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("60 62 64 65", "C4:1 D4:1 E4:1 F4:1"),
        ("60:3/2 62:1/2 64:2", "C4:3/2 D4:1/2 E4:2"),
        (
            "60:1/3 62:1/3 64:1/3 65:2/3 67:1/3 72:2",
            "C4:1/3 D4:1/3 E4:1/3 F4:2/3 G4:1/3 C5:2",
        ),
        ("60:3/4 62:1/4 64:3", "C4:3/4 D4:1/4 E4:3"),
        (
            "60:1/8 62:1/8 64:1/4 60:1/2 62:1/6 64:1/6 65:1/6 62:1/2 60:2",
            "C4:1/8 D4:1/8 E4:1/4 C4:1/2 D4:1/6 E4:1/6 F4:1/6 D4:1/2 C4:2",
        ),
        (
            "60:1/5 62:1/5 64:1/5 65:1/5 67:1/5 60:3",
            "C4:1/5 D4:1/5 E4:1/5 F4:1/5 G4:1/5 C4:3",
        ),
        ("60 -:1 62:1/2 -:1/2 64", "C4:1 -:1 D4:1/2 -:1/2 E4:1"),
        ("60:3 -:2 62:3", "C4:3 -:1 -:1 D4:3"),
        ("-:1 60:3", "-:1 C4:3"),
        ("60:2", "C4:2 -:2"),
        ("60:6 62:2", "C4:6 D4:2"),
    ],
    ids=[
        "crotchets", "dotted crotchet", "triplets", "dotted quaver", "demisemiquavers",
        "quintuplet", "rests", "rest over a bar line", "rest at the beginning",
        "rest at the end", "note over a bar line",
    ],
)  # fmt: skip
def test_notes_on_the_grid_are_taken_as_they_are(text: str, wanted: str) -> None:
    tune = one(text)
    assert heard(tune) == wanted
    assert not tune.remarks


@pytest.mark.parametrize("ticks", [24, 96, 120, 384, 480, 960, 10_080])
def test_any_number_of_ticks_gives_the_same_notes(ticks: int) -> None:
    text = "60:1/3 62:1/3 64:1/3 65:3/4 67:1/4 72:2 71:1/2 69:1/2 67:3"
    data = packed(track(in_a_row(text), *FACTS, ticks=ticks), ticks=ticks)
    tune = read(data)
    assert [str(note.length) for note in tune.sounding] == [
        word.partition(":")[2] for word in text.split()
    ]
    assert not tune.remarks


@pytest.mark.parametrize("gate", ["95/100", "90/100", "80/100", "75/100"])
def test_a_program_that_lets_go_early_writes_no_rests(gate: str) -> None:
    rows = in_a_row("60 62:1/2 64:1/2 65:2 67:3/2 65:1/2 64:1/4 62:1/4 60:1/2 60")
    short = [(at, Fraction(gate) * Fraction(long), note) for at, long, note in rows]
    tune = read(packed(track(short, *FACTS)))
    assert [(n.onset, n.length) for n in tune.sounding] == [row[:2] for row in rows]


def test_notes_off_the_grid_are_moved_and_counted() -> None:
    at = (0.02, 0.97, 2.03, 3.01, 3.98, 5.02, 6.04, 6.95)
    rows = [(onset, 0.8, 60 + number) for number, onset in enumerate(at)]
    tune = read(packed(track(rows, *FACTS)))
    assert [note.onset for note in tune.sounding] == list(range(8))
    assert {note.length for note in tune.sounding} == {1}
    assert told(tune, "Q05") == [
        (
            "The notes lie off the grid, as in a performance. Moved to the nearest "
            "likely place: 8 of 8 notes, none by more than 1/12 of a crotchet."
        )
    ]
    assert not told(tune, "Q06")


def test_a_note_that_no_grid_holds_is_placed_and_named() -> None:
    rows = [(float(at), 0.9, 60) for at in range(16)]
    rows[9] = (9.11, 0.8, 62)
    rows[3] = (3.02, 0.9, 60)
    tune = read(packed(track(rows, *FACTS)))
    assert [note.onset for note in tune.sounding] == list(range(16))
    assert told(tune, "Q06") == [
        (
            "Bar 3, beat 2: no grid holds them, so moved by more than 1/12 of a "
            "crotchet: 1 note, the first here. Check the rhythm there."
        )
    ]


def test_two_notes_played_as_one_become_a_grace_and_its_note() -> None:
    rows = [(0.01, 0.9, 60), (0.99, 0.03, 64), (1.03, 0.9, 62), (2.02, 1.9, 60)]
    tune = read(packed(track(rows, *FACTS)))
    assert [str(note.pitch) for note in tune.sounding] == ["C4", "D4", "C4"]
    assert [str(grace.pitch) for grace in tune.notes[1].graces] == ["E4"]
    assert told(tune, "Q07") == [
        (
            "Bar 1, beat 2: played together with the next note, so read as grace "
            "notes: 1 note, the first here."
        )
    ]


@pytest.mark.parametrize(
    ("text", "start", "wanted", "numbers"),
    [
        ("67 60:4 60:3", 3, "G4:1 C4:4 C4:3", "0:1 1:4 2:3"),
        ("67 60:4 60:3", 11, "G4:1 C4:4 C4:3", "0:1 1:4 2:3"),
        ("67:1/2 65:1/2 60:4", 7, "G4:1/2 F4:1/2 C4:4", "0:1 1:4"),
        ("67:2 60:4 60:2", 2, "G4:2 C4:4 C4:2", "0:2 1:4 2:2"),
        ("67:3 60:4", 1, "-:1 G4:3 C4:4", "1:4 2:4"),
        ("60:4 62:4", 8, "C4:4 D4:4", "1:4 2:4"),
        ("60:4 62:2", 0, "C4:4 D4:2 -:2", "1:4 2:4"),
    ],
    ids=[
        "rest of most of a bar", "after silent bars", "quavers", "half a bar",
        "rest of a beat stays", "silent bars", "no pickup",
    ],
)  # fmt: skip
def test_a_pickup_is_known_by_the_rest_before_it(
    text: str, start: float, wanted: str, numbers: str
) -> None:
    tune = one(text, *FACTS, start=start)
    assert heard(tune) == wanted
    assert bars(tune) == numbers
    assert told(tune, "Q04") == (
        [(f"The tune begins after {start // 4} bar{'s' * (start > 7)} of the file, in "
         "which it is silent; left out.")] if start > 4 else []
    )  # fmt: skip


def test_a_pickup_is_known_by_a_time_signature_of_its_own() -> None:
    signs = (time_sign("1/4"), time_sign("4/4", 1), key_sign("C"))
    tune = one("67 60:4 60:3", *signs)
    assert bars(tune) == "0:1 1:4 2:3"
    assert tune.bars[0].offset == 3
    assert str(tune.bars[0].time) == "4/4"


def test_a_count_in_on_the_drums_is_left_out() -> None:
    clicks = track(in_a_row("76 77 77 77 76 77 77"), name="Clicks", channel=9)
    notes = track(in_a_row("67 60:4 60:3", start=7), *FACTS, name="Tune")
    tune = read(packed(track([], *FACTS), clicks, notes))
    assert bars(tune) == "0:1 1:4 2:3"


def test_bars_follow_the_files_own_metre() -> None:
    signs = (time_sign("6/8"), time_sign("2/4", 6), key_sign("G"))
    tune = one("67 71:1/2 74:3/2 72 69:1/2 67:3/2 66 69 67:2", *signs)
    assert bars(tune) == "1:3 2:3 3:2 4:2"
    assert [str(bar.time) for bar in tune.bars] == ["6/8", "6/8", "2/4", "2/4"]


def test_a_file_without_a_time_signature_is_read_in_4_4_and_told() -> None:
    tune = one("60 62 64 65 67", key_sign("C"))
    assert str(tune.bars[0].time) == "4/4"
    assert told(tune) == [
        (
            "The file gives no time signature at its beginning: read as 4/4. If the "
            "bar lines are wrong, give it one."
        )
    ]


def test_crotchets_played_short_are_no_quavers_with_rests() -> None:
    at = (0.02, 0.99, 2.03, 3.01, 3.98, 5.02, 6.04, 6.97)
    rows = [(onset, 0.6, 60 + number) for number, onset in enumerate(at)]
    tune = read(packed(track(rows, *FACTS)))
    assert {note.length for note in tune.notes} == {1}
