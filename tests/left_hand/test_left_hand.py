"""The left hand's patterns on whole tunes: root on the slot, room, metre, sections."""

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby, pairwise
from pathlib import Path

import music21  # noqa: TID251 (the outside check of intervals)
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes
from oracles.promises import TWO_HANDS, broken_promises

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError, NotationError
from harmonise.left_hand.patterns import suited_patterns
from harmonise.left_hand.sections import parse_sections
from harmonise.left_hand.walking import leading_notes
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.rules.score_view import Grade
from harmonise.rules.table import check
from harmonise.theory.arrangement import (
    PATTERNS,
    Arrangement,
    Hand,
    HarmonicRhythm,
    LeftHand,
    Section,
    SoundingNote,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import parse_pitch
from harmonise.theory.reach import LEFT_HAND_GAP, low_interval
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
EVERY = tuple(PATTERNS)
LAWS = settings(max_examples=examples(150), deadline=None, derandomize=True)


def tune_of(body: str, *heads: str, key: str = "C") -> Tune:
    return parse_tune_text("\n".join([f"Key: {key}", *heads, body]))[0]


def left(done: Arrangement) -> list[SoundingNote]:
    return [note for note in done.notes if note.hand is Hand.LEFT]


def typed(done: Arrangement, *bars: int) -> str:
    """Return the left hand of some bars: "C3:1 E3+G3:1", a length after each onset."""
    inside = [n for n in left(done) if done.tune.bar_at(n.onset).number in bars]
    groups = groupby(inside, key=lambda note: note.onset)
    rows = [list(struck) for _, struck in groups]
    return " ".join(f"{'+'.join(str(n.pitch) for n in r)}:{r[0].length}" for r in rows)


def plays(tune: Tune, pattern: LeftHand, *bars: int, level: int = 1) -> str:
    style = Style(level, HarmonicRhythm.BAR, left_hand=pattern)
    return typed(arrange(tune, style, explained=False), *bars)


FOUR = tune_of("E5 - G5 - | D5 - G5 - | E5 - G5 - | C5 - - -")
THREE = tune_of("E5 G5 E5 | D5 G5 D5 | E5 G5 E5 | C5 - -", "Time: 3/4")
TWO = tune_of("E5 G5 | D5 G5 | E5 G5 | C5 -", "Time: 2/4")
SIX = tune_of(
    "E5 - - G5 - - | D5 - - G5 - - | E5 - - G5 - - | C5 - - - - -", "Time: 6/8"
)
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


@pytest.mark.parametrize(("pattern", "tune", "notes"), ROWS)
def test_each_pattern_is_the_row_of_the_table(
    pattern: LeftHand, tune: Tune, notes: str
) -> None:
    assert plays(tune, pattern, 1, 2) == notes


def test_a_broken_chord_goes_in_quavers_root_fifth_octave_fifth() -> None:
    halves = "1/2 G3:1/2 C4:1/2 G3:1/2"
    assert plays(FOUR, LeftHand.BROKEN, 1) == f"C3:{halves} C3:{halves}"


def test_the_table_has_every_pattern_but_auto() -> None:
    assert set(PATTERNS) == set(LeftHand) - {LeftHand.AUTO}


def test_patterns_are_offered_where_the_metre_suits() -> None:
    # The "suits" column of the table, common practice.
    everywhere = {
        LeftHand.HELD, LeftHand.REPEATED, LeftHand.OCTAVE, LeftHand.DRONE
    }  # fmt: skip
    extra = {
        (3, 4): {LeftHand.WALTZ, LeftHand.BROKEN, LeftHand.WALKING},
        (6, 8): {LeftHand.ROOT_FIFTH, LeftHand.BROKEN, LeftHand.JIG},
        (9, 8): {LeftHand.BROKEN, LeftHand.JIG},
        (5, 4): set(),
    }
    even = {
        LeftHand.ROOT_FIFTH, LeftHand.MARCH, LeftHand.BROKEN, LeftHand.WALKING
    }  # fmt: skip
    extra |= dict.fromkeys(((2, 4), (4, 4), (2, 2)), even)
    for time, more in extra.items():
        assert set(suited_patterns(TimeSignature(*time))) == everywhere | more


def test_a_pattern_that_does_not_suit_is_refused_with_those_that_do() -> None:
    with pytest.raises(HarmoniseError) as caught:
        arrange(THREE, Style(left_hand=LeftHand.MARCH))
    assert str(caught.value) == (
        "A march does not suit 3/4. "
        "Choose one of held, repeated, octave, drone, waltz, broken, walking."
    )


# Settled by metre, level and tempo as the guide to "auto" says.
AUTO = [
    (FOUR, 1, "held"), (FOUR, 2, "held"), (FOUR, 3, "root-fifth"),
    (TWO, 3, "root-fifth"), (SIX, 4, "root-fifth"), (THREE, 3, "waltz"),
    (tune_of("C5 E5 G5 E5 C5", "Time: 5/4"), 3, "held"),
    (tune_of("C5 - - E5 - - G5 - -", "Time: 9/8"), 3, "jig"),
    (tune_of("C5.D5 E5 G5 - | C5 - - -", "Tempo: 60"), 3, "broken"),
    (tune_of("C5 E5 G5 E5 | C5 D5 E5 C5", "Tempo: 60"), 3, "held"),
]  # fmt: skip


@pytest.mark.parametrize(("tune", "level", "pattern"), AUTO)
def test_auto_is_settled_by_metre_level_and_tempo(
    tune: Tune, level: int, pattern: str
) -> None:
    assert arrange(tune, Style(level)).style.left_hand is LeftHand(pattern)


STYLES = st.tuples(
    st.integers(1, 4),
    st.sampled_from(HarmonicRhythm),
    st.sampled_from(TWO_HANDS),
    st.sampled_from(LeftHand),
).map(lambda row: Style(*row[:3], left_hand=row[3]))


def suited(tune: Tune, style: Style) -> Style:
    if style.left_hand.suits(tune.bars[0].time):
        return style
    return style._replace(left_hand=LeftHand.AUTO)


@given(tunes(most_notes=40, lowest=3), STYLES)
@LAWS
def test_patterns_change_no_chord_and_keep_the_promise(
    tune: Tune, style: Style
) -> None:
    own = suited(tune, style)
    done = arrange(tune, own, explained=False)
    held = arrange(tune, own._replace(left_hand=LeftHand.HELD), explained=False)
    assert [slot.numeral for slot in done.slots] == [s.numeral for s in held.slots]
    assert done.cost == held.cost
    assert not broken_promises(done, inversions=style.level == 4)


def together(notes: list[SoundingNote]) -> Iterator[list[SoundingNote]]:
    """Yield the notes that sound at each onset, from the lowest up."""
    for onset in sorted({note.onset for note in notes}):
        sound = [n for n in notes if n.onset <= onset < n.onset + n.length]
        yield sorted(sound, key=lambda note: note.pitch.midi)


@given(tunes(most_notes=40, lowest=3), STYLES)
@LAWS
def test_left_hand_chords_are_clear_and_leave_a_gap(tune: Tune, style: Style) -> None:
    done = arrange(tune, suited(tune, style), explained=False)
    octave = done.style.left_hand is LeftHand.OCTAVE
    for notes in together(list(done.notes)):
        hands = [[n for n in notes if n.hand is hand] for hand in Hand]
        right, low = hands
        for lower, upper in pairwise(low):
            assert octave or low_interval(lower.pitch.midi, upper.pitch.midi) is None
        if low and right:
            assert right[0].pitch.midi - low[-1].pitch.midi >= LEFT_HAND_GAP


@given(tunes(most_notes=40), STYLES)
@LAWS
def test_a_pattern_breaks_no_rule_that_a_held_root_keeps(
    tune: Tune, style: Style
) -> None:
    own = suited(tune, style)
    done = arrange(tune, own, explained=False)
    held = arrange(tune, own._replace(left_hand=LeftHand.HELD), explained=False)
    before = {(fault.rule, fault.place) for fault in check(held)}
    for fault in check(done):
        grave = fault.grade is Grade.NEVER or fault.rule == "M18"
        assert not grave or (fault.rule, fault.place) in before, str(fault)


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
@pytest.mark.parametrize("pattern", EVERY, ids=lambda own: own.value)
def test_our_tunes_have_the_root_on_every_slot(path: Path, pattern: LeftHand) -> None:
    tune = read_tune(path)
    if not pattern.suits(tune.bars[0].time):
        return
    done = arrange(tune, Style(3, left_hand=pattern), explained=False)
    low = left(done)
    count = 0
    for slot in done.slots:
        sound = [n for n in low if n.onset <= slot.onset < n.onset + n.length]
        if slot.chord is None or not sound:
            continue
        lowest = min(sound, key=lambda note: note.pitch.midi)
        assert lowest.pitch.name == slot.chord.root
        count += 1
    assert count > 4
    assert done.style.left_hand is pattern


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
@pytest.mark.parametrize("pattern", EVERY, ids=lambda own: own.value)
def test_the_last_chord_is_held_to_the_end(path: Path, pattern: LeftHand) -> None:
    tune = read_tune(path)
    if not pattern.suits(tune.bars[0].time):
        return
    done = arrange(tune, Style(3, left_hand=pattern), explained=False)
    last = done.changes[-1]
    final = [n for n in left(done) if n.onset >= max(last.onset, tune.bars[-1].start)]
    assert last.chord is not None
    assert {note.pitch.name for note in final} == {last.chord.root}
    assert {note.onset + note.length for note in final} == {tune.sounding[-1].end}
    assert len(final) == (2 if pattern is LeftHand.OCTAVE else 1)


def test_a_pickup_goes_without_the_left_hand() -> None:
    tune = read_tune(next(path for path in TUNES if path.stem == "auld_lang_syne"))
    for pattern in suited_patterns(tune.bars[0].time):
        assert min(n.onset for n in left(arrange(tune, Style(left_hand=pattern)))) == 1


def test_slots_shorter_than_the_pattern_have_as_much_of_it_as_fits() -> None:
    style = Style(harmonic_rhythm=HarmonicRhythm.BEAT, left_hand=LeftHand.WALTZ)
    tune = tune_of("C5 D5 E5 | C5 - -\nChords: C G C | C", "Time: 3/4")
    bass = {str(n.pitch.name) for n in left(arrange(tune, style))}
    assert bass == {"C", "G"}
    halves = Style(harmonic_rhythm=HarmonicRhythm.HALF_BAR, left_hand=LeftHand.MARCH)
    done = arrange(tune_of("E5 - D5 - | C5 - - -"), halves)
    assert typed(done, 1) == "C3:1 E3+G3:1 G2:1 D3+G3:1"


def right_notes(done: Arrangement, number: int) -> int:
    """Return how many right-hand notes are struck as a bar begins."""
    bar = next(bar for bar in done.tune.bars if bar.number == number)
    onset = bar.start
    return sum(n.onset == onset and n.hand is Hand.RIGHT for n in done.notes)


@pytest.mark.parametrize("pattern", EVERY, ids=lambda own: own.value)
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


# Up a fourth, down a fourth, up a tone: the trade's own examples; minor raises 6 and 7
# on the way up to the keynote (melodic minor, any textbook).
WALKS = [
    ("C3 F3", "C major", "C", 2, "D3 E3"),
    ("C3 G2", "C major", "C", 2, "B2 A2"),
    ("F2 G2", "C major", "F", 1, "F#2"),
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


def test_leading_notes_stand_between_roots_and_never_on_a_slot() -> None:
    found = 0
    for path in TUNES:
        tune = read_tune(path)
        if not LeftHand.WALKING.suits(tune.bars[0].time):
            continue
        done = arrange(tune, Style(3, left_hand=LeftHand.WALKING))
        onsets = {slot.onset for slot in done.slots}
        for note, after in pairwise(left(done)):
            slot = [s for s in done.slots if s.onset <= note.onset][-1]
            assert slot.chord
            if note.pitch.name not in slot.chord.members:
                assert note.onset not in onsets
                assert note.onset + note.length == after.onset
                assert abs(note.pitch.midi - after.pitch.midi) in (1, 2)
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


def test_a_change_of_time_falls_back_to_the_held_root_with_a_remark() -> None:
    tune = tune_of("E5 - C5 | D5 - B4 |\nTime: 4/4\nE5 - C5 - | C5 - - -", "Time: 3/4")
    done = arrange(tune, Style(3, HarmonicRhythm.BAR, left_hand=LeftHand.WALTZ))
    told = [str(remark) for remark in done.remarks if remark.code == "LEFT"]
    assert told == ["Bar 3: a waltz does not suit 4/4; the left hand holds the root."]
    assert typed(done, 3) == "C3:4"
    assert typed(done, 1).startswith("C3:1 ")


def labelled(tune: Tune, **labels: int) -> Tune:
    """Return a tune with labels over some bars, by their index."""
    bars = list(tune.bars)
    for label, index in labels.items():
        bars[index] = bars[index]._replace(section=label)
    return tune._replace(bars=tuple(bars))


LABELLED = labelled(
    tune_of("E5 - G5 - | D5 - G5 - | E5 - G5 - | D5 - G5 - | C5 - - -"),
    Verse=0,
    Chorus=2,
)


def test_a_section_has_a_left_hand_of_its_own() -> None:
    style = Style(1, HarmonicRhythm.BAR, left_hand=LeftHand.HELD)
    own = style._replace(sections=parse_sections("chorus root-fifth, 2 repeated"))
    done = arrange(LABELLED, own)
    plain = arrange(LABELLED, style)
    assert typed(done, 1, 2, 3) == "C3:4 G2:1 G2:1 G2:1 G2:1 C3:2 G3:2"
    assert [s.numeral for s in done.slots] == [s.numeral for s in plain.slots]


def test_a_section_has_a_texture_of_its_own() -> None:
    tune = tune_of("E5 G5 E5 C5 | E5 G5 E5 C5 | C5 - - -")
    style = Style(1, HarmonicRhythm.BAR, Texture.HELD, left_hand=LeftHand.HELD)
    done = arrange(tune, style._replace(sections=parse_sections("2-2 block")))
    inner = [n.onset for n in done.notes if n.voice is Voice.INNER]
    assert len({onset for onset in inner if onset < 4}) < 4
    assert {onset for onset in inner if 4 <= onset < 8} == {4, 5, 6, 7}


def test_sections_are_read_and_written() -> None:
    text = "9-16 broken, Chorus octave held, Verse 2 block, 3 held"
    found = parse_sections(text)
    assert found == (
        Section("", 9, 16, LeftHand.BROKEN),
        Section("Chorus", left_hand=LeftHand.OCTAVE, texture=Texture.HELD),
        Section("Verse 2", texture=Texture.BLOCK),
        Section("", 3, 3, LeftHand.HELD),
    )


WRONG = [
    (
        "Chorus loud",
        (
            '"Chorus loud" does not end in a left hand or a texture (held, repeated, '
            "octave, root-fifth, drone, waltz, march, broken, jig, walking, block). "
            "Write it as in 9-16 broken, Chorus octave."
        ),
    ),
    (
        "16-9 broken",
        (
            '"16-9 broken": bar 9 comes before bar 16. '
            "Write it as in 9-16 broken, Chorus octave."
        ),
    ),
]


@pytest.mark.parametrize(("text", "sentence"), WRONG)
def test_sections_typed_wrong_are_told_how_to_type_them(
    text: str, sentence: str
) -> None:
    with pytest.raises(NotationError) as caught:
        parse_sections(text)
    assert str(caught.value) == sentence


MISSING = [
    (
        "Bridge octave",
        'The tune has no section "Bridge". Its sections are Verse, Chorus.',
    ),
    ("4-9 octave", "The tune has no bars 4-9. Its last bar is 5."),
    (
        "Chorus jig",
        (
            "Chorus: a jig does not suit 4/4. Choose one of held, repeated, octave, "
            "root-fifth, drone, march, broken, walking."
        ),
    ),
]


@pytest.mark.parametrize(("text", "sentence"), MISSING)
def test_sections_that_the_tune_lacks_are_refused(text: str, sentence: str) -> None:
    with pytest.raises(HarmoniseError) as caught:
        arrange(LABELLED, Style(sections=parse_sections(text)))
    assert str(caught.value) == sentence


def test_fingers_of_a_pattern_are_its_own() -> None:
    style = Style(left_hand=LeftHand.WALTZ, fingering=True)
    first = [n for n in left(arrange(THREE, style)) if n.onset < Fraction(3)]
    assert [note.finger for note in first] == [5, 2, 1, 2, 1]
