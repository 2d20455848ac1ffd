"""Pedals of the last verse: held up to the cadence, over chords foreign to them too."""

import pytest
from makers.forms import NAMES, never, tune_of, verse_of, with_form
from makers.scores import arrange as typed_arrangement
from makers.scores import make_tune
from oracles.promises import broken_promises

from harmonise.arranging.job import arrange
from harmonise.form.last_verse import cadence_slots, last_verse
from harmonise.form.plan import LastVerse, SongForm
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    HarmonicRhythm,
    LeftHand,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.key import parse_key
from harmonise.theory.tune import Tune

TONIC, DOMINANT = LastVerse.TONIC_PEDAL, LastVerse.DOMINANT_PEDAL


def plainly(tune: Tune, style: Style) -> Arrangement:
    return arrange(tune, style, explained=False)


def over_bars(
    pitches: str, chords: str, pedal: LastVerse, key: str = "C"
) -> Arrangement:
    """Return the last verse over a pedal, a tune note and a chord a bar."""
    tune = make_tune(" ".join(f"{pitch}:4" for pitch in pitches.split()), key=key)
    verse = typed_arrangement(tune, " ".join(f"{own}:4" for own in chords.split()))
    style = Style(harmonic_rhythm=HarmonicRhythm.BAR, left_hand=LeftHand.HELD)
    return last_verse(verse._replace(style=style), (pedal,), plainly)


def basses(done: Arrangement) -> str:
    return " ".join(str(n.pitch) for n in done.notes if n.voice is Voice.BASS)


def symbols(done: Arrangement) -> str:
    return " ".join(str(slot.chord) for slot in done.slots)


def test_a_pedal_turns_the_chords_that_have_its_note() -> None:
    done = over_bars("C5 E5 C5 E5 A4 D5 C5", "G C Am C F G C", TONIC)
    assert symbols(done) == "G C Am/C C F/C G C"
    assert basses(done) == "G2 C3 C3 C3 C3 G2 C3"
    assert [slot.numeral for slot in done.slots][2:5] == ["vi6", "I", "IV6/4"]


# A pedal begins and ends under chords that have its note, and others may pass over it
# (common practice).
FOREIGN = [
    ("C5 E5 D5 F5 E5 D5 C5", "C C G F C G7 C", DOMINANT, "C3 G2 G2 G2 G2 G2 C3"),
    ("C5 E5 F5 E5 A4 B4 C5", "C Am F C F G C", TONIC, "C3 C3 C3 C3 C3 G2 C3"),
    ("C5 E5 F5 D5 C5", "C Am F G C", DOMINANT, "C3 A2 F2 G2 C3"),
    ("C5 E5 F5 E5 F5 C5", "C C F C F C", DOMINANT, "C3 C3 F2 C3 F2 C3"),  # no V
    # E major has G sharp, which never sounds over G.
    ("C5 D5 E5 A4 D5 C5", "C G E Am G C", DOMINANT, "C3 G2 E3 A2 G2 C3"),
    ("C5 D5 E5 D5 C5", "C G C G7 C", DOMINANT, "C3 G2 G2 G2 C3"),
]


@pytest.mark.parametrize(("pitches", "chords", "pedal", "left"), FOREIGN)
def test_foreign_chords_pass_over_a_pedal_that_ends_under_its_own(
    pitches: str, chords: str, pedal: LastVerse, left: str
) -> None:
    done = over_bars(pitches, chords, pedal)
    assert basses(done) == left
    assert broken_promises(done, inversions=True) == []
    assert never(done) == []


def test_a_tune_note_that_contradicts_the_pedal_ends_it() -> None:
    done = over_bars("C5 D5 G#4 E5 D5 C5", "C G C C G C", DOMINANT)
    assert basses(done) == "C3 G2 C3 C3 G2 C3"


@pytest.mark.parametrize("level", [1, 2, 3, 4])
def test_the_dominant_is_held_through_the_last_line_of_old_hundredth(
    level: int,
) -> None:
    verse = verse_of("old_hundredth", level)
    done = last_verse(verse, (DOMINANT,), plainly)
    start, final = done.tune.phrases[-2], max(n.onset for n in done.tune.sounding)
    first = next(s.onset for s in done.slots if s.onset >= start and s.pedal)
    low = [n for n in done.notes if n.hand is Hand.LEFT and first <= n.onset < final]
    # D from its first chord in the line to the cadence; then G.
    assert first <= start + 1
    assert {str(note.pitch) for note in low} == {"D3"}
    assert sum(note.length for note in low) == final - first
    before = [n for n in done.notes if n.hand is Hand.LEFT and n.onset < first]
    assert before == [n for n in verse.notes if n.hand is Hand.LEFT and n.onset < first]
    assert [n for n in done.notes if n.hand is Hand.RIGHT] == [
        n for n in verse.notes if n.hand is Hand.RIGHT
    ]


def test_the_tonic_is_held_in_every_line_that_bears_it() -> None:
    done = last_verse(verse_of("old_hundredth"), (TONIC,), plainly)
    lines = done.tune.phrases
    held = {
        next(e for e in lines if slot.onset < e) for slot in done.slots if slot.pedal
    }
    assert held == set(lines)


def test_cadences_keep_their_basses() -> None:
    for name in NAMES:
        verse = verse_of(name)
        kept = cadence_slots(verse)
        for pedal in (TONIC, DOMINANT):
            done = last_verse(verse, (pedal,), plainly)
            pairs = zip(verse.slots, done.slots, strict=True)
            assert all(
                old.chord == new.chord for old, new in pairs if old.onset in kept
            )


def test_the_page_prints_a_foreign_chord_over_its_pedal() -> None:
    done = over_bars("C5 E5 D5 F5 E5 D5 C5", "C C G F C G7 C", DOMINANT)
    text = "".join(format_musicxml(done).decode().split())
    assert '<root-step>F</root-step></root><kindtext="">major</kind><bass>' in text
    assert done.slots[3].reason == "The left hand holds G as a pedal."


@pytest.mark.parametrize(
    ("pedal", "sentence"),
    [
        (TONIC, "No line has three neighbouring chords that bear a tonic pedal."),
        (
            DOMINANT,
            (
                "The last line has no three neighbouring chords that bear a dominant "
                "pedal and lead to V at its cadence."
            ),
        ),
    ],
)
def test_a_tune_without_room_for_a_pedal_says_so(
    pedal: LastVerse, sentence: str
) -> None:
    tune = make_tune("C5:4 D5:4 C5:4")
    form = SongForm(verses=2, last_verse=(pedal,))
    done = with_form(arrange(tune, explained=False), form)
    found = [str(own) for own in done.remarks if own.code == "FORM"]
    assert found == [f"{sentence} The last verse is like the others."]
    both = form._replace(last_verse=(pedal, LastVerse.TONE))
    done = with_form(arrange(tune, explained=False), both)
    assert [str(own) for own in done.remarks if own.code == "FORM"] == [sentence]


def test_a_pedal_moves_with_the_key_of_the_last_verse() -> None:
    choices = (DOMINANT, LastVerse.TONE)
    done = last_verse(verse_of("old_hundredth"), choices, plainly)
    assert {str(slot.pedal) for slot in done.slots if slot.pedal} == {"E"}
    assert done.tune.key == parse_key("A")
    assert tune_of("old_hundredth").key == parse_key("G")


def test_in_four_parts_the_tenor_goes_on_over_the_pedal() -> None:
    style = Style(4, texture=Texture.HYMN)
    verse = plainly(tune_of("old_hundredth"), style)
    done = last_verse(verse, (DOMINANT,), plainly)
    held = [slot for slot in done.slots if slot.pedal]
    assert len(held) >= 6
    for slot in held:
        low = [n for n in done.notes if n.hand is Hand.LEFT and n.onset == slot.onset]
        tenor = [n for n in low if n.voice is Voice.INNER]
        old = [
            n
            for n in verse.notes
            if n.hand is Hand.LEFT and n.voice is Voice.INNER and n.onset == slot.onset
        ]
        assert tenor == old
        assert old
        sound = [n for n in done.notes if n.onset <= slot.onset < n.end]
        assert min(sound, key=lambda n: n.pitch.midi).pitch.name == slot.pedal


@pytest.mark.parametrize(
    ("choice", "sentence"),
    [
        (
            LastVerse.WALKING,
            "Four parts have no left-hand patterns: the bass is a part.",
        ),
        (LastVerse.RICHER, "Four parts have no richer chords than these."),
    ],
)
def test_four_parts_say_what_they_do_not_have(choice: LastVerse, sentence: str) -> None:
    verse = plainly(tune_of("old_hundredth"), Style(4, texture=Texture.HYMN))
    done = with_form(verse, SongForm(verses=2, last_verse=(choice,)))
    found = [str(own) for own in done.remarks if own.code == "FORM"]
    assert found == [f"{sentence} The last verse is like the others."]
