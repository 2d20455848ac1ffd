import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from oracles.music21_reading import oracle_interval, oracle_letters_up, oracle_pitch

from harmonise.errors import NotationError
from harmonise.theory.pitch import (
    Pitch,
    PitchName,
    format_pitch,
    parse_alter,
    parse_name,
    parse_pitch,
)

LAWS = settings(deadline=None, derandomize=True, max_examples=examples(300))
NAMES = st.builds(PitchName, st.integers(0, 6), st.integers(-2, 2))
PITCHES = st.builds(Pitch, st.integers(0, 6), st.integers(-2, 2), st.integers(0, 8))
INTERVALS = {
    "m2": (1, 1), "M2": (1, 2), "A2": (1, 3), "m3": (2, 3), "M3": (2, 4),
    "P4": (3, 5), "A4": (3, 6), "d5": (4, 6), "P5": (4, 7), "A5": (4, 8),
    "m6": (5, 8), "M6": (5, 9), "d7": (6, 9), "m7": (6, 10), "M7": (6, 11),
}  # fmt: skip
"""Letters and semitones of the intervals, common practice."""


@pytest.mark.parametrize(
    ("text", "midi"),
    [
        ("C4", 60), ("A4", 69), ("C-1", 0), ("G9", 127), ("B#3", 60), ("Cb4", 59),
        ("F##4", 67), ("Fx4", 67), ("Bbb4", 69), ("F♯4", 66), ("B♭3", 58), ("Bn3", 59),
    ],
)  # fmt: skip
def test_pitches_sound_as_the_midi_standard_numbers_them(text: str, midi: int) -> None:
    # MIDI 1.0: note 60 is middle C, 69 the A of 440 Hz; 0 and 127 are the ends.
    assert parse_pitch(text).midi == midi


@LAWS
@given(PITCHES)
def test_a_pitch_sounds_as_music21_says(pitch: Pitch) -> None:
    oracle = oracle_pitch(pitch)
    assert (pitch.midi, pitch.pitch_class) == (oracle.ps, oracle.pitchClass)
    assert pitch.staff_step == oracle.diatonicNoteNum - 1


@LAWS
@given(PITCHES)
def test_a_formatted_pitch_is_read_back(pitch: Pitch) -> None:
    assert parse_pitch(format_pitch(pitch)) == pitch
    assert parse_name(str(pitch.name)) == pitch.name


@LAWS
@given(PITCHES)
def test_a_name_placed_at_its_own_height_is_the_pitch_again(pitch: Pitch) -> None:
    assert pitch.name.at(pitch.midi) == pitch


def test_a_name_refuses_a_height_that_it_never_has() -> None:
    with pytest.raises(ValueError, match="F# never sounds as MIDI note 60"):
        parse_name("F#").at(60)


@pytest.mark.parametrize("interval", list(INTERVALS))
@pytest.mark.parametrize("alter", [-1, 0, 1])
@pytest.mark.parametrize("letter", range(7))
def test_intervals_above_a_name_are_spelled_as_music21_spells_them(
    interval: str, alter: int, letter: int
) -> None:
    name = PitchName(letter, alter)
    assert str(name.up(*INTERVALS[interval])) == oracle_letters_up(name, interval)


@LAWS
@given(PITCHES, PITCHES)
def test_letters_and_semitones_between_pitches_are_music21s(
    one: Pitch, other: Pitch
) -> None:
    oracle = oracle_interval(one, other)
    assert other.midi - one.midi == oracle.chromatic.semitones
    steps = other.staff_step - one.staff_step
    assert steps == oracle.diatonic.generic.staffDistance


@LAWS
@given(NAMES, st.sampled_from(list(INTERVALS)))
def test_an_interval_and_its_inversion_lead_back_to_the_same_name(
    name: PitchName, interval: str
) -> None:
    letters, semitones = INTERVALS[interval]
    assert name.up(letters, semitones).up(7 - letters, 12 - semitones) == name


@pytest.mark.parametrize("text", ["", "H4", "c4", "C", "C44x", "4C", "C4 ", "Cb#4"])
def test_what_is_not_a_pitch_is_named_in_the_error(text: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_pitch(text)
    assert str(caught.value) == f'"{text}" is not a pitch. Type one such as F#4.'


@pytest.mark.parametrize("text", ["", "H", "f#", "C4", "Fn"])
def test_what_is_not_a_note_name_is_named_in_the_error(text: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_name(text)
    assert str(caught.value) == f'"{text}" is not a note name. Type one such as F#.'


@pytest.mark.parametrize(
    ("sign", "alter"),
    [("", 0), ("n", 0), ("♮", 0), ("#", 1), ("♯", 1), ("x", 2), ("bb", -2), ("𝄫", -2)],
)
def test_accidental_signs_stand_for_their_semitones(sign: str, alter: int) -> None:
    assert parse_alter(sign) == alter
