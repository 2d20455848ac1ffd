"""The strokes of each left-hand pattern, counted by hand."""

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import music21  # noqa: TID251 (the outside check of intervals)
import pytest
from makers.left_hands import FOUR, SIX, THREE, TWO, left, plays, tune_of, typed

from harmonise.arranging.job import arrange
from harmonise.left_hand.walking import leading_notes
from harmonise.notation.formats import read_tune
from harmonise.rules.table import check
from harmonise.theory.arrangement import (
    PATTERNS,
    Arrangement,
    Hand,
    HarmonicRhythm,
    LeftHand,
    Style,
    Voice,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import Mode, parse_key
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))

# Rows of the trade's table of left-hand patterns, common practice, under C and then G.
ROWS = [
    (LeftHand.HELD, FOUR, "C3:4 G2:4"),
    (LeftHand.REPEATED, FOUR, "C3:1 C3:1 C3:1 C3:1 G2:1 G2:1 G2:1 G2:1"),
    (LeftHand.OCTAVE, FOUR, "C2+C3:4 G1+G2:4"),
    (LeftHand.ROOT_FIFTH, FOUR, "C3:2 G3:2 G2:2 D3:2"),
    (LeftHand.ROOT_FIFTH, TWO, "C3:1 G3:1 G2:1 D3:1"),
    (LeftHand.ROOT_FIFTH, SIX, "C3:3/2 G3:3/2 G2:3/2 D3:3/2"),
    (LeftHand.DRONE, FOUR, "C3+G3:4 G2+D3:4"),
    (LeftHand.WALTZ, THREE, "C3:1 E3+G3:1 E3+G3:1 G2:1 D3+G3:1 D3+G3:1"),
    (LeftHand.MARCH, FOUR, "C3:1 E3+G3:1 G2:1 E3+G3:1 G2:1 D3+G3:1 D2:1 D3+G3:1"),
    (LeftHand.BROKEN, THREE, "C3:1 G3:1 E4:1 G2:1 D3:1 G3:1"),
    (LeftHand.JIG, SIX, "C3:1 G3:1/2 C3:1 G3:1/2 G2:1 D3:1/2 G2:1 D3:1/2"),
    (LeftHand.WALKING, FOUR, "C3:2 B2:1 A2:1 G2:2 A2:1 B2:1"),
]


@pytest.mark.parametrize("rhythm", [HarmonicRhythm.BAR, HarmonicRhythm.HALF_BAR])
@pytest.mark.parametrize(("pattern", "tune", "notes"), ROWS)
def test_each_pattern_is_the_row_of_the_table(
    pattern: LeftHand, tune: Tune, notes: str, rhythm: HarmonicRhythm
) -> None:
    # A chord that is held over both halves of a bar is one chord for its pattern.
    assert plays(tune, pattern, 1, 2, rhythm=rhythm) == notes


# Strokes counted by hand, common practice; chords typed beat by beat in a bar of C5s,
# which the next bar follows on C. A number is crotchets, h is half of one.
BEATS = [
    (LeftHand.MARCH, "C - - G", "C3:1 E3+G3:1 G2:1 G2:1"),
    (LeftHand.MARCH, "C F - -", "C3:1 F2:1 C3+A3:1 C2:1"),
    (LeftHand.MARCH, "F - - -", "F2:1 C3+A3:1 C2:1 C3+A3:1"),
    (LeftHand.MARCH, "C - F -", "C3:1 E3+G3:1 F2:1 C3+A3:1"),
    (LeftHand.ROOT_FIFTH, "F - - -", "F2:2 C3:2"),
    (LeftHand.ROOT_FIFTH, "C - F -", "C3:2 F2:2"),
    (LeftHand.ROOT_FIFTH, "C F - -", "C3:1 F2:2 C3:1"),
    (LeftHand.BROKEN, "C - - F", "C3:h G3:h C4:h G3:h C3:h G3:h F2:h C3:h"),
    (LeftHand.REPEATED, "C - - F", "C3:1 C3:1 C3:1 F2:1"),
    (LeftHand.OCTAVE, "C - - F", "C2+C3:3 F1+F2:1"),
    (LeftHand.DRONE, "C - - F", "C3+G3:3 F2+C3:1"),
    (LeftHand.HELD, "C - - F", "C3:3 F2:1"),
    # Scale notes in the last beats; half a beat where the chord lasts one only, by step
    # or within the chord; nothing between roots a step apart, or down a fourth in one.
    (LeftHand.WALKING, "C - - F", "C3:1 D3:1 E3:1 F3:1"),
    (LeftHand.WALKING, "C - Am F", "C3:1 B2:1 A2:h G2:h F2:1"),
    (LeftHand.WALKING, "C F Dm F", "C3:h E3:h F3:h E3:h D3:h E3:h F3:1"),
    (LeftHand.WALKING, "F C - -", "F2:1 C2:3"),
    (LeftHand.WALKING, "F - G7 -", "F2:2 G2:1 B2:1"),
]  # fmt: skip


@pytest.mark.parametrize(("pattern", "chords", "notes"), BEATS)
def test_a_pattern_begins_with_its_chord_and_runs_while_it_lasts(
    pattern: LeftHand, chords: str, notes: str
) -> None:
    tune = tune_of(f"C5 C5 C5 C5 | C5 - - -\nChords: {chords} | C")
    done = plays(tune, pattern, 1, rhythm=HarmonicRhythm.BEAT)
    assert done == notes.replace(":h", ":1/2")


def test_a_fifth_without_room_above_goes_below() -> None:
    # Under E4 there is no B3; E2 with B2 would growl: common practice.
    tune = tune_of("E4 - - - | C5 - - -\nChords: Em | C")
    assert plays(tune, LeftHand.ROOT_FIFTH, 1) == "E3:2 B2:2"


def test_after_a_silence_a_pattern_begins_anew() -> None:
    tune = tune_of("C5 E5 G5 E5 | C5 0\nE5 C5 | E5 - - -")
    march = plays(tune, LeftHand.MARCH, 2, rhythm=HarmonicRhythm.HALF_BAR)
    assert march == "C3:1 C3:1 E3+G3:1"


def test_over_chords_the_right_hand_strikes_once_while_it_can_hold() -> None:
    # The beat before a line ends may bring another chord, but brings none here: the E
    # under G A A G is held and not struck again with the last G.
    body = "F A Bb C5 | C5 - - - | F A Bb C5 | G A A G |\nC5 - - -"
    tune = tune_of(f"{body}\nChords: F | F | F | C | F", key="F")
    done = arrange(tune, Style(2, left_hand=LeftHand.MARCH), explained=False)
    inner = [n for n in done.notes if n.voice is Voice.INNER and 12 <= n.onset < 16]
    assert [f"{n.pitch}:{n.length}" for n in inner] == ["E4:4"]


def test_a_march_in_f_goes_low_and_high_and_down_to_the_fifth() -> None:
    # When the saints: a chord a bar is a chord a bar, however often it might change.
    tune = tune_of("0 F A Bb | C5 - - - | - F A Bb | C5 - - - | F - - -", key="F")
    march = plays(tune, LeftHand.MARCH, 2, 3, rhythm=HarmonicRhythm.HALF_BAR)
    assert march == " ".join(["F2:1 C3+A3:1 C2:1 C3+A3:1"] * 2)


def test_a_broken_chord_goes_in_quavers_root_fifth_octave_fifth() -> None:
    halves = "1/2 G3:1/2 C4:1/2 G3:1/2"
    assert plays(FOUR, LeftHand.BROKEN, 1) == f"C3:{halves} C3:{halves}"


def test_slots_shorter_than_the_pattern_have_as_much_of_it_as_fits() -> None:
    style = Style(harmonic_rhythm=HarmonicRhythm.BEAT, left_hand=LeftHand.WALTZ)
    tune = tune_of("C5 D5 E5 | C5 - -\nChords: C G C | C", "Time: 3/4")
    bass = {str(n.pitch.name) for n in left(arrange(tune, style))}
    assert bass == {"C", "G"}
    halves = Style(harmonic_rhythm=HarmonicRhythm.HALF_BAR, left_hand=LeftHand.MARCH)
    done = arrange(tune_of("E5 - D5 - | C5 - - -"), halves)
    assert typed(done, 1) == "C3:1 E3+G3:1 G2:1 D3+G3:1"


def test_fingers_of_a_pattern_are_its_own() -> None:
    style = Style(left_hand=LeftHand.WALTZ, fingering=True)
    first = [n for n in left(arrange(THREE, style)) if n.onset < Fraction(3)]
    assert [note.finger for note in first] == [5, 2, 1, 2, 1]


def right_notes(done: Arrangement, number: int) -> int:
    """Return how many right-hand notes are struck as a bar begins."""
    bar = next(bar for bar in done.tune.bars if bar.number == number)
    onset = bar.start
    return sum(n.onset == onset and n.hand is Hand.RIGHT for n in done.notes)


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda own: own.value)
def test_the_right_hand_thins_as_the_table_says(pattern: LeftHand) -> None:
    # Full chord under single roots and octaves; two notes, or fewer, under the rest.
    full = {
        LeftHand.HELD, LeftHand.REPEATED, LeftHand.OCTAVE, LeftHand.ROOT_FIFTH,
        LeftHand.WALKING,
    }  # fmt: skip
    tune = next(own for own in (FOUR, THREE, SIX) if pattern.suits(own.bars[0].time))
    done = arrange(tune, Style(left_hand=pattern))
    assert right_notes(done, 1) == (3 if pattern in full else 2)
    low = [n.pitch.pitch_class for n in left(done) if n.onset < tune.bars[0].end]
    every = {n.pitch.pitch_class for n in done.notes if n.onset < tune.bars[0].end}
    assert {0, 4} <= every
    assert 0 in low


def test_the_leading_note_is_left_to_one_voice() -> None:
    tune = tune_of("E5 C5 E5 | B4 D5 B4 | C5 E5 C5 | C5 - -", "Time: 3/4")
    done = arrange(tune, Style(3, HarmonicRhythm.BAR, left_hand=LeftHand.WALTZ))
    second = tune.bars[1]
    low = [n for n in left(done) if second.start <= n.onset < second.end]
    assert "B" not in {str(note.pitch.name) for note in low}
    assert len(low) == 5


# Up a fourth, down a fourth: the trade's own examples. Between roots a step apart is
# nothing. Minor raises 6 and 7 on the way up to the keynote (melodic minor, any
# textbook).
WALKS = [
    ("C3 F3", "C major", "C", 2, "D3 E3"),
    ("C3 G2", "C major", "C", 2, "B2 A2"),
    ("F2 G2", "C major", "F", 1, ""),
    ("C3 D3", "G major", "C", 3, ""),
    ("C3 F3", "C major", "C", 1, "E3"),
    ("E3 A3", "A minor", "E", 2, "F#3 G#3"),
    ("A2 D3", "A minor", "Am", 2, "B2 C3"),
    ("A3 E3", "A minor", "Am", 2, "G3 F3"),
    ("D3 G3", "C major", "D", 2, "E3 F#3"),
    ("G2 F2", "C major", "G", 3, ""),
    ("E2 F2", "C major", "Em", 3, ""),
    ("C3 F3", "C major", "C", 0, ""),
]


@pytest.mark.parametrize(("roots", "key", "chord", "most", "way"), WALKS)
def test_a_walking_bass_goes_through_the_scale(
    roots: str, key: str, chord: str, most: int, way: str
) -> None:
    start, goal = map(parse_pitch, roots.split())
    found = leading_notes(start, goal, parse_key(key), parse_symbol(chord), most)
    assert " ".join(map(str, found)) == way


@pytest.mark.parametrize("tonic", ["A", "D", "E", "G", "C", "F#", "Bb", "G#"])
def test_the_way_up_to_a_minor_keynote_is_the_melodic_minor_scale(tonic: str) -> None:
    # music21's MelodicMinorScale, ascending from the fifth degree to the eighth.
    scale = music21.scale.MelodicMinorScale(tonic.replace("b", "-"))
    degrees = [
        scale.pitchFromDegree(n, direction=music21.scale.Direction.ASCENDING)
        for n in (6, 7)
    ]
    key = parse_key(f"{tonic} minor")
    goal = key.tonic.at(60 + key.tonic.pitch_class)
    fifth = key.name_at(5)
    start = fifth.at(goal.midi - 5)
    chord = parse_symbol(f"{fifth}")
    way = leading_notes(start, goal, key, chord, 3)
    names = [str(pitch.name).replace("b", "-") for pitch in way]
    assert names == [degree.name for degree in degrees]


def test_leading_notes_stand_between_roots_and_in_the_scale() -> None:
    found = 0
    for path in TUNES:
        tune = read_tune(path)
        if not LeftHand.WALKING.suits(tune.bars[0].time):
            continue
        done = arrange(tune, Style(3, left_hand=LeftHand.WALKING))
        onsets = {slot.onset for slot in done.changes}
        for note, after in pairwise(left(done)):
            slot = [s for s in done.slots if s.onset <= note.onset][-1]
            assert slot.chord
            if note.pitch.name in slot.chord.members:
                continue
            assert note.onset not in onsets
            assert note.onset + note.length == after.onset
            assert abs(note.pitch.midi - after.pitch.midi) in (1, 2)
            # A minor key raises its sixth and seventh on the way up to the keynote.
            degree, alter = slot.key.degree(note.pitch.name)
            raised = slot.key.mode is Mode.MINOR and degree in (6, 7) and alter == 1
            assert alter == 0 or raised
            found += 1
    assert found > 20


def test_a_note_that_leads_nowhere_is_a_fault_and_one_that_leads_on_is_none() -> None:
    style = Style(1, HarmonicRhythm.BAR, left_hand=LeftHand.WALKING)
    done = arrange(FOUR, style, explained=False)
    assert "B2" in typed(done, 1)
    assert not [fault for fault in check(done) if fault.rule in ("M02", "M18")]
    away = tuple(
        note._replace(pitch=parse_pitch("F3")) if str(note.pitch) == "A2" else note
        for note in done.notes
    )
    found = [str(f) for f in check(done._replace(notes=away)) if f.rule == "M02"]
    assert found[0].startswith("Bar 1, beat 3: B2 sounds under C (C E G).")
    assert found[1].startswith("Bar 1, beat 4: F3 sounds under C (C E G).")
