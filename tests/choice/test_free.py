from itertools import pairwise, product

import pytest
from oracles.drill_tables import LEAST_MOTION, rows

from harmonise.choice.free import _layers, free_voicings, under_tune
from harmonise.theory.chord import Chord
from harmonise.theory.key import parse_key
from harmonise.theory.motion import motion, parallels
from harmonise.theory.numerals import parse_progression
from harmonise.theory.voicing import Voicing, over_bass, position_of, positions

SHAPES = ("root", "first", "second")


def row_of(numerals: str, key: str, start: int) -> list[Voicing]:
    chords = [own.chord for own in parse_progression(numerals, parse_key(key))]
    first = over_bass(chords[0], positions(chords[0])[start])
    return list(free_voicings(chords, first))


@pytest.mark.parametrize("row", rows(LEAST_MOTION), ids=lambda row: " ".join(row[:3]))
def test_changes_move_as_the_least_motion_table_says(row: list[str]) -> None:
    key, one, two, moves, shapes = row
    chord = parse_progression(two, parse_key(key))[0].chord
    for start, shape in enumerate(shapes.split(", ")):
        before, after = row_of(f"{one} {two}", key, start)
        found = sorted(motion(before.right, after.right), key=abs)
        assert found == sorted(map(int, moves.split()), key=abs)
        position = position_of(chord, after.right)
        assert position
        assert position.value.startswith(shape)


def _midis(voicing: Voicing) -> list[int]:
    return [pitch.midi for pitch in voicing.pitches]


def _measured(
    path: tuple[Voicing, ...], chords: list[Chord]
) -> tuple[int, int, int, int]:
    """Return faults, motion, similar motion and largest moves, counted anew."""
    faults = total = similar = largest = 0
    for chord, (before, after) in zip(chords, pairwise(path), strict=False):
        seventh = chord.members[-1] if chord.is_seventh else None
        moved = [b - a for a, b in zip(_midis(before), _midis(after), strict=True)]
        faults += len(parallels(_midis(before), _midis(after)))
        for old, new in zip(before.right, after.right, strict=True):
            step = new.midi - old.midi
            letters = new.staff_step - old.staff_step
            faults += abs(step) == 3 and abs(letters) == 1
            faults += old.name == seventh and step not in (0, -1, -2)
        total += sum(abs(step) for step in moved[1:])
        similar += sum(step * moved[0] > 0 for step in moved[1:])
        largest += max(abs(step) for step in moved[1:])
    return faults, total, similar, largest


@pytest.mark.parametrize("start", range(3))
@pytest.mark.parametrize(
    ("numerals", "key"),
    [
        ("I IV V I", "C"),
        ("I vi ii V", "Eb"),
        ("V vi IV", "D"),
        ("i iv V i", "C# minor"),
        ("i VI ii° V", "G minor"),
        ("ii V7 I", "C"),
        ("I vi V7 vi", "C"),
        ("I ii IV iii", "C"),
    ],
)
def test_no_other_way_through_the_shapes_is_smoother(
    numerals: str, key: str, start: int
) -> None:
    chords = [own.chord for own in parse_progression(numerals, parse_key(key))]
    first = over_bass(chords[0], positions(chords[0])[start])
    found = free_voicings(chords, first)
    ways = product(*_layers(chords, first))
    assert _measured(found, chords) == min(_measured(way, chords) for way in ways)


@pytest.mark.parametrize(
    ("numerals", "tops", "total"),
    [
        ("I IV", (67, 69), 3), ("I IV", (72, 72), 3), ("I IV", (64, 65), 3),
        ("I V", (67, 67), 3), ("I V", (72, 71), 3), ("I V", (64, 62), 3),
        ("I IV", (67, 65), 9), ("I IV", (72, 69), 9), ("I IV", (64, 60), 9),
        ("I V", (72, 74), 9), ("I V", (64, 67), 9), ("I V", (67, 71), 9),
        ("I IV", (72, 77), 15), ("I V", (67, 62), 15), ("I IV", (67, 72), 15),
    ],
)  # fmt: skip
def test_under_a_tune_hands_move_three_nine_or_fifteen_semitones(
    numerals: str, tops: tuple[int, int], total: int
) -> None:
    chords = [own.chord for own in parse_progression(numerals, parse_key("C"))]
    before, after = under_tune(chords, tops)
    assert sum(map(abs, motion(before.right, after.right))) == total


def test_vi_doubles_its_third_where_v_would_slide_into_it() -> None:
    assert list(map(str, row_of("V vi", "C", 2))) == ["G2 | D4 G4 B4", "A2 | C4 E4 C5"]


@pytest.mark.parametrize("numerals", ["I ii ii I", "V vi vi I", "I vi V7 vi"])
def test_a_third_is_doubled_only_in_vi_after_v(numerals: str) -> None:
    for start in range(3):
        words = numerals.split()
        for at, voicing in enumerate(row_of(numerals, "C", start)):
            names = {pitch.name for pitch in voicing.right}
            after_v = words[at] == "vi" and words[at - 1] in ("V", "V7")
            assert len(names) == 3 or (after_v and len(names) == 2)


def test_no_voice_goes_an_augmented_second_from_two_to_five_in_minor() -> None:
    for start in range(3):
        for before, after in pairwise(row_of("ii° V i", "A minor", start)):
            for old, new in zip(before.right, after.right, strict=True):
                letters = abs(new.staff_step - old.staff_step)
                assert (abs(new.midi - old.midi), letters) != (3, 1)


@pytest.mark.parametrize("numerals", ["I V6 I", "I V6/5 I", "I IV6 V6 I"])
def test_over_a_leading_note_in_the_bass_the_right_hand_has_none(numerals: str) -> None:
    for start in range(3):
        for voicing in row_of(numerals, "C", start):
            leading = [pitch for pitch in voicing.pitches if pitch.name.letter == 6]
            assert len(leading) <= 1
            assert len(voicing.right) == 3
