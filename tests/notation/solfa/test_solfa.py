"""Tonic sol-fa as the old books wrote it, and what it reads as."""

from fractions import Fraction
from pathlib import Path

import music21  # noqa: TID251 (its chromatic sol-fa is the check from outside)
import pytest
from makers.corpus import abc_tune

from harmonise.notation.solfa.solfa import parse_solfa
from harmonise.notation.solfa.solfa_names import NAMES, solfa_name, solfa_pitch
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.key import Mode, key_of_signature
from harmonise.theory.tune import Tune

TUNES = Path(__file__).parents[3] / "tunes"
OLD_HUNDREDTH = """Title: Old Hundredth            % the example of the specification
Doh: G
:d | d :t, | l, :s, | d :r | m
:m | m :m | r :d | f :m | r
:d | r :m | r :d | l, :t, | d
:s | m :d | r :f | m :r | d ||
"""


def only(text: str) -> Tune:
    (tune,) = parse_solfa(text)
    return tune


def sounds(text: str) -> str:
    """Return notes and lengths in crotchets: "C4:1 0:1/2"."""
    return " ".join(f"{note.pitch or 0}:{note.length}" for note in only(text).notes)


def shape(tune: Tune) -> list[str]:
    """Return number and length of every bar, and the length that a pickup lacks."""
    return [
        f"{bar.number}: {bar.length}"
        + f" of {bar.length + bar.offset}" * bool(bar.offset)
        + " ||" * bar.double
        for bar in tune.bars
    ]


def heard(tune: Tune) -> list[tuple[object, ...]]:
    return [(note.onset, note.length, note.pitch) for note in tune.sounding]


def read_file(path: Path) -> Tune:
    return parse_tune_text(path.read_text("utf-8"))[0]


# Tunes of the old books.


def test_old_hundredth_reads_as_the_tune_in_letters() -> None:
    ours, letters = (
        only(OLD_HUNDREDTH),
        read_file(TUNES / "old_hundredth.txt"),
    )
    assert heard(ours) == heard(letters)
    assert ours.phrases == letters.phrases
    assert (ours.title, str(ours.key)) == ("Old Hundredth", "G major")
    assert ours.remarks == ()
    assert [bar.number for bar in ours.bars] == list(range(17))
    assert shape(ours)[0] == "0: 1 of 2"
    assert shape(ours)[-1] == "16: 1 ||"


def test_god_save_the_king_reads_as_in_the_fifers_book() -> None:
    # The sol-fa is from memory, as school books of the 19th century print it, with the
    # fife's triplet; the notes from outside stand an octave higher in music21's corpus.
    text = """Doh: D
    |d :d :r |t₁ :-.d :r |m :m :f |m :-.r :d |r :d :t₁ |d :- :-
    |s :s :s |s :-.f :m |f :f :f |f :-.m :r
    |m :f.m :r.d |m :-.f :s |l‘s‘f :m :r |d :- :- ||"""
    theirs = abc_tune("miscFolk/americanfifeopus.abc", "God Save the King")
    low = [
        (note.onset, note.length, note.pitch._replace(octave=note.pitch.octave - 1))
        for note in theirs.notes
        if note.pitch
    ]
    assert heard(only(text)) == low


# Names.


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_chromatic_names_are_the_syllables_that_music21_knows(fifths: int) -> None:
    # music21's table "humdrum", chromatic: the continental syllables of the same notes.
    # Fah raised has two names in sol-fa; ba is the one in the minor (common practice).
    table = (
        "d do, r re, m mi, f fa, s so, l la, t ti, de di, re ri, fe fi, ba fi, se si, "
        "le li, ra ra, ma me, sa se, la le, ta te"
    )
    continental = dict(pair.split() for pair in table.split(", "))
    key = key_of_signature(fifths, Mode.MAJOR)
    tonic = str(key.tonic).replace("b", "-")
    scale = music21.scale.MajorScale(tonic)
    assert set(continental) == set(NAMES)
    for name, syllable in continental.items():
        pitch = solfa_pitch(name, 0, key)
        theirs = music21.pitch.Pitch(str(pitch.name).replace("b", "-"))
        found = scale.solfeg(theirs, variant="humdrum", chromatic=True)
        assert found == syllable, name
        assert 0 <= pitch.midi - solfa_pitch("d", 0, key).midi < 12


@pytest.mark.parametrize("mode", Mode)
def test_every_name_is_written_as_it_was_read(mode: Mode) -> None:
    for fifths in range(-7, 8):
        key = key_of_signature(fifths, mode)
        for name in NAMES:
            for octaves, mark in ((-2, "₂"), (-1, "₁"), (0, ""), (1, "¹"), (2, "²")):
                written = solfa_name(solfa_pitch(name, octaves, key), key)
                wanted = {"fe", "ba"} if name in ("fe", "ba") else {name}
                assert written in {own + mark for own in wanted}


@pytest.mark.parametrize(
    ("header", "key", "notes"),
    [
        pytest.param("Doh: Eb", "Eb major", "Eb4 G4 Bb4", id="doh"),
        pytest.param("doh: Eb.", "Eb major", "Eb4 G4 Bb4", id="small, full stop"),
        pytest.param("Lah: C", "C minor", "Eb4 G4 Bb4", id="lah, doh a third above"),
        pytest.param("Lah: F#", "F# minor", "A4 C#5 E5", id="sharp lah"),
        pytest.param("Doh: B", "B major", "B4 D#5 F#5", id="doh up to B4"),
        pytest.param("Doh: C (ray mode)", "D dorian", "C4 E4 G4", id="ray mode"),
        pytest.param("Doh: C, soh mode", "G mixolydian", "C4 E4 G4", id="soh mode"),
        pytest.param("Doh: C lah mode", "A aeolian", "C4 E4 G4", id="lah mode"),
    ],
)
def test_doh_and_lah_tell_the_key(header: str, key: str, notes: str) -> None:
    tune = only(f"{header}\n|d :m | s :-")
    assert str(tune.key) == key
    assert " ".join(str(note.pitch) for note in tune.sounding) == notes


# Pulses.


@pytest.mark.parametrize(
    ("pulse", "notes"),
    [
        pytest.param("d", "C4:1", id="whole pulse"),
        pytest.param("d.r", "C4:1/2 D4:1/2", id="halves"),
        pytest.param("d.,r", "C4:3/4 D4:1/4", id="three quarters and one"),
        pytest.param("d . , r", "C4:3/4 D4:1/4", id="blanks mean nothing"),
        pytest.param(
            "d,r.m,f", "C4:1/4 D4:1/4 E4:1/4 F4:1/4", id="quarters, four of them"
        ),
        pytest.param("d.r,m", "C4:1/2 D4:1/4 E4:1/4", id="half and quarters"),
        pytest.param("d,r.m", "C4:1/4 D4:1/4 E4:1/2", id="quarters and half"),
        pytest.param("d‘r‘m", "C4:1/3 D4:1/3 E4:1/3", id="thirds"),
        pytest.param("d`r`m", "C4:1/3 D4:1/3 E4:1/3", id="thirds as typed"),
        pytest.param("d’r’m", "C4:1/3 D4:1/3 E4:1/3", id="thirds as mistyped"),
        pytest.param("d‘-‘m", "C4:2/3 E4:1/3", id="two thirds and one"),
        pytest.param("d‘‘m", "C4:1/3 0:1/3 E4:1/3", id="silence in thirds"),
        pytest.param("d.", "C4:1/2 0:1/2", id="silence in the second half"),
        pytest.param(".d", "0:1/2 C4:1/2", id="silence in the first half"),
        pytest.param(".,d", "0:3/4 C4:1/4", id="silence of three quarters"),
        pytest.param(",r.m", "0:1/4 D4:1/4 E4:1/2", id="silence of a quarter"),
        pytest.param("d ,.m", "C4:1/4 0:1/4 E4:1/2", id="a blank makes it divide"),
        pytest.param("d.m ,", "C4:1/2 E4:1/4 0:1/4", id="silence at the end"),
        pytest.param("d'", "C5:1", id="an octave up"),
        pytest.param("d’", "C5:1", id="an octave up, curly"),
        pytest.param("d¹", "C5:1", id="an octave up, as printed"),
        pytest.param("d''", "C6:1", id="two octaves up"),
        pytest.param("d²", "C6:1", id="two octaves up, as printed"),
        pytest.param("s,", "G3:1", id="an octave down"),
        pytest.param("s₁", "G3:1", id="an octave down, as printed"),
        pytest.param("s,,", "G2:1", id="two octaves down"),
        pytest.param("s₂", "G2:1", id="two octaves down, as printed"),
        pytest.param("s,.l,", "G3:1/2 A3:1/2", id="low halves"),
        pytest.param("s,.,l,", "G3:3/4 A3:1/4", id="low, dotted"),
        pytest.param("s₁,l₁.t₁", "G3:1/4 A3:1/4 B3:1/2", id="low quarters"),
        pytest.param("s, ,l, .t,", "G3:1/4 A3:1/4 B3:1/2", id="low quarters, commas"),
        pytest.param("d',t.l", "C5:1/4 B4:1/4 A4:1/2", id="a high quarter"),
        pytest.param("s,‘l,‘t,", "G3:1/3 A3:1/3 B3:1/3", id="low thirds"),
        pytest.param("d'`t`l", "C5:1/3 B4:1/3 A4:1/3", id="a high third"),
        pytest.param("fe.ba", "F#4:1/2 F#4:1/2", id="fe and ba"),
    ],
)
def test_a_pulse_is_divided_by_the_punctuation_of_the_books(
    pulse: str, notes: str
) -> None:
    assert sounds(f"Doh: C\n| {pulse} :d") == f"{notes} C4:1"


def test_a_continued_note_goes_on_through_pulses_and_bars() -> None:
    assert sounds("Doh: C\n| d :- | -.r :-") == "C4:5/2 D4:3/2"
    assert sounds("Doh: C\n| d :-., r | - : ") == "C4:7/4 D4:5/4 0:1"


def test_silence_is_an_empty_pulse_and_whole_within_its_bar() -> None:
    assert sounds("Doh: C\n| d : : | : : | : :d") == "C4:1 0:2 0:3 0:2 C4:1"


# Bars.


@pytest.mark.parametrize(
    ("accents", "time"),
    [
        ("|:", "2/4"),
        ("|::", "3/4"),
        ("|:!:", "4/4"),
        ("|::!::", "6/8"),
        ("|::!::!::", "9/8"),
        ("|::!::!::!::", "12/8"),
        ("|::!:", "3+2/4"),
        ("|:!::", "2+3/4"),
    ],
)
def test_accents_tell_the_measure(accents: str, time: str) -> None:
    bar = " ".join(f"{accent} d" for accent in accents)
    tune = only(f"Doh: C\n{bar} {bar}")
    assert [str(bar.time) for bar in tune.bars] == [time, time]
    assert tune.bars[0].length == tune.bars[0].time.bar_length


def test_a_time_line_tells_which_note_a_pulse_is() -> None:
    tune = only("Doh: C\nTime: 2/2\n| d :r | m.f :s\nTime: 3/8\n| d :r :m")
    assert [(str(bar.time), bar.length) for bar in tune.bars] == [
        ("2/2", 4),
        ("2/2", 4),
        ("3/8", Fraction(3, 2)),
    ]


def test_a_bar_runs_over_the_end_of_a_line_and_bar_lines_may_close_lines() -> None:
    plain = heard(only("Doh: C\n| d :r ! m :f | s :- ! - :-"))
    assert heard(only("Doh: C\n| d :r\n! m :f\n| s :- ! - :-")) == plain
    assert heard(only("Doh: C\n| d :r ! m :f |\n| s :- ! - :- |")) == plain
    assert heard(only("Doh: C\n| d :r ! m :f |\ns :- ! - :- ||")) == plain


def test_a_pickup_may_be_a_part_of_a_pulse() -> None:
    # The books fill up the pulse with silence (common practice).
    tune = only("Doh: C\n:.s | d :d.r | m :d. ||")
    assert shape(tune) == ["0: 1/2 of 2", "1: 2", "2: 3/2 ||"]
    assert " ".join(str(note.pitch) for note in tune.notes) == "G4 C4 C4 D4 E4 C4"
    assert (str(tune.end), tune.remarks) == ("4", ())
    full = only("Doh: C\n:.,s | d :d | m :-")
    assert shape(full) == ["0: 1/4 of 2", "1: 2", "2: 2"]


def test_a_section_ends_at_a_double_bar_and_the_next_has_its_own_pickup() -> None:
    tune = only("Doh: C\n:s | d :r | m ||\n:s | d :r | d ||")
    assert shape(tune) == [
        "0: 1 of 2",
        "1: 2",
        "2: 1 ||",
        "2: 1 of 2",
        "3: 2",
        "4: 1 ||",
    ]
    inside = only("Doh: C\n| d :r || m :f ||")
    assert [bar.double for bar in inside.bars] == [True, True]


def test_doh_between_lines_is_a_change_of_key() -> None:
    tune = only(
        "Doh: C\n| d :s | s :-\nDoh: G\n| d :t₁ | d :-\nLah: A\n| l₁ :- | l₁ :-"
    )
    keys = [f"{change.onset}: {change.key}" for change in tune.keys]
    assert keys == ["0: C major", "4: G major", "8: A minor"]
    names = " ".join(str(note.pitch) for note in tune.sounding)
    assert names == "C4 G4 G4 G4 F#4 G4 A3 A3"


def test_words_chords_tempo_and_jump_words_are_read() -> None:
    tune = only(
        "Title: A\nOrigin: own\nDoh: C\nTempo: Slowly 60\n| d :r | m :- Fine\n"
        "Words: up the hill\nChords: C G | ?\n| f :r | d :- ||D. C. al Fine"
    )
    assert [
        note.syllables[0] and note.syllables[0].text for note in tune.notes[:3]
    ] == [
        "up",
        "the",
        "hill",
    ]
    locks = [f"{lock.onset}: {lock.chord.symbol}" for lock in tune.locks]
    assert locks == ["0: C", "1: G"]
    jumps = [f"{onset}: {text}" for onset, text in tune.end_text]
    assert jumps == ["4: Fine", "8: D.C. al Fine"]
    assert [f"{mark.words} {mark.per_minute}" for mark in tune.tempos] == ["Slowly 60"]
    assert tune.origin == "own"


def test_a_second_title_begins_a_second_tune() -> None:
    tunes = parse_solfa("Title: A\nDoh: C\n| d :r\nTitle: B\nDoh: D\n| d :r")
    assert [(tune.title, str(tune.key)) for tune in tunes] == [
        ("A", "C major"),
        ("B", "D major"),
    ]
