from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from makers.profiles import spread
from music21 import roman  # noqa: TID251 (the oracle of the tests)

from harmonise.errors import NotationError
from harmonise.lessons.drill_makers import (
    DRILLED,
    STARTS,
    DrillWish,
    Exercise,
    questions,
)
from harmonise.lessons.drills import (
    DRILLS,
    all_keys,
    exercises,
    find_drill,
    progression,
)
from harmonise.rules.promise import assert_tune_on_top
from harmonise.theory.arrangement import Hand, LeftHand, Position, SoundingNote, Voice
from harmonise.theory.chord import Member
from harmonise.theory.key import Key, Mode, parse_key
from harmonise.theory.motion import parallels
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.reach import low_interval, right_hand_fingers
from harmonise.theory.voicing import format_pitches

TABLE = Path(__file__).parents[1] / "cases" / "drill_table.tsv"
SCALE_CHORDS = ("I", "V", "I", "IV", "I", "IV", "V", "I")
MINOR_TRIADS = """
A C E / D F A / E G# B; E G B / A C E / B D# F#; B D F# / E G B / F# A# C#;
F# A C# / B D F# / C# E# G#; C# E G# / F# A C# / G# B# D#;
G# B D# / C# E G# / D# F## A#;
Eb Gb Bb / Ab Cb Eb / Bb D F; Bb Db F / Eb Gb Bb / F A C; F Ab C / Bb Db F / C E G;
C Eb G / F Ab C / G B D; G Bb D / C Eb G / D F# A; D F A / G Bb D / A C# E
"""
"""i / iv / V in twelve minor keys by fifths; common practice."""


def keys_of(name: str) -> list[Key]:
    modes = find_drill(name).modes
    return [k for m in (False, True) for k in all_keys(minor=m) if k.mode in modes]


@cache
def every_exercise() -> tuple[Exercise, ...]:
    return tuple(
        own for drill in DRILLS for own in exercises(drill.name, keys_of(drill.name))
    )


def struck(exercise: Exercise) -> list[list[SoundingNote]]:
    """Return the notes that each chord begins with, from the lowest up."""
    score = exercise.score
    return [[n for n in score.notes if n.onset == slot.onset] for slot in score.slots]


def right(exercise: Exercise) -> list[str]:
    return [
        format_pitches([n.pitch for n in notes if n.hand is Hand.RIGHT])
        for notes in struck(exercise)
    ]


def left(exercise: Exercise) -> list[str]:
    return [str(n.pitch) for n in exercise.score.notes if n.hand is Hand.LEFT]


def table_rows() -> list[list[str]]:
    lines = TABLE.read_text("utf-8").splitlines()
    return [line.split("\t") for line in lines if not line.startswith(("#", "key"))]


@pytest.mark.parametrize("row", table_rows(), ids=lambda row: row[0])
def test_the_drill_in_twelve_keys_is_the_printed_table(row: list[str]) -> None:
    key, roots, *starts = row
    found = exercises("D1", [parse_key(key)])
    assert len(found) == len(starts) == 3
    for exercise, start in zip(found, starts, strict=True):
        one, four, five = start.split(" · ")
        low, lower, lowest = roots.split()
        assert right(exercise) == [one, four, one, five, one]
        assert left(exercise) == [low, lower, low, lowest, low]


def test_the_table_has_twelve_keys_in_the_order_of_fifths() -> None:
    assert [row[0] for row in table_rows()] == [str(k.tonic) for k in all_keys()]


def test_the_second_drill_is_the_first_in_all_keys() -> None:
    one = exercises("D1", all_keys())
    two = exercises("D2", all_keys())
    assert [own.score for own in two] == [own.score for own in one]
    assert find_drill("D2").twelve


def test_minor_drills_have_the_triads_of_the_books_with_raised_sevenths() -> None:
    printed = [row.strip() for row in MINOR_TRIADS.replace("\n", " ").split(";")]
    found = []
    for key in all_keys(minor=True):
        chords = [slot.chord for slot in exercises("D3", [key])[0].score.slots]
        wanted = [chords[0], chords[1], chords[3]]
        assert chords[3]
        assert chords[3].member(Member.THIRD) == key.name_at(7, 1)
        found.append(" / ".join(" ".join(map(str, c.members)) for c in wanted if c))
    assert found == printed


def test_chords_last_two_beats_and_the_last_one_a_bar() -> None:
    lengths = [note.length for note in exercises("D1", all_keys())[0].score.tune.notes]
    assert lengths == [2, 2, 2, 2, 4]


def test_twelve_keys_take_five_minutes_twenty_four_at_80() -> None:
    beats = sum(own.score.tune.end for own in exercises("D2", all_keys()))
    assert (beats, beats / 80) == (432, Fraction(27, 5))


@pytest.mark.parametrize("name", [drill.name for drill in DRILLS])
def test_the_last_chord_begins_on_a_bar_line(name: str) -> None:
    for own in exercises(name, keys_of(name)):
        tune = own.score.tune
        assert tune.bar_at(tune.notes[-1].onset).start == tune.notes[-1].onset
        assert tune.bars[-1].end == tune.notes[-1].end


def test_every_drill_in_every_key_keeps_hands_apart_and_within_reach() -> None:
    count = 0
    for own in every_exercise():
        assert_tune_on_top(own.score)
        for notes in struck(own):
            heights = [n.pitch.midi for n in notes if n.hand is Hand.RIGHT]
            assert max(heights) - min(heights) <= 12
            assert heights == sorted(set(heights))
        count += 1
    assert count > 800


def test_every_chord_is_spelled_as_its_numeral_says() -> None:
    seen = set()
    for own in every_exercise():
        seen |= {(own.key, slot.numeral, slot.chord) for slot in own.score.slots}
    assert len(seen) > 24 * 3
    for key, numeral, chord in seen:
        tonic = str(key.tonic).replace("b", "-")
        minor = key.mode is Mode.MINOR
        figure = numeral.replace("°", "o")
        theirs = roman.RomanNumeral(figure, tonic.lower() if minor else tonic)
        names = {pitch.name.replace("-", "b") for pitch in theirs.pitches}
        assert chord
        assert {str(name) for name in chord.members} == names


def test_every_note_is_a_member_of_its_chord_in_its_spelling() -> None:
    for own in every_exercise():
        for slot, notes in zip(own.score.slots, struck(own), strict=True):
            assert slot.chord
            assert {n.pitch.name for n in notes} <= set(slot.chord.members)


def test_no_drill_has_parallels_between_its_chords() -> None:
    for own in every_exercise():
        if own.drill in ("D6", "D9", "D11"):
            continue  # One chord; octaves on purpose; no music.
        heights = [[n.pitch.midi for n in notes] for notes in struck(own)]
        for before, after in pairwise(heights):
            assert parallels(before, after) == ()


def test_starting_positions_are_those_that_were_asked_for() -> None:
    for key in (*all_keys(), *all_keys(minor=True)):
        first = [own.score.slots[0].position for own in exercises("D4", [key])]
        assert first == [Position.ROOT, Position.FIRST, Position.SECOND]
    only = exercises("D1", [parse_key("C")], DrillWish(starts=(Position.SECOND,)))
    assert right(only[0])[0] == "G4 C5 E5"
    assert len(only) == 1


def test_positions_rotate_from_chord_to_chord() -> None:
    names = {
        own.label: " ".join(s.position.name for s in own.score.slots if s.position)
        for own in exercises("D1", [parse_key("Ab")])
    }
    assert names == {
        "from root position": "ROOT SECOND ROOT FIRST ROOT",
        "from first inversion": "FIRST ROOT FIRST SECOND FIRST",
        "from second inversion": "SECOND FIRST SECOND ROOT SECOND",
    }


def test_from_four_to_five_the_right_hand_falls_against_the_bass() -> None:
    for own in exercises("D4", [parse_key("C"), parse_key("A minor")]):
        four, five = struck(own)[1:3]
        falls = [b.pitch.midi - a.pitch.midi for a, b in zip(four, five, strict=True)]
        assert falls[0] > 0
        assert max(falls[1:]) < 0


def test_pairs_start_from_all_six_places_and_hold_one_note() -> None:
    found = exercises("D5", [parse_key("D")])
    assert len(found) == 6
    for own in found:
        one, two, three = (set(chord.split()) for chord in right(own))
        assert len(one & two) == 1
        assert one == three


def test_one_chord_goes_up_and_down_through_its_positions_with_fingers() -> None:
    own = exercises("D6", [parse_key("C")])[0]
    assert right(own) == ["C4 E4 G4", "E4 G4 C5", "G4 C5 E5", "E4 G4 C5", "C4 E4 G4"]
    fingers = [
        tuple(n.finger for n in notes if n.hand is Hand.RIGHT) for notes in struck(own)
    ]
    assert fingers == [(1, 3, 5), (1, 2, 5), (1, 3, 5), (1, 2, 5), (1, 3, 5)]
    assert fingers[1] == right_hand_fingers((64, 67, 72))


def test_the_scale_lies_on_top_and_the_left_hand_falls_from_four_to_five() -> None:
    own = exercises("D7", [parse_key("C")])[0]
    tops = [str(note.pitch) for note in own.score.tune.notes]
    assert tops == ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5"]
    assert [s.numeral for s in own.score.slots] == list(SCALE_CHORDS)
    assert left(own) == ["C3", "G2", "C3", "F2", "C3", "F3", "G2", "C3"]
    for key in all_keys():
        basses = [
            n.pitch.midi
            for n in exercises("D7", [key])[0].score.notes
            if n.voice is Voice.BASS
        ]
        assert basses[5] > basses[6]


def test_two_chords_share_their_top_note() -> None:
    under_one, under_five = exercises("D8", [parse_key("C")])
    assert right(under_one) == ["E4 G4 C5", "F4 A4 C5", "E4 G4 C5"]
    assert right(under_five) == ["C4 E4 G4", "B3 D4 G4", "C4 E4 G4"]


def test_every_pattern_has_the_root_on_every_chord() -> None:
    seen = set()
    for key in (*all_keys(), *all_keys(minor=True)):
        found = exercises("D9", [key], DrillWish(starts=STARTS))
        assert len(found) == 3 * len(DRILLED)
        for own in found:
            assert_tune_on_top(own.score)
            for slot, notes in zip(own.score.slots, struck(own), strict=True):
                low = [n for n in notes if n.hand is Hand.LEFT]
                assert slot.chord
                assert {n.pitch.name for n in low} == {slot.chord.root}
            seen.add(own.label)
    assert len(seen) == 3 * len(DRILLED)


@pytest.mark.parametrize("pattern", DRILLED, ids=lambda own: own.value)
@pytest.mark.parametrize("name", ["D6", "D7", "D8", "D10"])
def test_every_pattern_goes_under_every_drill(name: str, pattern: LeftHand) -> None:
    keys = spread(keys_of(name), 6, DRILLED.index(pattern))
    for own in exercises(name, keys, DrillWish(pattern=pattern, beats=4)):
        assert_tune_on_top(own.score)
        for slot, notes in zip(own.score.slots, struck(own), strict=True):
            low = [n.pitch.name for n in notes if n.hand is Hand.LEFT]
            assert slot.chord
            assert set(low) == {slot.chord.root}


def test_nothing_but_a_scale_goes_above_the_highest_note_of_the_table() -> None:
    highest = [
        max(note.pitch.midi for note in own.score.notes)
        for own in every_exercise()
        if own.drill != "D7"
    ]
    assert max(highest) == parse_pitch("Ab5").midi


def test_chords_of_a_waltz_lie_where_they_sound_clear() -> None:
    wish = DrillWish(pattern=LeftHand.WALTZ)
    pairs = 0
    for own in exercises("D1", (*all_keys(), *all_keys()), wish):
        by_onset: dict[Fraction, list[int]] = {}
        for note in own.score.notes:
            if note.hand is Hand.LEFT:
                by_onset.setdefault(note.onset, []).append(note.pitch.midi)
        for notes in by_onset.values():
            if len(notes) == 2:
                assert low_interval(*sorted(notes)) is None
                pairs += 1
    assert pairs > 24 * 3 * 2


@pytest.mark.parametrize(
    ("pattern", "notes"),
    [
        (LeftHand.HELD, "C3"),
        (LeftHand.REPEATED, "C3 C3"),
        (LeftHand.OCTAVE, "C2 C3"),
        (LeftHand.ROOT_FIFTH, "C3 G3"),
        (LeftHand.WALTZ, "C3 E3 G3 E3 G3"),
        (LeftHand.BROKEN, "C3 G3 C4 G3"),
    ],
    ids=lambda value: value.value if isinstance(value, LeftHand) else "",
)
def test_patterns_under_the_first_chord(pattern: LeftHand, notes: str) -> None:
    wish = DrillWish(starts=(Position.FIRST,), pattern=pattern)
    own = exercises("D1", [parse_key("C")], wish)[0]
    until = own.score.slots[0].end
    played = [n for n in own.score.notes if n.hand is Hand.LEFT and n.onset < until]
    assert format_pitches([n.pitch for n in played]) == notes


def test_a_seventh_falls_a_step_in_every_key() -> None:
    checked = 0
    for own in exercises("D10", (*all_keys(), *all_keys(minor=True))):
        for (slot, before), (_, after) in pairwise(
            zip(own.score.slots, struck(own), strict=True)
        ):
            if not (slot.chord and slot.chord.is_seventh):
                continue
            seventh = slot.chord.member(Member.SEVENTH)
            for old, new in zip(before, after, strict=True):
                if old.pitch.name == seventh:
                    assert new.pitch.midi - old.pitch.midi in (-1, -2)
                    checked += 1
    assert checked == 24 * 3


def test_shapes_to_be_named_are_nine_different_ones_with_their_answers() -> None:
    for key in (*all_keys(), *all_keys(minor=True)):
        asked = questions(key)
        assert len({question.notes for question in asked}) == 9
        for before, after in pairwise(asked):
            assert before.numbered.chord != after.numbered.chord
    answers = {q.question: q.answer for q in questions(parse_key("C"))}
    assert answers["In C major: D4 G4 B4"] == "G (V), second inversion, ⁶₄"


def test_a_progression_of_ones_own_goes_in_any_key() -> None:
    keys = [parse_key("C"), parse_key("Bb")]
    found = progression("I vi IV V7 I", keys, DrillWish(starts=(Position.FIRST,)))
    symbols = [" ".join(str(s.chord) for s in own.score.slots) for own in found]
    assert symbols == ["C Am F G7 C", "Bb Gm Eb F7 Bb"]
    assert right(found[0])[0] == "E4 G4 C5"


@pytest.mark.parametrize(
    ("numerals", "sentence"),
    [
        (
            "I IV X I",
            (
                '"X" is not a Roman numeral. Write I, IV, V7, ii, vi, vii°, I6/4 or '
                "V/V: capitals for major, small letters for minor."
            ),
        ),
        (
            " | ",
            (
                "There is no chord in this progression. "
                'Write Roman numerals, such as "I IV V7 I".'
            ),
        ),
        (
            "I V+6/5 I",
            ("V+6/5 is no chord of ours: augmented chords have no seventh. Write V+."),
        ),
        (
            "biv",
            (
                "biv in Cb major cannot be spelled. "
                "Use a key with fewer sharps or flats."
            ),
        ),
        (
            "I " * 33,
            "This progression has 33 chords; 32 is the most. Cut it into two.",
        ),
    ],
    ids=["no numeral", "nothing", "augmented", "spelling", "too long"],
)
def test_a_progression_that_cannot_be_read_is_refused(
    numerals: str, sentence: str
) -> None:
    with pytest.raises(NotationError) as caught:
        progression(numerals, [parse_key("Cb")])
    assert str(caught.value) == sentence


def test_a_drill_in_the_wrong_mode_is_refused() -> None:
    with pytest.raises(NotationError) as caught:
        exercises("D3", [parse_key("C")])
    assert str(caught.value) == (
        "D3 is a drill for minor keys, and C major is not one. "
        "Choose another key or another drill."
    )


def test_an_unknown_drill_is_refused_with_the_list_of_drills() -> None:
    with pytest.raises(NotationError) as caught:
        find_drill("D12")
    assert str(caught.value) == (
        'There is no drill "D12". '
        "Choose one of D1, D2, D3, D4, D5, D6, D7, D8, D9, D10, D11."
    )
