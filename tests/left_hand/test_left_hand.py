"""The left hand's patterns on whole tunes: root on the slot, room, metre, sections."""

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.left_hands import FOUR, SIX, THREE, TWO, left, tune_of
from makers.profiles import examples
from makers.tunes import tunes
from oracles.promises import TWO_HANDS, broken_promises

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError
from harmonise.left_hand.patterns import suited_patterns
from harmonise.notation.formats import read_tune
from harmonise.rules.score_view import Grade
from harmonise.rules.table import check
from harmonise.theory.arrangement import (
    PATTERNS,
    Hand,
    HarmonicRhythm,
    LeftHand,
    SoundingNote,
    Style,
    Texture,
)
from harmonise.theory.chord import Member
from harmonise.theory.metre import TimeSignature
from harmonise.theory.reach import LEFT_HAND_GAP, low_interval
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
EVERY = tuple(PATTERNS)
LAWS = settings(max_examples=examples(150), deadline=None, derandomize=True)


def test_the_table_has_every_pattern_but_auto() -> None:
    assert set(PATTERNS) == set(LeftHand) - {LeftHand.AUTO}


def test_patterns_are_offered_where_the_metre_suits() -> None:
    # The "suits" column of the table, common practice.
    everywhere = {
        LeftHand.HELD, LeftHand.REPEATED, LeftHand.OCTAVE, LeftHand.CHORDS,
        LeftHand.DRONE,
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
        "Choose one of held, repeated, octave, chords, drone, waltz, broken, walking."
    )


# Settled by metre, level and tempo as the guide to "auto" says.
AUTO = [
    (FOUR, 1, "held"), (FOUR, 2, "held"), (FOUR, 3, "root-fifth"),
    (tune_of("E5.F5 G5 | D5.E5 G5 | C5 -", "Time: 2/4"), 3, "root-fifth"),
    (tune_of("E5 D5 C5 G5 - - | C5 - - - - -", "Time: 6/8"), 4, "root-fifth"),
    # Root and fifth would plod under a tune that moves in beats, as a chorale does.
    (TWO, 3, "held"), (SIX, 4, "held"),
    (tune_of("C5 E5.D5 C5 G5 | A5 G5 F5.E5 D5 | C5 D5 C5 -"), 4, "held"),
    (THREE, 3, "waltz"),
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
def test_our_tunes_have_the_root_where_a_chord_begins(
    path: Path, pattern: LeftHand
) -> None:
    tune = read_tune(path)
    if not pattern.suits(tune.bars[0].time):
        return
    done = arrange(tune, Style(3, left_hand=pattern), explained=False)
    low = left(done)
    count, before = 0, None
    for slot in done.slots:
        sound = [n for n in low if n.onset <= slot.onset < n.onset + n.length]
        goes_on = before == (slot.chord, slot.place.bar)
        before = (slot.chord, slot.place.bar)
        if slot.chord is None or not sound or goes_on:
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
    assert {note.onset + note.length for note in final} == {tune.sounding[-1].end}
    assert final[0].pitch.name == last.chord.root
    names = [note.pitch.name for note in final]
    # A light right hand leaves the last chord to a left hand that moves.
    light = done.style.texture is Texture.LIGHT
    moves = pattern not in (LeftHand.HELD, LeftHand.OCTAVE)
    if pattern is LeftHand.DRONE:
        assert names == [last.chord.root, last.chord.member(Member.FIFTH)]
    elif (light and moves) or pattern is LeftHand.CHORDS:
        assert {note.pitch.name for note in final} <= {*last.chord.members}
        assert len({note.onset for note in final}) == 1
    else:
        assert {note.pitch.name for note in final} == {last.chord.root}
        assert len(final) == (2 if pattern is LeftHand.OCTAVE else 1)


def test_a_pickup_goes_without_the_left_hand() -> None:
    tune = read_tune(next(path for path in TUNES if path.stem == "auld_lang_syne"))
    for pattern in suited_patterns(tune.bars[0].time):
        assert min(n.onset for n in left(arrange(tune, Style(left_hand=pattern)))) == 1


def test_within_a_chord_only_a_pattern_that_moves_may_leave_the_root() -> None:
    style = Style(1, HarmonicRhythm.HALF_BAR, left_hand=LeftHand.MARCH)
    done = arrange(FOUR, style, explained=False)
    assert not [fault for fault in check(done) if fault.rule == "M06"]
    held = done._replace(style=done.style._replace(left_hand=LeftHand.HELD))
    faults = [str(fault) for fault in check(held) if fault.rule == "M06"]
    assert faults[0] == (
        "Bar 1, beat 3: the left hand plays G2 under C. Play C in the left hand."
    )


def test_a_chorale_is_known_by_its_fermatas_and_holds_its_roots() -> None:
    waltz = tune_of("E5.F5 G5 E5 | D5.E5 G5 D5 | E5 G5.F5 E5 | C5 - -", "Time: 3/4")
    for tune in (waltz, tune_of("E5.F5 G5.E5 D5.C5 G4 | C5 - - -")):
        plain = arrange(tune, Style(3), explained=False).style.left_hand
        assert plain in (LeftHand.WALTZ, LeftHand.ROOT_FIFTH)
        notes = list(tune.notes)
        for at, hand in ((-1, plain), (3, LeftHand.HELD)):
            # At the end of any tune one may stand; those of a chorale end its lines.
            notes[at] = notes[at]._replace(fermata=True)
            marked = tune._replace(notes=tuple(notes))
            assert arrange(marked, Style(3), explained=False).style.left_hand is hand
