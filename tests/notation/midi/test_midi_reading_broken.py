"""MIDI files that cannot be read: one sentence each, and nothing else."""

import sys
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers.midi_files import (
    FACTS,
    in_a_row,
    meta,
    packed,
    refused,
    time_sign,
    track,
)
from oracles.tune_shape import assert_whole

from harmonise.errors import HarmoniseError, LibraryError, MelodyError
from harmonise.notation.midi.reading import parse_midi

GOOD = packed(
    track([], *FACTS, meta("set_tempo", 0, tempo=500_000), name="Steps"),
    track(
        [*in_a_row("60 62:1/3 64:1/3 65:1/3 67:2", start=3), *in_a_row("48:8")],
        meta("lyrics", 3, text="Oh-"),
        meta("marker", 4, text="A"),
        name="Tune",
    ),
)


def test_type_2_and_film_time_are_refused_with_a_sentence() -> None:
    good = packed(track(in_a_row("60")))
    assert refused(good[:9] + b"\x02" + good[10:]) == (
        "This MIDI file is of type 2, several pieces that do not belong together; "
        "types 0 and 1 are read. Save the tune alone, as type 0 or 1."
    )
    assert refused(good[:12] + b"\xe7\x28" + good[14:]) == (
        "This MIDI file counts film frames (SMPTE time), not beats, so it has no bars. "
        "Export it with a number of ticks in each beat."
    )


@pytest.mark.parametrize(
    ("data", "what"),
    [
        (b"MThd", "This MIDI file is broken: it ends too early."),
        (b"MThd\0\0\0\6\0\1\0\1\0\0", "This MIDI file is broken: it ends too early."),
        (b"MThd\0\0\0\6\0\1\0\0\0\0", "This MIDI file is broken."),
        (b"MThd\0\0\0\6\0\1\0\1\1\xe0RIFF\0\0\0\0", "This MIDI file is broken."),
        (GOOD[:-9], "This MIDI file is broken: it ends too early."),
        (b"MThd" + b"\xff" * 1_000_000, "This MIDI file is broken."),
    ],
    ids=["head only", "no track", "no ticks", "RIFF", "cut", "endless number"],
)  # fmt: skip
def test_a_broken_file_is_refused_with_a_sentence(data: bytes, what: str) -> None:
    assert refused(data).startswith(what)


def test_too_many_bars_and_odd_metres_are_refused() -> None:
    long = packed(track([(0, 1, 60), (8004, 1, 60)], *FACTS, ticks=24), ticks=24)
    assert (
        refused(long) == "The tune has more than 2,000 bars. Take one tune out of it."
    )
    odd = packed(track(in_a_row("60"), time_sign("40/4")))
    assert refused(odd) == (
        "Bar 1: the time signature 40/4 is not read. The upper number must be 1 to 32, "
        "the lower 1 to 128."
    )
    late = packed(track(in_a_row("60"), time_sign("4/4"), time_sign("3/256", 8)))
    assert refused(late).startswith("Bar 3: the time signature 3/256 is not read.")
    fast = [(Fraction(number, 64), Fraction(1, 64), 60) for number in range(20_001)]
    assert refused(packed(track(fast, *FACTS))) == (
        "The tune has more than 20,000 notes. Take one tune out of it."
    )


def test_a_file_of_drums_alone_holds_no_tune() -> None:
    with pytest.raises(MelodyError) as caught:
        parse_midi(packed(track(in_a_row("60 62"), channel=9)))
    assert str(caught.value) == "There is no note in this tune. Add its notes."


def test_without_mido_one_sentence_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "mido", None)
    with pytest.raises(LibraryError) as caught:
        parse_midi(b"MThd")
    assert str(caught.value) == (
        "MIDI files need mido, which is not installed. Install it: pip install mido."
    )


@given(
    cut=st.integers(0, len(GOOD)),
    flips=st.dictionaries(
        st.integers(4, len(GOOD) - 1), st.integers(0, 255), max_size=6
    ),
)
def test_a_damaged_file_never_shows_anything_but_our_own_errors(
    cut: int, flips: dict[int, int]
) -> None:
    damaged = bytearray(GOOD)
    for at, value in flips.items():
        damaged[at] = value
    for data in (bytes(damaged), bytes(damaged[:cut])):
        try:
            (tune,) = parse_midi(data)
        except HarmoniseError as error:
            message = str(error)
        else:
            assert_whole(tune)
            message = "."
        assert message.endswith(".")
