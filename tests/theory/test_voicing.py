from itertools import combinations

import pytest
from oracles.drill_tables import NINE_VOICINGS, rows
from oracles.music21_reading import oracle_stack, typed

from harmonise.errors import NoHarmonyError
from harmonise.theory.arrangement import Position
from harmonise.theory.chord import (
    QUALITIES,
    TRIADS,
    Chord,
    Member,
    Quality,
    parse_symbol,
)
from harmonise.theory.key import Key, Mode, key_of_signature
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.pitch import Pitch, PitchName, parse_pitch
from harmonise.theory.voicing import (
    Voicing,
    close_right_hand,
    close_shape,
    displaced_note,
    doubled_third_shape,
    format_pitches,
    over_bass,
    position_of,
    positions,
    right_hand,
    spell,
    thin_shape,
)

MAJOR_KEYS = [key_of_signature(fifths, Mode.MAJOR) for fifths in range(-7, 8)]
SEVENTHS = [q for q in Quality if Chord(PitchName(0), q).is_seventh]
CASES = [(quality, interval) for quality in Quality for interval in range(12)]
ROWS = [pytest.param(row, id=" ".join(row[:3])) for row in rows(NINE_VOICINGS)]


def semitones(quality: Quality) -> list[int]:
    return [semitones for _, semitones in QUALITIES[quality].intervals]


def pitches(text: str) -> tuple[Pitch, ...]:
    return tuple(parse_pitch(word) for word in text.split())


def carry(pitch: Pitch, key: Key) -> Pitch:
    """Return a pitch of C major at the same degree of another key, not lower."""
    letters, up = key.tonic.letter, key.tonic.pitch_class
    return pitch.name.up(letters, up).at(pitch.midi + up)


def close_voicing(chord: Chord, top: Pitch) -> Voicing:
    return over_bass(chord, close_right_hand(chord, top))


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
@pytest.mark.parametrize("row", ROWS)
def test_the_nine_close_voicings_hold_in_every_key(key: Key, row: list[str]) -> None:
    numeral, tune, shape, position, span, _ = row
    chord = parse_numeral(numeral, key)
    right = tuple(carry(pitch, key) for pitch in pitches(shape))
    voicing = close_voicing(chord, carry(parse_pitch(tune), key))
    assert voicing.right == right
    assert voicing.span == int(span)
    assert [pitch.name for pitch in voicing.left] == [chord.root]
    assert position_of(chord, right) is Position(position)


@pytest.mark.parametrize("key", MAJOR_KEYS, ids=str)
@pytest.mark.parametrize("row", ROWS)
def test_music21_hears_the_same_chord_in_the_same_shape(
    key: Key, row: list[str]
) -> None:
    numeral, tune, _, position, _, _ = row
    chord = parse_numeral(numeral, key)
    voicing = close_voicing(chord, carry(parse_pitch(tune), key))
    oracle = oracle_stack(voicing.right)
    assert oracle.isMajorTriad()
    assert typed(oracle.root().name) == str(chord.root)
    order = ["root position", "first inversion", "second inversion"]
    assert order[oracle.inversion()] == position
    assert oracle.closedPosition().pitches == oracle.pitches


@pytest.mark.parametrize("quality", TRIADS, ids=lambda q: q.value)
def test_brute_force_finds_one_close_triad_under_each_tune_note_and_it_is_ours(
    quality: Quality,
) -> None:
    # Two counts. Close: all three members, none fitting between neighbours.
    members = set(semitones(quality))
    for interval in members:
        top = 60 + interval
        below = [note for note in range(top - 12, top) if (note - 60) % 12 in members]
        found = [
            (high, low)
            for low, high in combinations(below, 2)
            if {(n - 60) % 12 for n in (low, high, top)} == members
            and not any(
                low < note < top and note != high and (note - 60) % 12 in members
                for note in range(low, top)
            )
        ]
        assert found == [tuple(top - o for o in close_shape(quality, interval))]


@pytest.mark.parametrize(
    ("quality", "spans"),
    [
        (Quality.MAJOR, (7, 8, 9)),
        (Quality.MINOR, (7, 9, 8)),
        (Quality.DIMINISHED, (6, 9, 9)),
        (Quality.AUGMENTED, (8, 8, 8)),
    ],
)
def test_close_triads_span_at_most_a_major_sixth(
    quality: Quality, spans: tuple[int, ...]
) -> None:
    # Textbook figures: root position, first inversion, second inversion.
    chord = Chord(PitchName(0), quality)
    found = [shape[-1].midi - shape[0].midi for shape in positions(chord)]
    assert tuple(found) == spans


def test_the_tune_note_fixes_the_position_in_every_triad() -> None:
    # The law of positions, common practice.
    law = {
        Member.FIFTH: Position.ROOT,
        Member.ROOT: Position.FIRST,
        Member.THIRD: Position.SECOND,
    }
    for quality in TRIADS:
        for letter in range(7):
            chord = Chord(PitchName(letter), quality)
            for member, position in law.items():
                name = chord.member(member)
                assert name
                top = name.at(72 + name.pitch_class)
                right = close_voicing(chord, top).right
                assert position_of(chord, right) is position


@pytest.mark.parametrize(
    ("symbol", "shape"),
    [
        ("G7", "B4 D5 F5"),
        ("G7", "F4 B4 D5"),
        ("G7", "B3 F4 G4"),
        ("G7", "F4 G4 B4"),
        ("Dm7", "F4 A4 C5"),
        ("Dm7", "C4 F4 A4"),
        ("Bm7b5", "D4 F4 A4"),
    ],
)
def test_a_seventh_chord_takes_the_shape_of_the_textbook(
    symbol: str, shape: str
) -> None:
    # Common practice: third, fifth and seventh under the seventh; third, seventh and
    # fifth under the fifth; the fifth dropped under root and third.
    right = pitches(shape)
    found = close_voicing(parse_symbol(symbol), right[-1])
    assert found.right == right


@pytest.mark.parametrize("quality", SEVENTHS, ids=lambda q: q.value)
def test_third_and_seventh_are_never_dropped(quality: Quality) -> None:
    members = semitones(quality)
    for interval in members:
        heard = {interval, *(interval - o for o in close_shape(quality, interval))}
        assert {members[1], members[3]} <= {note % 12 for note in heard}


@pytest.mark.parametrize(("quality", "interval"), CASES)
def test_every_shape_lies_under_the_tune_within_an_octave(
    quality: Quality, interval: int
) -> None:
    shape = close_shape(quality, interval)
    assert list(shape) == sorted(set(shape))
    assert all(1 <= offset <= 11 for offset in shape)
    assert all((interval - o) % 12 in semitones(quality) for o in shape)
    assert len(shape) == 2 or quality is Quality.POWER
    assert len(thin_shape(quality, interval)) == 1


FOREIGN = [
    (quality, interval)
    for quality, interval in CASES
    if interval not in semitones(quality) and quality is not Quality.POWER
]


@pytest.mark.parametrize(("quality", "interval"), FOREIGN)
def test_a_foreign_tune_note_can_resolve_to_the_member_that_it_displaces(
    quality: Quality, interval: int
) -> None:
    goal = displaced_note(quality, interval)
    if goal is None:  # A minor third from both of its neighbours.
        assert (quality, interval) == (Quality.DIMINISHED, 9)
        return
    members = semitones(quality)
    assert min((interval - goal) % 12, (goal - interval) % 12) <= 2
    heard = {(interval - offset) % 12 for offset in close_shape(quality, interval)}
    assert goal not in heard
    if len(members) == 3:
        assert heard | {goal} == set(members)


@pytest.mark.parametrize(("quality", "interval"), FOREIGN)
def test_under_a_foreign_tune_note_no_second_grates_and_the_third_stays(
    quality: Quality, interval: int
) -> None:
    shape = close_shape(quality, interval)
    assert shape[0] >= 3
    third = semitones(quality)[1]
    if displaced_note(quality, interval) != third:
        assert third in {(interval - offset) % 12 for offset in shape}


@pytest.mark.parametrize(
    ("symbol", "tune", "shape"),
    [
        ("C", "F5", "G4 C5 F5"),
        ("C", "D5", "E4 G4 D5"),
        ("C", "B4", "E4 G4 B4"),
        ("C", "A4", "C4 E4 A4"),
        ("Am", "B4", "C4 E4 B4"),
        ("G7", "C5", "D4 F4 C5"),
        ("G7", "E5", "F4 B4 E5"),
    ],
)
def test_suspensions_and_appoggiaturas_sound_as_in_a_textbook(
    symbol: str, tune: str, shape: str
) -> None:
    # Common practice: 4-3, 9-8, 7-8, 6-5, 9-8, the 4-3 over V7, its 6-5 (13th).
    chord, top = parse_symbol(symbol), parse_pitch(tune)
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    found = right_hand(chord, top, close_shape(chord.quality, interval))
    assert format_pitches(found) == shape


@pytest.mark.parametrize(
    ("symbol", "tune", "inner"),
    [
        ("C", "G4", "E4"),
        ("C", "C5", "E4"),
        ("C", "E5", "C5"),
        ("Dm", "D5", "F4"),
        ("G7", "F5", "B4"),
        ("G7", "D5", "B4"),
        ("C", "F5", "C5"),
        ("G7", "C5", "F4"),
    ],
)
def test_two_notes_keep_the_third(symbol: str, tune: str, inner: str) -> None:
    # Common practice of thinning; the last two rows hold back the third themselves.
    chord, top = parse_symbol(symbol), parse_pitch(tune)
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    found = right_hand(chord, top, thin_shape(chord.quality, interval))
    assert format_pitches(found) == f"{inner} {tune}"


def test_the_third_is_doubled_in_minor_triads_and_in_vi_of_minor_only() -> None:
    # Doubled in a major triad on the dominant it would be the leading note.
    plain = {case: doubled_third_shape(*case) for case in CASES}
    known = {case: doubled_third_shape(*case, submediant=True) for case in CASES}
    minor, major = (Quality.MINOR, 3), (Quality.MAJOR, 4)
    assert {case: s for case, s in plain.items() if s} == {minor: (8, 12)}
    assert {c: s for c, s in known.items() if s} == {minor: (8, 12), major: (9, 12)}


@pytest.mark.parametrize(
    ("symbol", "notes", "position"),
    [
        ("C", "C4 E4 G4", Position.ROOT),
        ("C", "E4 C5", Position.FIRST),
        ("G7", "F4 G4 B4", Position.THIRD),
        ("Am", "C4 E4 C5", Position.OPEN),
        ("C", "G4 C5 D5", Position.SECOND),
        ("C", "D5", None),
        ("C", "", None),
    ],
)
def test_the_lowest_right_hand_note_names_the_position(
    symbol: str, notes: str, position: Position | None
) -> None:
    chord = parse_symbol(symbol)
    assert position_of(chord, pitches(notes)) is position
    assert position_of(chord, pitches(notes)[::-1]) is position


def test_the_bass_of_an_inversion_is_the_one_that_the_symbol_names() -> None:
    found = close_voicing(parse_symbol("C/E"), parse_pitch("C5"))
    assert str(found) == "E3 | E4 G4 C5"


def test_a_low_tune_leaves_the_left_hand_no_room() -> None:
    found = close_voicing(parse_symbol("B"), parse_pitch("B2"))
    assert str(found) == " | D#2 F#2 B2"


def test_a_note_outside_the_chord_is_refused_by_name() -> None:
    with pytest.raises(NoHarmonyError) as caught:
        spell(parse_symbol("C"), 77)
    assert str(caught.value) == "MIDI note 77 is not in C (C E G)."


def test_a_voicing_knows_its_top_its_reach_and_all_its_pitches() -> None:
    voicing = Voicing(pitches("C3"), pitches("E4 G4 C5"))
    assert str(voicing.top) == "C5"
    assert voicing.span == 8
    assert format_pitches(voicing.pitches) == "C3 E4 G4 C5"
