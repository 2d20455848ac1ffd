"""The spoken score: it is read back to the same notes, and it can be said aloud."""

import re
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import music21  # noqa: TID251 (the oracle of the tests)
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError, MelodyError, NotationError
from harmonise.notation.formats import read_tunes
from harmonise.notation.spoken.spoken_reading import parse_spoken
from harmonise.notation.spoken.spoken_score import format_spoken, format_walk
from harmonise.notation.spoken.spoken_walk import move_words
from harmonise.notation.spoken.spoken_words import (
    hear_beats,
    hear_number,
    hear_pitch,
    hear_place,
    hear_time,
    is_chord,
    say_beats,
    say_chord,
    say_number,
    say_part,
    say_pitch,
    say_place,
    say_time,
)
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    SoundingNote,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.chord import Chord, Inversion, Quality
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import Pitch, PitchName, parse_pitch
from harmonise.theory.tune import Grace, Syllable, Tune

OWN = sorted((Path(__file__).parents[3] / "tunes").glob("*.txt"))
TEXTURES = (Texture.BLOCK, Texture.HELD)
BEATS = st.fractions(Fraction(1, 200), 130, max_denominator=200)


def styles() -> list[Style]:
    return [
        Style(level, texture=texture, fingering=level == 2)
        for level in (1, 2, 3)
        for texture in TEXTURES
    ]


@cache
def arranged(path: Path) -> tuple[Arrangement, ...]:
    """Return our own tunes in every style."""
    return tuple(
        arrange(tune, style, explained=False)
        for tune in read_tunes(path)
        for style in styles()
    )


# Read back.


@pytest.mark.parametrize("path", OWN, ids=lambda path: path.stem)
def test_our_own_tunes_are_read_back_to_every_note(path: Path) -> None:
    for done in arranged(path):
        assert parse_spoken(format_spoken(done)) == done.notes, done.style


@given(tunes(), st.sampled_from(styles()))
@settings(deadline=None, derandomize=True, max_examples=examples(150))
def test_a_random_tune_is_read_back_to_every_note(tune: Tune, style: Style) -> None:
    done = arrange(tune, style, explained=False)
    assert parse_spoken(format_spoken(done)) == done.notes


@given(st.data())
@settings(deadline=None, derandomize=True, max_examples=examples(150))
def test_any_notes_of_both_hands_are_read_back(data: st.DataObject) -> None:
    done = _done("Key: C\nTime: 6/8\nC D E F G A | B A G F E D | C - - - - - |")
    rows = st.tuples(
        st.fractions(0, 8, max_denominator=7),
        BEATS,
        st.builds(Pitch, st.integers(0, 6), st.integers(-3, 3), st.integers(-1, 9)),
        st.sampled_from(Hand),
        st.sampled_from(Voice),
        st.integers(0, 5),
    )
    drawn = data.draw(st.lists(rows, min_size=1, max_size=12))
    unlike = {(row[0], row[2].midi): SoundingNote(*row) for row in drawn}
    notes = tuple(unlike[place] for place in sorted(unlike))
    assert parse_spoken(format_spoken(done._replace(notes=notes))) == notes


# How it sounds.


def _done(text: str, style: Style | None = None) -> Arrangement:
    return arrange(read_tunes(text)[0], style or Style(1, texture=Texture.HELD))


WALK = "Title: Steps\nKey: C\nTime: 4/4\nTempo: 90\n"
WALK += "C5 E5 G5 E5 | F5.A5 C6 A5 F5 | G5 - E5 C5 |\n"


def test_a_score_is_said_bar_by_bar() -> None:
    text = "Title: Rise\nKey: G\nTime: 3/4\nTempo: 90\nD | G - A.B | G - |\n"
    text += "Words: Oh rise and ev-er"
    assert format_spoken(_done(text)) == (
        "Title: Rise\n"
        "Key: G major.\n"
        "Time: three four. A beat is a crotchet.\n"
        "Tempo: 90 crotchets a minute.\n"
        "Length: a pickup and two bars.\n"
        "How to listen: the right hand is said from its lowest note up, the tune last, "
        "as it is on top; then the left hand. C 4 is middle C.\n"
        "\n"
        "Bar 0, the pickup.\n"
        "This bar has one beat.\n"
        "Beat 1: right hand tune D 4, one beat; left hand rests, one beat. Sing: Oh\n"
        "\n"
        "Bar 1.\n"
        "Beat 1: right hand B 3, D 4, three beats, tune G 4, two beats; left hand G 2, "
        "three beats. Chord G. Sing: rise\n"
        "Beat 3: right hand tune A 4, half a beat, while holding B 3, D 4. Sing: and\n"
        "Beat 3 and a half: right hand tune B 4, half a beat, while holding B 3, D 4. "
        "Sing: ev\n"
        "\n"
        "Bar 2.\n"
        "This bar has two beats.\n"
        "Beat 1: right hand B 3, D 4, tune G 4, two beats; left hand G 2, two beats. "
        "Sing: er\n"
        "A phrase ends here.\n"
        "\n"
        "End of the score.\n"
    )


def test_repeats_endings_rests_and_ties_are_said() -> None:
    text = "Key: C\nTime: 2/4\nTempo: 90\n|: C E | [1 G - :| [2 C 0 | - C || 0 0 |"
    said = format_spoken(_done(text)).splitlines()
    assert "A repeat begins here." in said
    assert said.count("Ending one begins here.") == 1
    assert "The repeat ends here, played twice in all." in said
    assert "A double bar." in said
    assert any(line.endswith("tune rests, one beat.") for line in said)
    assert any(
        "right hand rests, one beat; left hand rests, one beat." in line
        for line in said
    )


def test_what_is_tied_over_a_bar_line_is_said_in_the_next_bar() -> None:
    said = format_spoken(_done("Key: C\nTime: 2/4\nC E | G - | - E | C - |"))
    third = said.split("Bar 3.\n")[1]
    assert third.startswith("Held over: right hand tune G 4.\n")


def test_marks_and_changes_are_said() -> None:
    done = _done("Key: C\nTime: 2/4\nC D | E F |\nKey: G\nTime: 3/4\nG A B | G - - |")
    first, *others = done.tune.notes
    grace = Grace(parse_pitch("D4"))
    words = (Syllable("O", joins=False), Syllable("Ah; oh. So", joins=False))
    first = first._replace(
        graces=(grace,), fermata=True, slur_starts=1, syllables=words
    )
    tune = done.tune._replace(
        notes=(first, *others), verses=2, end_text=((Fraction(4), "D.C. al Fine"),)
    )
    bars = tuple(bar._replace(section="Verse [1]") for bar in tune.bars[:1])
    tune = tune._replace(bars=(*bars, *tune.bars[1:]))
    done = done._replace(tune=tune)
    said = format_spoken(done)
    assert (
        "Before the tune, grace D 4. Pause. Slur begins. Sing: verse 1, O; verse 2, "
        "Ah; oh. So\n"
    ) in said
    assert "\nAfter this bar: da capo al Fine\n" in said
    assert "\nTime changes to three four. A beat is a crotchet.\n" in said
    assert "\nThe key changes to G major.\n" in said
    assert "\nLabel: Verse [1]\n" in said
    assert parse_spoken(said) == done.notes


@pytest.mark.parametrize("path", OWN, ids=lambda path: path.stem)
def test_nothing_is_said_in_signs_that_a_synthesiser_misreads(path: Path) -> None:
    for done in arranged(path):
        said = format_spoken(done) + format_walk(done)
        for line in said.splitlines():
            if not line.startswith(("Title: ", "From: ", "Tempo: ", "Label: ")):
                plain = line.partition(" Sing: ")[0]
                assert re.fullmatch(r"[A-Za-z0-9 .,:;-]*", plain), line


def test_every_bar_has_a_heading_and_every_beat_one_line() -> None:
    (tune,) = read_tunes(next(path for path in OWN if path.stem == "old_hundredth"))
    lines = format_spoken(arrange(tune)).splitlines()
    headings = [line for line in lines if re.fullmatch(r"Bar \d+.*\.", line)]
    assert len(headings) == len(tune.bars)
    beats = [line for line in lines if line.startswith("Beat ")]
    assert len(beats) >= len(tune.sounding)


# Words.

PITCHES = [
    Pitch(letter, alter, octave)
    for letter in range(7)
    for alter in range(-2, 3)
    for octave in range(9)
]


@pytest.mark.parametrize("octave", range(9))
def test_pitches_are_said_as_music21_says_them(octave: int) -> None:
    # Source: music21's full names of pitches, "F-sharp in octave 4".
    for pitch in (pitch for pitch in PITCHES if pitch.octave == octave):
        name = str(pitch).replace("b", "-")
        theirs = music21.pitch.Pitch(name).fullName.replace(" in octave", "")
        plain = theirs.replace("double-", "double ").replace("-", " ")
        assert say_pitch(pitch) == plain
        assert hear_pitch(say_pitch(pitch)) == pitch


def test_fractions_are_called_by_their_ordinals() -> None:
    # Source: music21's table of ordinal numbers, up to the twenty-second.
    ordinals = music21.common.numberTools.ordinals
    for number in (3, *range(5, 23)):
        assert say_part(Fraction(1, number)) == f"one {ordinals[number].lower()}"


@given(BEATS)
@settings(deadline=None, derandomize=True, max_examples=examples(500))
def test_lengths_and_places_are_heard_as_they_were_said(beats: Fraction) -> None:
    assert hear_beats(say_beats(beats)) == beats
    assert hear_place(say_place(beats + 1)) == beats + 1


def test_numbers_are_heard_as_they_were_said() -> None:
    assert [hear_number(say_number(number)) for number in range(300)] == [*range(300)]
    assert len({say_number(number) for number in range(300)}) == 300


@pytest.mark.parametrize(
    "time",
    [TimeSignature(4, 4), TimeSignature(6, 8), TimeSignature(7, 8, (2, 2, 3))],
    ids=str,
)
def test_times_are_heard_as_they_were_said(time: TimeSignature) -> None:
    assert hear_time(say_time(time)) == time


def test_every_chord_has_a_name_of_its_own() -> None:
    chords = [
        Chord(PitchName(letter, alter), quality, inversion)
        for letter in range(7)
        for alter in (-1, 0, 1)
        for quality in Quality
        for inversion in (Inversion.ROOT_POSITION, Inversion.FIRST)
    ]
    assert len({say_chord(chord) for chord in chords}) == len(chords)
    assert all(is_chord(say_chord(chord)) for chord in chords)


# Faults.


def test_a_line_that_is_not_understood_is_named_with_its_bar() -> None:
    text = format_spoken(_done(WALK)).replace("\nBeat 3: right", "\nBeat 3: rigt", 1)
    number = next(n for n, s in enumerate(text.splitlines(), 1) if "rigt" in s)
    with pytest.raises(NotationError) as caught:
        parse_spoken(text)
    sentence = str(caught.value)
    assert sentence.startswith('Bar 1: "rigt hand ')
    assert sentence.endswith(
        f' names no hand. (line {number}: "Beat 3: rigt hand C 5, E…")'
    )


SLIPS = [
    # What is changed, into what, and what is said of it.
    ("Bar 2.", "Bar two.", "this heading names no bar."),
    (
        "Beat 2: ",
        "Beat 9: ",
        "beat 9 is not in this bar, or not after the beat before.",
    ),
    (
        "Beat 3: ",
        "Beat 2: ",
        "beat 2 is not in this bar, or not after the beat before.",
    ),
    ("Beat 2: ", "Beat two: ", "this line names no beat of a bar."),
    ("tune E 5,", "tune H 5,", '"tune H 5" is no note and no length here.'),
    ("tune G 5, one beat.", "tune G 5.", 'no length is said of "C 5, E 5, tune G 5".'),
    ("one beat,", "one beats,", '"one beats" is no note and no length here.'),
    ("Chord C.", "Chord X.", '"Chord X" is nothing that stands beside notes.'),
    (
        "holding E 4, G 4",
        "holding E 4",
        "the right hand is said to hold other notes than the beats before leave it.",
    ),
    ("A phrase ends here.", "Full stop.", "this line is none of the spoken score."),
    ("four four", "four five", "This is no time."),
    ("three bars", "four bars", "3 bars follow, not as many as this line says."),
    ("Time: four", "Tempo: four", "A bar begins before the time is told."),
    ("End of the score.", "The end.", "this line is none of the spoken score."),
]


@pytest.mark.parametrize(("before", "after", "what"), SLIPS)
def test_a_slip_is_told_with_its_line(before: str, after: str, what: str) -> None:
    text = format_spoken(_done(WALK))
    assert before in text
    with pytest.raises(NotationError) as caught:
        parse_spoken(text.replace(before, after, 1))
    assert caught.value.what == what
    assert re.search(r"\(line \d+: ", str(caught.value))


@given(st.data())
@settings(deadline=None, derandomize=True, max_examples=examples(200))
def test_a_word_that_is_none_never_passes(data: st.DataObject) -> None:
    lines = format_spoken(_done(WALK)).splitlines()
    solid = [n for n, line in enumerate(lines) if line.startswith(("Bar ", "Beat "))]
    number = data.draw(st.sampled_from(solid))
    words = lines[number].split(" ")
    place = data.draw(st.integers(0, len(words) - 1))
    words[place] = "zzz"
    lines[number] = " ".join(words)
    with pytest.raises(NotationError, match=rf"\(line {number + 1}: "):
        parse_spoken("\n".join(lines))


@given(st.text(max_size=80) | st.text("Bar 1.eat:Crighndlfo,;\n", max_size=120))
@settings(deadline=None, derandomize=True, max_examples=examples(300))
def test_any_text_is_a_score_or_a_sentence(text: str) -> None:
    with pytest.raises(HarmoniseError) as caught:
        parse_spoken(text)
    assert not str(caught.value)[0].islower()


def test_a_text_without_notes_is_no_score() -> None:
    with pytest.raises(MelodyError) as caught:
        parse_spoken("Untitled.\n")
    assert str(caught.value) == "There is no note in this text."


# The walk.


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        # The least motion from chord to chord in C; common practice.
        ("C4 E4 G4", "C4 F4 A4", "keep C, move E to F and G to A"),
        ("C4 E4 G4", "B3 D4 G4", "keep G, move C to B and E to D"),
        ("C4 E4 G4", "C4 E4 A4", "keep C and E, move G to A"),
        ("C4 F4 A4", "B3 D4 G4", "move C to B, F to D and A to G"),
        ("F#4 A4", "F#4 Bb4 D5", "keep F sharp, move A to D, add B flat"),
        ("C4 E4 C5", "E4 G4", "keep E, move C 5 to G, let go C 4"),
        ("E3 G3 C4", "B3 D4 G4", "move E up to B, G 3 up to D and C up to G 4"),
        ("C4 E4", "C4 E4", "keep C and E"),
        ("C4", "", "let go C"),
    ],
)
def test_a_hand_is_told_what_it_keeps_and_moves(
    before: str, after: str, said: str
) -> None:
    shapes = [[parse_pitch(n) for n in text.split()] for text in (before, after)]
    assert move_words(*shapes) == said


def test_a_walk_leads_from_chord_to_chord() -> None:
    done = _done("Key: C\nTime: 4/4\nTempo: 90\nG - - - | A - - - | G - - - |")
    assert format_walk(done) == (
        "Bar 1, beat 1. First chord C: right hand C 4, E 4 and G 4; left hand C 3.\n"
        "Bar 2, beat 1. Next chord F: keep C, move E to F and G to A; left hand down "
        "to F.\n"
        "Bar 3, beat 1. Next chord C: keep C, move F to E and A to G; left hand up "
        "to C.\n"
    )


@pytest.mark.parametrize("path", OWN, ids=lambda path: path.stem)
def test_who_follows_the_walk_plays_every_chord_as_written(path: Path) -> None:
    for done in arranged(path):
        lines = format_walk(done).splitlines()
        shapes = [_shape(done, slot.onset) for slot in done.changes]
        assert len(lines) == len(shapes)
        for line, (before, here) in zip(lines[1:], pairwise(shapes), strict=True):
            moves = line.partition(": ")[2].partition(";")[0]
            assert _played(moves, before) == _names(here, before, here), line


def _shape(done: Arrangement, onset: Fraction) -> list[Pitch]:
    notes = [n for n in done.notes if n.onset <= onset < n.onset + n.length]
    return sorted(
        (n.pitch for n in notes if n.hand is Hand.RIGHT), key=lambda pitch: pitch.midi
    )


def _played(moves: str, before: list[Pitch]) -> set[str]:
    """Return the names of what sounds when a hand does as it is told."""
    played: set[str] = set()
    gone: set[str] = set()
    for part in re.split(r", (?=move|let go|add)", moves):
        verb = re.match(r"keep|move|let go|add", part)
        assert verb is not None
        for name in re.split(r", | and ", part[verb.end() + 1 :]):
            old, _, new = name.partition(" to ")
            gone |= set() if verb[0] == "add" else {old}
            played |= set() if verb[0] == "let go" else {new or old}
    assert len(gone) == len(before)
    return played


def _names(shape: list[Pitch], *both: list[Pitch]) -> set[str]:
    heights: dict[str, set[int]] = {}
    for pitch in (pitch for own in both for pitch in own):
        heights.setdefault(str(pitch.name), set()).add(pitch.octave)
    said = {p: say_pitch(p) for p in shape}
    return {
        text if len(heights[str(p.name)]) > 1 else re.sub(r" (minus )?\d$", "", text)
        for p, text in said.items()
    }
