from itertools import product

import pytest
from oracles.drill_tables import LEAST_MOTION, TWELVE_KEYS, rows

from harmonise.theory.arrangement import Position
from harmonise.theory.chord import TRIADS, Chord, Quality, parse_symbol
from harmonise.theory.key import Key, Mode, key_of_signature, parse_key
from harmonise.theory.motion import contrary_perfects, least_motion, motion, parallels
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.pitch import Pitch, parse_pitch
from harmonise.theory.reach import bass_under, window_note
from harmonise.theory.voicing import (
    Voicing,
    close_shape,
    format_pitches,
    position_of,
    positions,
    right_hand,
    spell,
)

POSITIONS = {
    "root": Position.ROOT,
    "first": Position.FIRST,
    "second": Position.SECOND,
}
MAJOR_KEYS = [key_of_signature(fifths, Mode.MAJOR) for fifths in range(-7, 8)]
TABLE_KEYS = [pytest.param(row, id=row[0]) for row in rows(TWELVE_KEYS)]
CHANGES = [pytest.param(row, id=" ".join(row[:3])) for row in rows(LEAST_MOTION)]


def pitches(text: str) -> tuple[Pitch, ...]:
    return tuple(parse_pitch(word) for word in text.split())


def in_position(chord: Chord, number: int) -> Voicing:
    """Return a chord in a position, 0 to 2, over its root in the window."""
    root = chord.root.at(window_note(chord.root.pitch_class))
    return Voicing((root,), positions(chord)[number])


def under(chord: Chord, midi: int) -> Voicing:
    """Return the close voicing of a chord under a tune note, over its root."""
    interval = (midi - chord.root.pitch_class) % 12
    right = right_hand(chord, spell(chord, midi), close_shape(chord.quality, interval))
    bass = bass_under(chord.root.pitch_class, right[0].midi)
    assert bass is not None
    return Voicing((chord.root.at(bass),), right)


def tops(chord: Chord, lowest: int, highest: int) -> list[int]:
    """Return the members of a chord from a MIDI number to another."""
    return [m for m in range(lowest, highest) if m % 12 in chord.pitch_classes]


def sounding(voicing: Voicing) -> list[int]:
    return [pitch.midi for pitch in voicing.pitches]


@pytest.mark.parametrize("row", TABLE_KEYS)
def test_the_drill_in_twelve_keys_is_the_printed_table(row: list[str]) -> None:
    key, left, *starts = row
    one, four, five = (parse_numeral(n, parse_key(key)) for n in ("I", "IV", "V"))
    for number, cell in enumerate(starts):
        home = in_position(one, number)
        found = [home, *(least_motion(home, chord)[0] for chord in (four, five))]
        assert " · ".join(format_pitches(voicing.right) for voicing in found) == cell
        assert " ".join(format_pitches(voicing.left) for voicing in found) == left


@pytest.mark.parametrize("row", TABLE_KEYS)
def test_the_drill_comes_home_to_the_shape_it_left(row: list[str]) -> None:
    one, four, five = (parse_numeral(n, parse_key(row[0])) for n in ("I", "IV", "V"))
    for number in range(3):
        home = in_position(one, number)
        for chord in (four, five):
            away = least_motion(home, chord)[0]
            assert least_motion(away, one)[0] == home


@pytest.mark.parametrize("row", CHANGES)
def test_least_motion_is_the_textbook_table_in_every_key(row: list[str]) -> None:
    key, first, second, moves, shapes = row
    sizes = sorted(int(move) for move in moves.split())
    expected = [POSITIONS[shape] for shape in shapes.split(", ")]
    for fifths in range(-7, 8):
        home = key_of_signature(fifths, parse_key(key).mode)
        before, after = parse_numeral(first, home), parse_numeral(second, home)
        for number, position in enumerate(expected):
            start = in_position(before, number)
            found = least_motion(start, after)[0]
            assert sorted(motion(start.right, found.right)) == sizes
            assert position_of(after, found.right) is position


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
def test_right_hands_move_three_nine_or_fifteen_semitones_to_iv_and_v(key: Key) -> None:
    # Common practice, counted: roots a fourth or fifth apart, tune less than a fifth
    # away or to the same member.
    one = parse_numeral("I", key)
    sums = set()
    for figure, top in product(("IV", "V"), tops(one, 72, 84)):
        other = parse_numeral(figure, key)
        start = under(one, top)
        for goal in tops(other, top - 7, top + 8):
            sizes = [abs(m) for m in motion(start.right, under(other, goal).right)]
            if abs(goal - top) == 7:
                continue
            sums.add(sum(sizes))
            assert (sum(sizes) == 3) == (0 in sizes)
            assert (sum(sizes) == 15) == (len(set(sizes)) == 1)
    assert sums == {3, 9, 15}


@pytest.mark.parametrize(
    ("pairs", "total"),
    [
        ("I IV 5 6, I IV 1 1, I IV 3 4, I V 5 5, I V 1 7, I V 3 2", 3),
        ("I IV 5 4, I IV 1 6, I IV 3 1, I V 1 2, I V 3 5, I V 5 7", 9),
        ("I IV 1 4, I IV 5 1, I IV 3 6, I V 1 5, I V 5 2, I V 3 7", 15),
    ],
)
def test_the_tune_chooses_how_far_the_hand_moves(pairs: str, total: int) -> None:
    # Textbook table of tune steps, by degree of the key: nearest chord note, the other
    # neighbour, and the same member of the other chord.
    for key in MAJOR_KEYS:
        for pair in pairs.split(", "):
            first, second, old, new = pair.split()
            start = under(parse_numeral(first, key), near(key, int(old), 72))
            top = near(key, int(new), start.top.midi)
            after = under(parse_numeral(second, key), top)
            assert sum(abs(m) for m in motion(start.right, after.right)) == total


def near(key: Key, degree: int, centre: int) -> int:
    """Return the place of a degree nearest a MIDI number."""
    name = key.name_at(degree)
    return min(
        (m for m in range(centre - 6, centre + 7) if m % 12 == name.pitch_class),
        key=lambda m: abs(m - centre),
    )


def all_pairs() -> list[tuple[Voicing, Voicing]]:
    """Return every close major or minor triad over its root and each that may follow.

    From C, by symmetry of transposition; tune moves of up to an octave.
    """
    found = []
    kinds = (Quality.MAJOR, Quality.MINOR)
    names = [
        pitch.name for pitch in pitches("C4 Db4 D4 Eb4 E4 F4 Gb4 G4 Ab4 A4 Bb4 B4")
    ]
    for quality in kinds:
        first = Chord(names[0], quality)
        others = [Chord(r, q) for r in names for q in kinds if r != first.root]
        for other, top in product(others, tops(first, 72, 84)):
            start = under(first, top)
            found += [(start, under(other, g)) for g in tops(other, top - 12, top + 13)]
    return found


def test_parallels_come_only_from_the_same_shape_twice() -> None:
    # Exhaustive: complete close triads over left-hand roots; third is member 3 or 4.
    pairs = all_pairs()
    faulty = [pair for pair in pairs if parallels(*map(sounding, pair))]
    assert len(pairs) > 700
    assert len(faulty) > 100
    assert all(member_shape(b) == member_shape(a) for b, a in faulty)


def member_shape(voicing: Voicing) -> tuple[int, ...]:
    """Return the members, counted in thirds, of the right hand from the lowest up."""
    root = voicing.left[0]
    return tuple((p.letter - root.letter) % 7 // 2 for p in voicing.right)


def test_the_same_shape_is_always_parallel_where_the_bass_moves_along() -> None:
    along = [
        (before, after)
        for before, after in all_pairs()
        if member_shape(before) == member_shape(after)
        and (after.left[0].midi - before.left[0].midi)
        * (after.top.midi - before.top.midi)
        > 0
    ]
    assert len(along) > 100
    assert all(parallels(sounding(before), sounding(after)) for before, after in along)


def test_v_goes_to_vi_by_the_doubled_third_under_the_leading_note() -> None:
    # Common practice: D4 G4 B4 to C4 E4 C5 over G2 and A2, moves -2, -3 and +1.
    start = Voicing(pitches("G2"), pitches("D4 G4 B4"))
    found = least_motion(start, parse_symbol("Am"))[0]
    assert str(found) == "A2 | C4 E4 C5"
    assert motion(start.right, found.right) == (-2, -3, 1)
    assert found.span == 12
    assert not parallels(sounding(start), sounding(found))


def test_v_goes_to_vi_of_minor_by_the_doubled_third_too() -> None:
    start = Voicing(pitches("A2"), pitches("E4 A4 C#5"))
    found = least_motion(start, parse_symbol("Bb"))[0]
    assert str(found) == "Bb2 | D4 F4 D5"
    assert not parallels(sounding(start), sounding(found))


def test_v_to_vi_under_two_and_one_is_fine_as_it_stands() -> None:
    start = Voicing(pitches("G2"), pitches("G4 B4 D5"))
    after = Voicing(pitches("A2"), pitches("E4 A4 C5"))
    assert not parallels(sounding(start), sounding(after))
    assert after in least_motion(start, parse_symbol("Am"))


def test_the_close_shape_of_vi_after_v_is_parallel() -> None:
    start = Voicing(pitches("G2"), pitches("D4 G4 B4"))
    plain = Voicing(pitches("A2"), pitches("E4 A4 C5"))
    found = [pair.name for pair in parallels(sounding(start), sounding(plain))]
    assert found == ["fifths", "octaves"]


@pytest.mark.parametrize(
    ("before", "after", "names"),
    [
        ("C3 G4", "D3 A4", ["fifths"]),
        ("C3 C4", "D3 D4", ["octaves"]),
        ("C4 C4", "D4 D4", ["octaves"]),
        ("C3 G4", "F3 C5", ["fifths"]),
        ("C3 G4", "C3 G4", []),
        ("C3 G4", "C3 G5", []),
        ("C3 G4", "D3 F4", []),
        ("C3 Gb4", "D3 A4", []),
        ("C3 G4", "G2 D5", []),
        ("C3 G4", "D4 A4 A5", ["fifths"]),
    ],
)
def test_parallels_are_two_perfect_intervals_in_one_direction(
    before: str, after: str, names: list[str]
) -> None:
    # Common practice: repeated notes, oblique and contrary motion are no parallels.
    old, new = ([p.midi for p in pitches(text)] for text in (before, after))
    assert [pair.name for pair in parallels(old, new)] == names


def test_a_silent_voice_makes_no_parallels() -> None:
    assert parallels((48, None), (50, 69)) == ()
    assert parallels((None, 67), (None, 69)) == ()


def test_fifths_in_contrary_motion_are_told_apart() -> None:
    old, new = (48, 67), (43, 74)
    assert parallels(old, new) == ()
    assert [pair.name for pair in contrary_perfects(old, new)] == ["fifths"]


def test_voices_are_compared_only_where_their_number_agrees() -> None:
    with pytest.raises(ValueError, match="zip"):
        motion(pitches("C4"), pitches("C4 E4"))


def test_seventh_chords_follow_as_the_nearest_shape_too() -> None:
    home = Voicing(pitches("C3"), pitches("E4 G4 C5"))
    found = least_motion(home, parse_symbol("G7"))[0]
    assert str(found) == "G2 | F4 G4 B4"
    assert str(least_motion(found, parse_symbol("C"))[0]) == str(home)


def test_a_tie_goes_to_the_shape_that_moves_against_the_bass() -> None:
    # Both shapes of Gb lie six semitones away; the bass falls from C3 to Gb2.
    home = Voicing(pitches("C3"), pitches("E4 G4 C5"))
    found = [str(voicing) for voicing in least_motion(home, parse_symbol("Gb"))]
    assert found[:2] == ["Gb2 | Gb4 Bb4 Db5", "Gb2 | Db4 Gb4 Bb4"]


def test_without_a_bass_before_a_tie_goes_to_the_smaller_largest_move() -> None:
    # Up 2, 2, 2 or down 2, 1, 3: six semitones either way, no fifths in the shape.
    home = Voicing((), pitches("E4 G4 C5"))
    found = least_motion(home, parse_symbol("D"))
    assert [motion(home.right, v.right) for v in found[:2]] == [(2, 2, 2), (-2, -1, -3)]


def test_every_triad_can_follow_every_voicing() -> None:
    home = Voicing(pitches("C3"), pitches("C4 E4 G4"))
    for quality in TRIADS:
        for name in home.right:
            assert least_motion(home, Chord(name.name, quality))
