"""Which part of a MIDI file is the tune, and which of its notes."""

import mido
import pytest
from makers.midi_files import FACTS, heard, in_a_row, packed, read, refused, told, track


def test_a_type_0_file_is_read_like_type_1() -> None:
    rows = in_a_row("67 60 62 64:2 60:2 -:1 62", start=3)
    together = packed(track(rows, *FACTS, name="Steps"), kind=0)
    apart = packed(track([], *FACTS, name="Steps"), track(rows, name="Any"))
    assert read(together) == read(apart)
    assert read(apart).title == "Steps"


def test_channels_of_one_track_are_parts() -> None:
    mixed = track(in_a_row("72 74 76 72"), *FACTS)
    low = track(in_a_row("48:2 43:2"), channel=3)
    drums = track(in_a_row("80 81 80 81"), channel=9)
    file = mido.MidiFile(type=0, ticks_per_beat=480)
    file.tracks.append(mido.merge_tracks([mixed, low, drums]))
    data = packed(*file.tracks, kind=0)
    assert heard(read(data)) == "C5:1 D5:1 E5:1 C5:1"
    assert heard(read(data, "channel 4")) == "C3:2 G2:2"
    assert told(read(data), "Q01") == [
        (
            'The tune was taken from "Channel 1", the highest of 2 parts; "Channel 4" '
            "left out. Name another part if the tune is there."
        )
    ]


def band(*names: str) -> bytes:
    """Return a file with a track of each name; each lies higher than the one before."""
    return packed(
        track([], *FACTS),
        *(
            track(in_a_row(f"{48 + 5 * number}:4"), name=name, channel=number)
            for number, name in enumerate(names)
        ),
    )


@pytest.mark.parametrize(
    ("names", "number"),
    [
        (("Bass", "Melody", "Flute"), 1),
        (("Lead Vocal", "Piano", "Strings"), 0),
        (("Alto", "Soprano", "Descant"), 1),
        (("Voice", "Tune", "Piano"), 1),
        (("Lead", "Backing vocals"), 0),
        (("Airports", "Piano"), 1),
        (("Left hand", "Right hand"), 1),
        (("", ""), 1),
    ],
)
def test_a_name_that_says_tune_is_taken_or_else_the_highest(
    names: tuple[str, ...], number: int
) -> None:
    tune = read(band(*names))
    assert [note.pitch.midi for note in tune.sounding if note.pitch] == [
        48 + 5 * number
    ]
    assert len(told(tune, "Q01")) == 1


def test_a_part_is_found_by_its_name_in_any_case() -> None:
    data = band("Soprano", "Tenor  I")
    tune = read(data, "tenor i")
    assert heard(tune) == "F3:4"
    assert not told(tune, "Q01")
    assert refused(data, "Oboe") == (
        'No part is called "Oboe". The file has "Soprano", "Tenor I".'
    )


def test_a_few_high_notes_are_no_tune() -> None:
    data = packed(
        track(in_a_row("60 62 64 65 67 65 64 62"), *FACTS, name="Strings"),
        track(in_a_row("96:1/2"), name="Bell", channel=1),
    )
    assert len(read(data).sounding) == 8


def test_of_chords_the_top_notes_are_the_tune_and_that_is_told() -> None:
    rows = [
        *in_a_row("60 62 64 60"), *in_a_row("55:2 55:2"), *in_a_row("40:4"),
    ]  # fmt: skip
    tune = read(packed(track(rows, *FACTS, name="Piano")))
    assert heard(tune) == "C4:1 D4:1 E4:1 C4:1"
    assert told(tune, "Q02") == [
        (
            'Several notes sound together in "Piano": the highest are the tune, and 3 '
            "notes under them left out. Name the part of the tune if it is another."
        )
    ]


def test_a_rolled_chord_keeps_its_top() -> None:
    rows = [(0, 2, 60), (0.03, 2, 64), (0.05, 1.95, 67), (2, 2, 65)]
    tune = read(packed(track(rows, *FACTS)))
    assert heard(tune) == "G4:2 F4:2"


def test_a_quick_note_under_the_end_of_another_belongs_to_the_line() -> None:
    rows = [(0, 0.6, 67), (0.5, 0.25, 65), (0.75, 0.25, 64), (1, 3, 60)]
    tune = read(packed(track(rows, *FACTS)))
    assert heard(tune) == "G4:1/2 F4:1/4 E4:1/4 C4:3"


def test_bound_notes_are_cut_where_the_next_begins() -> None:
    rows = [(0, 1.1, 60), (1, 1.12, 64), (2, 1.05, 62), (3, 1, 60)]
    tune = read(packed(track(rows, *FACTS)))
    assert heard(tune) == "C4:1 E4:1 D4:1 C4:1"
    assert told(tune) == [
        "3 notes held on into the next one, as a player does who binds them; cut there."
    ]
