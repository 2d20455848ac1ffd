"""The last verse: the same tune and cadences, other hands, chords and keys."""

from fractions import Fraction

import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from makers.forms import (
    NAMES,
    bars_of,
    formed,
    joints_off,
    never,
    tune_in,
    tune_of,
    verse_of,
    with_form,
)
from makers.profiles import examples
from makers.scores import arrange as typed_arrangement
from makers.scores import make_tune
from makers.tunes import tunes
from oracles.music21_reading import foreign
from oracles.promises import broken_promises

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError
from harmonise.form.last_verse import cadence_slots, last_verse
from harmonise.form.plan import Gap, Introduction, LastVerse, SongForm
from harmonise.left_hand.sections import bar_styles
from harmonise.rules.players import with_player
from harmonise.rules.score_view import Score
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    LeftHand,
    Player,
    Style,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import ChordAt, Tune

SAME_KEY = [own for own in LastVerse if own not in (LastVerse.SEMITONE, LastVerse.TONE)]


def plainly(tune: Tune, style: Style) -> Arrangement:
    return arrange(tune, style, explained=False)


def is_offered(name: str, choice: LastVerse) -> bool:
    """Return whether the metre of a tune suits a choice."""
    time = tune_of(name).bars[0].time
    return choice is not LastVerse.WALKING or LeftHand.WALKING.suits(time)


CASES = [
    pytest.param(name, choice, id=f"{name}-{choice.value}")
    for name in NAMES
    for choice in LastVerse
    if is_offered(name, choice)
]


def varied(name: str, choice: LastVerse) -> Arrangement:
    return last_verse(verse_of(name), (choice,), plainly)


def chords_at(done: Arrangement, onsets: frozenset[Fraction]) -> list[str]:
    """Return the roots and kinds of the chords at some places."""
    return [
        f"{slot.chord.root} {slot.chord.quality.value}"
        for slot in done.slots
        if slot.chord and slot.onset in onsets
    ]


@pytest.mark.parametrize(("name", "choice"), CASES)
def test_the_last_verse_has_the_tune_on_top_and_keeps_every_rule(
    name: str, choice: LastVerse
) -> None:
    form = SongForm(gap=Gap.BAR, verses=2, last_verse=(choice,))
    done, verse = formed(name, form), verse_of(name)
    assert broken_promises(done, inversions=True) == []
    faults, old = never(done), never(verse)
    if choice in SAME_KEY:
        assert set(faults) <= set(old)
    else:
        # The same places in another key have other names.
        assert len(faults) <= 2 * len(old)
    assert joints_off(done) == []


@pytest.mark.parametrize("choice", SAME_KEY)
def test_the_tune_of_the_last_verse_is_that_of_the_others(choice: LastVerse) -> None:
    form = SongForm(verses=2, last_verse=(choice,))
    done = formed("old_hundredth", form)
    old = [(str(n.pitch), n.length) for n in tune_of("old_hundredth").sounding]
    assert tune_in(done, bars_of(done, "Verse 1")) == old
    assert tune_in(done, bars_of(done, "Last verse")) == old


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("choice", SAME_KEY)
def test_cadences_stay_as_they_are(name: str, choice: LastVerse) -> None:
    if not is_offered(name, choice):
        return
    verse, done = verse_of(name), varied(name, choice)
    kept = cadence_slots(verse)
    assert len(chords_at(verse, kept)) >= 3
    assert chords_at(done, kept) == chords_at(verse, kept)


@pytest.mark.parametrize(
    ("choice", "semitones", "key", "five"),
    [
        (LastVerse.SEMITONE, 1, "Ab major", "Eb7"),
        (LastVerse.TONE, 2, "A major", "E7"),
    ],
)
def test_the_last_verse_goes_up_after_the_dominant_seventh_of_the_new_key(
    choice: LastVerse, semitones: int, key: str, five: str
) -> None:
    done = formed("old_hundredth", SongForm(verses=3, last_verse=(choice,)))
    assert [str(change.key) for change in done.tune.keys] == ["G major", key]
    bars = bars_of(done, "Last verse")
    before = [slot for slot in done.slots if slot.end == bars[0].start]
    assert [str(slot.chord) for slot in before] == [five]
    # Outside check: music21 moves the tune.
    old = tune_of("old_hundredth").sounding
    moved = [
        music21.pitch.Pitch(foreign(note.pitch)).transpose(semitones).midi
        for note in old
    ]
    start = bars[0].start
    new = [n.pitch.midi for n in done.tune.sounding if n.onset >= start and n.pitch]
    assert new == moved


def test_chords_typed_by_hand_go_up_with_the_last_verse() -> None:
    tune = make_tune("C5:4 A4:4 D5:4 C5:4")
    lock = ChordAt(Fraction(4), Fraction(8), parse_symbol("Am"))
    verse = arrange(tune, Style(locks=(lock,)), explained=False)
    done = with_form(verse, SongForm(verses=2, last_verse=(LastVerse.TONE,)))
    locked = {str(slot.chord) for slot in done.slots if slot.locked}
    assert locked == {"Am", "Bm"}


def test_the_left_hand_plays_octaves_in_the_last_verse_only() -> None:
    form = SongForm(verses=2, last_verse=(LastVerse.LEFT_OCTAVES,))
    done = formed("old_hundredth", form)
    start = bars_of(done, "Last verse")[0].start
    pairs: dict[bool, list[int]] = {False: [], True: []}
    for moment in Score(done).moments:
        if moment.left:
            pairs[moment.onset >= start].append(len(moment.left))
    assert set(pairs[False]) == {1}
    assert pairs[True].count(2) > 0.8 * len(pairs[True])


def test_the_page_tells_what_the_left_hand_does_in_the_last_verse() -> None:
    form = SongForm(verses=2, amen=True, last_verse=(LastVerse.WALKING,))
    done = formed("old_hundredth", form)
    hands = [own.left_hand for own in bar_styles(done.tune, done.style)]
    # Pickup and eight bars held, a pickup, eight bars walking, the Amen held.
    assert hands == [
        *[LeftHand.HELD] * 10, *[LeftHand.WALKING] * 8, *[LeftHand.HELD] * 2
    ]  # fmt: skip


# The tune in octaves.


def test_octaves_are_struck_with_one_inner_note() -> None:
    tune = make_tune("E5:1 F5:1/2 G5:1/2 E5:2")
    verse = typed_arrangement(tune, "C:4")
    done = last_verse(verse, (LastVerse.TUNE_OCTAVES,), plainly)
    struck = [
        " ".join(
            str(note.pitch)
            for note in done.notes
            if note.onset == own.onset and note.hand is Hand.RIGHT
        )
        for own in tune.sounding
    ]
    # The third has the root under it; F is foreign; the quaver has the octave alone.
    assert struck == ["E4 C5 E5", "F5", "G4 G5", "E4 C5 E5"]


def test_octaves_do_not_growl() -> None:
    verse = typed_arrangement(make_tune("E4:2 F4:2"), "C:2 F:2")
    done = last_verse(verse, (LastVerse.TUNE_OCTAVES,), plainly)
    right = [str(note.pitch) for note in done.notes if note.hand is Hand.RIGHT]
    assert "E3" not in right
    assert "F3" in right


@pytest.mark.parametrize("name", NAMES)
def test_octaves_are_playable(name: str) -> None:
    done = varied(name, LastVerse.TUNE_OCTAVES)
    doubled = 0
    for moment in Score(done).moments:
        heights = [note.pitch.midi for note in moment.right]
        if heights:
            assert max(heights) - min(heights) <= 12
            doubled += max(heights) - min(heights) == 12
            if max(heights) - min(heights) == 12:
                assert len(heights) <= 3
    assert doubled >= len(done.tune.bars) / 2


def test_octaves_want_a_hand_that_reaches_them() -> None:
    verse = arrange(tune_of("old_hundredth"), Style(span=10), explained=False)
    form = SongForm(verses=2, last_verse=(LastVerse.TUNE_OCTAVES,))
    with pytest.raises(HarmoniseError) as found:
        with_form(verse, form)
    assert str(found.value) == (
        "The right hand may reach 10 semitones only, so the last verse cannot have its "
        "tune in octaves. Allow a reach of 12 semitones, or vary the last verse "
        "otherwise."
    )


# Richer chords.


def test_richer_chords_change_some_chords_and_no_cadence() -> None:
    changed = 0
    for name in NAMES:
        verse = verse_of(name, 1)
        done = last_verse(verse, (LastVerse.RICHER,), plainly)
        kept = cadence_slots(verse)
        assert chords_at(done, kept) == chords_at(verse, kept)
        own = [slot.onset for slot in verse.slots if slot.locked]
        assert [slot.onset for slot in done.slots if slot.locked] == own
        changed += [s.chord for s in done.slots] != [s.chord for s in verse.slots]
    assert changed >= len(NAMES) / 2


def test_the_cadence_of_a_line_is_its_last_two_chords() -> None:
    tune = make_tune("C5:4 A4:4 D5:4 C5:4 C5:4 F5:4 D5:4 C5:4")
    tune = tune._replace(phrases=(Fraction(16), Fraction(32)))
    verse = typed_arrangement(tune, "C:4 F:4 G:4 C:4 Am:4 F:4 G:4 C:4")
    found = sorted(onset / 4 for onset in cadence_slots(verse))
    assert found == [0, 2, 3, 6, 7]


# Laws, and choices that do not go together.


@given(
    tunes(most_notes=12),
    st.sampled_from(list(Introduction)),
    st.sampled_from(list(Gap)),
    st.sampled_from(list(LastVerse)),
    st.sampled_from([None, *Player]),
)
@settings(max_examples=examples(60), deadline=None)
def test_every_tune_and_player_gets_a_lawful_last_verse(
    tune: Tune,
    kind: Introduction,
    gap: Gap,
    choice: LastVerse,
    player: Player | None,
) -> None:
    style = with_player(Style(), player, tune) if player else Style()
    verse = arrange(tune, style, explained=False)
    first = next(slot.onset for slot in verse.slots if slot.chord)
    # A last note before the first chord is excused in a tune alone only.
    assume(tune.sounding[-1].onset >= first and len(tune.bars) > 1)
    form = SongForm(kind, gap, 3, amen=True, last_verse=(choice,))
    try:
        done = with_form(verse, form)
    except HarmoniseError as refused:
        assert "suit" in refused.what or "reach" in refused.what  # noqa: PT017
        return
    assert joints_off(done) == []
    assert broken_promises(done, inversions=True) == []
    if not never(verse) and choice is not LastVerse.RICHER:
        assert never(done) == []


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (LastVerse.LEFT_OCTAVES, LastVerse.WALKING),
        (LastVerse.SEMITONE, LastVerse.TONE),
        (LastVerse.TONIC_PEDAL, LastVerse.DOMINANT_PEDAL),
    ],
)
def test_choices_that_contradict_each_other_are_refused(
    one: LastVerse, other: LastVerse
) -> None:
    form = SongForm(verses=2, last_verse=(other, one))
    with pytest.raises(HarmoniseError) as found:
        with_form(verse_of("old_hundredth"), form)
    assert str(found.value) == (
        f"A last verse cannot have {one.value} and {other.value} at once. "
        "Choose one of them."
    )


def test_several_choices_go_together() -> None:
    choices = (LastVerse.LEFT_OCTAVES, LastVerse.RICHER, LastVerse.TONE)
    done = formed("old_hundredth", SongForm(verses=2, last_verse=choices))
    assert broken_promises(done, inversions=True) == []
    assert never(done) == []
    assert done.tune.keys[-1].key == parse_key("A")


def test_a_walking_bass_is_refused_where_the_metre_does_not_suit_it() -> None:
    form = SongForm(verses=2, last_verse=(LastVerse.WALKING,))
    assert not LeftHand.WALKING.suits(TimeSignature(6, 8))
    with pytest.raises(HarmoniseError, match="walking bass does not suit 6/8"):
        with_form(verse_of("boat_round"), form)


def test_the_last_verse_is_the_same_in_another_key() -> None:
    verse = arrange(
        transposed(tune_of("old_hundredth"), parse_key("F")), explained=False
    )
    own = arrange(tune_of("old_hundredth"), explained=False)
    numerals = [
        [slot.numeral for slot in last_verse(v, (LastVerse.RICHER,), plainly).slots]
        for v in (verse, own)
    ]
    assert numerals[0] == numerals[1]
