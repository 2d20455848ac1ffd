from fractions import Fraction

import pytest
from makers.rule_examples import parse_example
from oracles.drill_tables import NINE_VOICINGS, rows

from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.chord import Chord, Quality
from harmonise.theory.key import Mode, key_of_signature
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.reach import left_hand_fingers, right_hand_fingers, with_fingers
from harmonise.theory.voicing import positions

ROWS = [pytest.param(row, id=" ".join(row[:3])) for row in rows(NINE_VOICINGS)]


def heights(text: str) -> list[int]:
    return [parse_pitch(word).midi for word in text.split()]


def fingers(example: str) -> str:
    """Return the fingered notes of an example, moment by moment."""
    notes = with_fingers(parse_example(example).notes)
    moments: dict[Fraction, list[str]] = {}
    for note in notes:
        moments.setdefault(note.onset, []).append(f"{note.pitch}={note.finger}")
    return " | ".join(" ".join(row) for row in moments.values())


@pytest.mark.parametrize("row", ROWS)
def test_the_close_triads_have_the_fingers_of_the_printed_table(row: list[str]) -> None:
    _, _, shape, _, _, printed = row
    found = right_hand_fingers(heights(shape))
    assert " ".join(map(str, found)) == printed


@pytest.mark.parametrize("quality", [Quality.MAJOR, Quality.MINOR])
def test_positions_have_their_fingers_in_all_keys(quality: Quality) -> None:
    # Published charts: right 1-3-5, 1-2-5, 1-3-5; left 5-3-1, 5-3-1, 5-2-1.
    right = [(1, 3, 5), (1, 2, 5), (1, 3, 5)]
    left = [(5, 3, 1), (5, 3, 1), (5, 2, 1)]
    for fifths in range(-7, 8):
        root = key_of_signature(fifths, Mode.MAJOR).tonic
        for number, shape in enumerate(positions(Chord(root, quality))):
            midi = [pitch.midi for pitch in shape]
            assert right_hand_fingers(midi) == right[number]
            assert left_hand_fingers(midi) == left[number]


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        ("C4 C5", (1, 5)),
        ("C4 G4", (1, 5)),
        ("C4 F4", (1, 4)),
        ("C4 E4", (1, 3)),
        ("C4 D4", (1, 2)),
        ("B4 D5 F5", (1, 3, 5)),
        ("F4 B4 D5", (1, 3, 5)),
        ("B3 F4 G4", (1, 4, 5)),
        ("F4 G4 B4", (1, 2, 4)),
        ("C4 E4 C5", (1, 2, 5)),
        ("C5", ()),
    ],
)
def test_other_shapes_go_from_the_thumb_up(
    shape: str, expected: tuple[int, ...]
) -> None:
    # Common practice, from memory: octave and fifth 1-5, third 1-3, fourth 1-4.
    assert right_hand_fingers(heights(shape)) == expected


@pytest.mark.parametrize(
    ("shape", "expected"),
    [("C2 C3", (5, 1)), ("C3 G3", (5, 1)), ("E3 G3", (5, 3)), ("C3", ())],
)
def test_the_left_hand_mirrors_the_right(shape: str, expected: tuple[int, ...]) -> None:
    assert left_hand_fingers(heights(shape)) == expected


def test_left_hand_roots_of_c_lie_under_one_hand() -> None:
    # F2 5, G2 4, C3 1: the hand need not move.
    example = "C major: C | C5; F | C5; G | B4; C | C5"
    found = with_fingers(parse_example(example).notes)
    left = [(str(n.pitch), n.finger) for n in found if n.hand is Hand.LEFT]
    assert left == [("C3", 1), ("F2", 5), ("G2", 4), ("C3", 1)]


@pytest.mark.parametrize(
    ("example", "expected"),
    [
        ("C major: C | C5", "C3=5 E4=1 G4=2 C5=5"),
        ("C major: C | G5 A5 | C5 E5", "C3=5 C5=1 E5=3 G5=5 | A5=0"),
        ("C major: C | C5 B4 A4 B4", "C3=5 E4=1 G4=2 C5=5 | B4=4 | A4=3 | B4=4"),
        ("C major: C | C5 D5 | -", "C3=5 C5=0 | D5=0"),
        ("C major: C | C5 D5 | - | -", "C5=0 | D5=0"),
        (
            "C major: C | C5 A4; F | _ | C4 F4 | F2",
            "C3=1 E4=1 G4=2 C5=5 | A4=3 | F2=5 C4=0 F4=0",
        ),
        ("C major: F | C5; Am | _ | E4 | A2", "F2=5 F4=1 A4=3 C5=5 | A2=3 E4=1"),
    ],
)
def test_fingers_follow_the_hand(example: str, expected: str) -> None:
    assert fingers(example) == expected


def test_no_chord_ever_uses_a_finger_twice_or_crosses_them() -> None:
    example = "C major: C | E5 G5 F5 E5; F | F5 A5; G7 | F5 D5 B4 D5; C | C5 D5 C5"
    notes = with_fingers(parse_example(example).notes)
    for moment in notes:
        together = [n for n in notes if sounds_at(n, moment.onset)]
        right = [n for n in together if n.hand is Hand.RIGHT and n.finger]
        right.sort(key=lambda note: note.pitch.midi)
        used = [note.finger for note in right]
        assert used == sorted(set(used))
    assert sum(note.finger > 0 for note in notes if note.voice is Voice.TUNE) >= 8


def sounds_at(note: SoundingNote, onset: Fraction) -> bool:
    return note.onset <= onset < note.onset + note.length


def test_fingering_changes_nothing_but_fingers() -> None:
    notes = parse_example("C major: C | E5 G5; F | F5 A5; C | G5").notes
    bare = [note._replace(finger=0) for note in with_fingers(notes)]
    assert bare == list(notes)
