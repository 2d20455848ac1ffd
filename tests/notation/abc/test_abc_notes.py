"""The notes of ABC: pitches, accidentals, lengths, rests, broken rhythm, tuplets.

Examples with a section are the standard's own (ABC 2.1, December 2011); what they mean
in pitches and crotchets was worked out by hand.
"""

import pytest
from makers.abc_tunes import (
    QUAVERS,
    SEMIQUAVERS,
    heard,
    lengths,
    pitches,
    read,
    said,
    shown,
)

from harmonise.notation.abc.pitches import parse_head
from harmonise.theory.pitch import parse_pitch

# Section 4.1: pitch.


@pytest.mark.parametrize(
    ("written", "pitch"),
    [
        ("C,", "C3"),
        ("C", "C4"),
        ("B", "B4"),
        ("c", "C5"),
        ("b", "B5"),
        ("c'", "C6"),
        ("C,',", "C3"),  # The standard's own example of mixed marks.
        ("C'", "C5"),  # And of a capital letter with an apostrophe.
        ("c,", "C4"),
        ("^c", "C#5"),
        ("^^C", "C##4"),
        ("_B,", "Bb3"),
        ("__B", "Bbb4"),
        ("=F", "F4"),
    ],
)
def test_a_letter_with_its_marks_is_a_pitch(written: str, pitch: str) -> None:
    assert pitches(written) == pitch


def test_every_letter_of_the_piano_is_the_scientific_pitch() -> None:
    for octave in range(1, 8):
        for letter in "CDEFGAB":
            low = letter + "," * (4 - octave)
            high = letter.lower() + "'" * (octave - 5)
            written = low if octave <= 4 else high
            head, _ = parse_head(written)
            expected = parse_pitch(f"{letter}{octave}")
            assert (head.letter, head.octave) == (expected.letter, expected.octave)


# Section 4.2 and 11.3: accidentals.


def test_an_accidental_holds_to_the_end_of_its_bar() -> None:
    assert pitches("^F F G F|F4") == "F#4 F#4 G4 F#4 F4"


def test_a_natural_takes_the_signature_away_for_a_bar() -> None:
    assert pitches("F =F F z|F4", "M:4/4\nL:1/4\nK:G") == "F#4 F4 F4 F#4"


def test_an_accidental_holds_in_every_octave_and_that_is_told() -> None:
    tune = read("^F f F, z|f4")
    assert shown(tune.sounding) == "F#4 1, F#5 1, F#3 1, F5 4"
    assert said(tune) == [
        (
            "Bar 1, beat 2: F#5 has its accidental from the same letter in another "
            "octave, as ABC 2.1 asks. Write its own accidental before it if another "
            "note is meant."
        )
    ]


@pytest.mark.parametrize(
    ("spread", "expected"),
    [
        ("pitch", "F#4 F#4 F#5 F5 F4"),
        ("octave", "F#4 F#4 F5 F5 F#4"),
        ("not", "F#4 F4 F5 F5 F4"),
    ],
)
@pytest.mark.parametrize("sign", ["%%", "I:"])
def test_the_book_says_how_accidentals_hold(
    spread: str, expected: str, sign: str
) -> None:
    header = f"M:5/4\nL:1/4\n{sign}propagate-accidentals {spread}\nK:C"
    assert pitches("^F F f =f F", header) == expected


def test_an_accidental_of_a_grace_note_holds_too() -> None:
    assert pitches("{^f}g f g2|f4") == "G5 F#5 G5 F5"


def test_a_tie_carries_an_accidental_over_the_bar_line_and_no_further() -> None:
    assert heard("z3 ^F-|F2 F2") == "rest 3, F#4 3, F4 2"


# Section 4.3: note lengths; 3.1.7: unit.


@pytest.mark.parametrize(
    ("written", "length"),
    [
        ("A", "1/4"),
        ("A1", "1/4"),
        ("A2", "1/2"),
        ("A3", "3/4"),
        ("A4", "1"),
        ("A6", "3/2"),
        ("A7", "7/4"),
        ("A8", "2"),
        ("A12", "3"),
        ("A14", "7/2"),
        ("A15", "15/4"),
    ],
)
def test_multipliers_of_a_semiquaver(written: str, length: str) -> None:
    """Section 4.3 names these eleven lengths in words."""
    assert lengths(written, SEMIQUAVERS) == length


@pytest.mark.parametrize(
    ("written", "length"),
    [
        ("A/2", "1/4"),
        ("A3/2", "3/4"),
        ("A/4", "1/8"),
        ("A/", "1/4"),
        ("A//", "1/8"),
        ("A///", "1/16"),
        ("A3/", "3/4"),
        ("A5/4", "5/8"),
    ],
)
def test_fractions_of_a_quaver(written: str, length: str) -> None:
    """Section 4.3, and common practice for the last three."""
    assert lengths(written, QUAVERS) == length


@pytest.mark.parametrize(
    ("metre", "length"),
    [
        ("2/4", "1/4"),
        ("3/4", "1/2"),
        ("6/8", "1/2"),
        ("4/4", "1/2"),
        ("C", "1/2"),
        ("C|", "1/2"),
        ("none", "1/2"),
        ("5/8", "1/4"),
        ("3/8", "1/4"),
        ("2/2", "1/2"),
    ],
)
def test_the_unit_follows_the_metre_if_no_field_gives_it(
    metre: str, length: str
) -> None:
    """Section 3.1.7: a semiquaver where the metre is less than 0.75."""
    assert lengths("C", f"M:{metre}\nK:C") == length


def test_a_change_of_metre_changes_no_unit() -> None:
    """Section 3.1.7, last sentence."""
    assert lengths("CDEF GABc|[M:2/4]CDEF|", "M:4/4\nK:C").split() == ["1/2"] * 12


def test_a_unit_field_in_the_music_changes_the_unit() -> None:
    assert lengths("C2 D2|[L:1/8]C2 D2 E4|\nL:1/2\nCD|") == "2 2 1 1 2 2 2"


# Section 4.4: broken rhythm.


@pytest.mark.parametrize(
    ("unit", "body"),
    [
        ("1/16", "a3b cd3 a2b2c2d2"),
        ("1/8", "a3/2b/2 c/2d3/2 abcd"),
        ("1/8", "a>b c<d abcd"),
    ],
)
def test_three_ways_to_write_one_broken_rhythm(unit: str, body: str) -> None:
    """Section 4.4: "the following lines all mean the same thing"."""
    expected = "3/4 1/4 1/4 3/4 1/2 1/2 1/2 1/2"
    assert lengths(body, f"M:none\nL:{unit}\nK:C") == expected


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("a>>b", "7/8 1/8"),
        ("a>>>b", "15/16 1/16"),
        ("a<<b", "1/8 7/8"),
        ("a<<<b", "1/16 15/16"),
        ("a2>b2", "3/2 1/2"),
        ("z>b", "3/4 1/4"),
        ("A<{g}A", "1/4 3/4"),  # Section 4.12.
        ("A{g}<A", "1/4 3/4"),  # Section 4.12.
        ("a > b", "3/4 1/4"),
        ("[CEG]>[CEG]", "3/4 1/4"),
        ('a>"G"~b', "3/4 1/4"),
        ("(a>b)", "3/4 1/4"),
        ("a>(b c)", "3/4 1/4 1/2"),
    ],
)
def test_broken_rhythms_of_all_kinds(body: str, expected: str) -> None:
    assert lengths(body, QUAVERS) == expected


def test_a_broken_rhythm_between_unequal_notes_is_told() -> None:
    tune = read("A2>B|", "M:none\nL:1/8\nK:C")
    assert shown(tune.notes) == "A4 3/2, B4 1/4"
    assert said(tune)[1] == (
        "Bar 1, beat 7: a broken rhythm stands between notes of unequal length; each "
        "was changed by itself. Write both lengths out."
    )


# Section 4.5: rests.


def test_rests_of_whole_bars_are_rests_bar_by_bar() -> None:
    """Section 4.5: the two excerpts are musically equivalent."""
    short, long = (
        read(body, "M:4/4\nL:1/4\nK:C")
        for body in ("Z4|CD EF|GA Bc", "z4|z4|z4|z4|CD EF|GA Bc")
    )
    assert short.notes == long.notes
    assert short.bars == long.bars
    assert len(short.bars) == 6


def test_a_rest_of_whole_bars_without_a_number_is_one_bar() -> None:
    assert heard("Z|X2|C4") == "rest 4, rest 4, rest 4, C4 4"


def test_invisible_rests_last_like_others() -> None:
    assert heard("x2 z C|") == "rest 2, rest 1, C4 1"


def test_a_spacer_takes_no_time() -> None:
    """Section 6.1.2: y makes no rest."""
    assert heard('C y D "Am" !pp! y E y2 F|') == heard("C D E F|")


# Section 4.13: tuplets.


@pytest.mark.parametrize(
    ("metre", "number", "length"),
    [
        ("4/4", 2, "3/4"),
        ("4/4", 3, "1/3"),
        ("4/4", 4, "3/8"),
        ("4/4", 5, "1/5"),
        ("4/4", 6, "1/6"),
        ("4/4", 7, "1/7"),
        ("4/4", 8, "3/16"),
        ("4/4", 9, "1/9"),
        ("6/8", 2, "3/4"),
        ("6/8", 3, "1/3"),
        ("6/8", 5, "3/10"),
        ("9/8", 7, "3/14"),
        ("12/8", 9, "1/6"),
    ],
)
def test_the_table_of_tuplets(metre: str, number: int, length: str) -> None:
    """Section 4.13: 2 for 3, 3 for 2, 4 for 3, 6 for 2, 8 for 3; 5, 7, 9 for n."""
    body = f"({number}{'a' * number}b"
    found = lengths(body, f"M:{metre}\nL:1/8\nK:C").split()
    assert found == [length] * number + ["1/2"]


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("(3abc", "1/3 1/3 1/3"),
        ("(3::abc", "1/3 1/3 1/3"),
        ("(3:2abc", "1/3 1/3 1/3"),
        ("(3:2:3abc", "1/3 1/3 1/3"),
        ("(3::2ab c", "1/3 1/3 1/2"),
        ("(3:2:2ab c", "1/3 1/3 1/2"),
        ("(3:2:2 G4c2", "4/3 2/3"),
        ("(3:2:4 G2A2Bc", "2/3 2/3 1/3 1/3"),
        ("(3 D2E2F2", "2/3 2/3 2/3"),
        ("(3 D3EF2", "1 1/3 2/3"),
        ("(3.a.b.c", "1/3 1/3 1/3"),  # Section 4.14.
        ("(3a{g}bc", "1/3 1/3 1/3"),
        ("(3a>bc", "1/2 1/6 1/3"),
        ("(3zb[ce]", "1/3 1/3 1/3"),
        ("(5:4ABcde", "2/5 2/5 2/5 2/5 2/5"),
    ],
)
def test_tuplets_written_in_full(body: str, expected: str) -> None:
    """Section 4.13: equivalents, and notes of different lengths."""
    assert lengths(body, QUAVERS) == expected


# Section 4.6: clefs, octaves, transposition.


@pytest.mark.parametrize(
    ("key", "pitch"),
    [
        ("C clef=bass", "C4"),
        ("C bass", "C4"),
        ("C clef=treble-8", "C3"),
        ("C treble+8", "C5"),
        ("C octave=-1", "C3"),
        ("C octave=2", "C6"),
        ("C transpose=-24", "C2"),
        ("bass middle=d transpose=-24", "C2"),
        ("C clef=none stafflines=1", "C4"),
    ],
)
def test_clefs_and_parameters_move_whole_octaves(key: str, pitch: str) -> None:
    assert pitches("C", f"M:4/4\nL:1/4\nK:{key}") == pitch


def test_a_transposing_instrument_is_read_as_printed_and_told() -> None:
    tune = read("C4|", "M:4/4\nL:1/4\nK:C transpose=-2")
    assert shown(tune.notes) == "C4 4"
    assert said(tune) == [
        (
            "Bar 1, beat 1: playback is to be transposed by -2 semitones; the notes "
            "are read as printed."
        )
    ]


# Section 4.7: beams.


def test_blanks_and_back_quotes_only_group_beams() -> None:
    """Section 4.7: these are equivalent."""
    assert heard("A2``B``C|") == heard("A2BC|") == heard("A2 B C|")
