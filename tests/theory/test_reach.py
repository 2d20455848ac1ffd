import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from oracles.music21_reading import oracle_semitones

from harmonise.theory.key import Mode, key_of_signature, parse_key
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.reach import (
    LEFT_HAND_GAP,
    LEFT_HAND_LOWEST,
    NEAREST_HIGHEST,
    WINDOW_HIGHEST,
    WINDOW_LOWEST,
    bass_places,
    bass_under,
    is_hollow,
    low_interval,
    nearest_bass,
    window_note,
)

LAWS = settings(deadline=None, derandomize=True, max_examples=examples(300))
CLASSES = st.integers(0, 11)
HEIGHTS = st.integers(36, 90)
LOW_LIMITS = {
    "m2": "E3", "M2": "Eb3", "m3": "C3", "M3": "B2", "P4": "A2", "A4": "Bb2",
    "P5": "C#2", "m6": "F2", "M6": "F2", "m7": "F2", "M7": "F2",
}  # fmt: skip
"""Arrangers' low-interval limits (lower note), the table used for warnings."""


def midi(text: str) -> int:
    return parse_pitch(text).midi


def test_the_window_runs_from_f2_to_e3_and_holds_each_note_once() -> None:
    places = [window_note(pitch_class) for pitch_class in range(12)]
    assert sorted(places) == list(range(midi("F2"), midi("E3") + 1))
    assert [place % 12 for place in places] == list(range(12))
    assert (midi("F2"), midi("E3")) == (WINDOW_LOWEST, WINDOW_HIGHEST)


def test_primary_roots_in_c_are_c3_f2_and_g2() -> None:
    # Textbook example of the window.
    roots = [parse_numeral(n, parse_key("C")).root for n in ("I", "IV", "V")]
    found = [str(root.at(window_note(root.pitch_class))) for root in roots]
    assert found == ["C3", "F2", "G2"]


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_a_root_in_the_window_keeps_its_spelling(fifths: int) -> None:
    key = key_of_signature(fifths, Mode.MAJOR)
    for name in key.scale:
        assert name.at(window_note(name.pitch_class)).name == name


@LAWS
@given(CLASSES, HEIGHTS)
def test_the_bass_clears_the_right_hand_or_is_left_out(
    pitch_class: int, lowest_right: int
) -> None:
    found = bass_under(pitch_class, lowest_right)
    usual = window_note(pitch_class)
    if found is None:
        assert usual - 12 < LEFT_HAND_LOWEST or usual - 12 > lowest_right - 3
        assert usual > lowest_right - 3
        return
    assert found in (usual, usual - 12)
    assert LEFT_HAND_LOWEST <= found <= lowest_right - LEFT_HAND_GAP
    assert (found == usual) == (usual + LEFT_HAND_GAP <= lowest_right)


@LAWS
@given(CLASSES, HEIGHTS, st.integers(36, 55), st.integers(-12, 12))
def test_the_nearest_bass_is_nearest_and_goes_against_the_tune_on_a_tie(
    pitch_class: int, lowest_right: int, previous: int, tune: int
) -> None:
    places = [
        place
        for place in range(midi("C2"), midi("G3") + 1)
        if place % 12 == pitch_class and place <= lowest_right - 3
    ]
    assert list(bass_places(pitch_class, lowest_right)) == places
    found = nearest_bass(pitch_class, lowest_right, previous, tune)
    if not places:
        assert found is None
        return
    assert found in places
    distances = {place: abs(place - previous) for place in places}
    best = [p for p in places if distances[p] == min(distances.values())]
    assert found in best
    if len(best) == 2 and tune:
        assert (found - previous) * tune < 0
    assert max(places) <= NEAREST_HIGHEST


@pytest.mark.parametrize("name", list(LOW_LIMITS))
def test_an_interval_is_muddy_below_its_limit_and_clear_from_it_up(name: str) -> None:
    limit = parse_pitch(LOW_LIMITS[name])
    size = oracle_semitones(name)
    assert low_interval(limit.midi, limit.midi + size) is None
    below = low_interval(limit.midi - 1, limit.midi - 1 + size)
    assert below is not None
    assert below.limit == limit.midi
    assert (below.lower, below.upper) == (limit.midi - 1, limit.midi - 1 + size)


def test_unisons_octaves_and_wider_are_clear_anywhere() -> None:
    for size in (0, 12, 13, 19, 24):
        assert low_interval(24, 24 + size) is None


@pytest.mark.parametrize(
    ("bass", "lowest", "hollow"),
    [("C3", "G4", False), ("C3", "Ab4", True), ("C2", "E4", True), ("F2", "C4", False)],
)
def test_more_than_an_octave_and_a_fifth_between_the_hands_is_hollow(
    bass: str, lowest: str, *, hollow: bool
) -> None:
    assert is_hollow(midi(bass), midi(lowest)) is hollow
