"""The signs of ABC beside its notes: ties, graces, decorations, chords, voices, lines.

Examples with a section are the standard's own (ABC 2.1, December 2011); what they mean
was worked out by hand.
"""

from fractions import Fraction

import pytest
from makers.abc_tunes import QUAVERS, heard, pitches, read, said, shown

from harmonise.notation.abc.abc_tune import parse_abc

# Section 4.11: ties and slurs.


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("z3 c-|cba z", "rest 3, C5 2, B5 1, A5 1, rest 1"),
        ("c2-c2", "C5 4"),
        ("c2- c2", "C5 4"),
        ("c2.-c2", "C5 4"),
        ("c2 -c2", "C5 4"),
        ("c-c-c-c", "C5 4"),
        ("[CE]2-[CE]2", "E4 4"),
        ("[C-E-]2[CE]2", "E4 4"),
        ("c2-|\nc2", "C5 4"),
        ("c>-c c2", "C5 2, C5 2"),
    ],
)
def test_tied_notes_are_one(body: str, expected: str) -> None:
    assert heard(body) == expected


@pytest.mark.parametrize(
    ("body", "notes", "remark"),
    [
        ("A2-B2", "A4 2, B4 2", "Bar 1, beat 1: the tie here leads from A4 to B4"),
        ("A2-z2", "A4 2, rest 2", "Bar 1, beat 1: the tie here leads to a rest"),
        (
            "A2-{g}A2",
            "A4 2, A4 2",
            "Bar 1, beat 1: the tie here leads to a note with grace notes",
        ),
        ("A4-", "A4 4", "Bar 1, beat 1: the tie here leads to no note"),
        (
            "|:B2A2-:|A4|",
            "B4 2, A4 2, A4 4",
            "Bar 1, beat 3: the tie here leads over a repeat sign",
        ),
        (
            "A2-A2\nw:two words",
            "A4 2, A4 2",
            "Bar 1, beat 1: the tie here leads to a note with a syllable of its own",
        ),
    ],
)
def test_a_tie_that_cannot_be_is_told(body: str, notes: str, remark: str) -> None:
    tune = read(body)
    assert shown(tune.notes) == notes
    assert said(tune) == [f"{remark}; it was left out."]


def test_a_tie_into_a_second_ending_is_told_and_into_a_first_is_read() -> None:
    tune = read("|:B3A-|1A4:|2A4|]")
    assert shown(tune.notes) == "B4 3, A4 5, A4 4"
    assert said(tune) == []


@pytest.mark.parametrize(
    ("body", "marks"),
    [
        ("(DEFG)", "1-0 0-0 0-0 0-1"),
        ("  ( D E F G )  ", "1-0 0-0 0-0 0-1"),
        ("(c (d e f) g a)", "1-0 1-0 0-0 0-1 0-0 0-1"),  # Section 4.11.
        ("(c d (e) f g a)", "1-0 0-0 1-1 0-0 0-0 0-1"),  # Section 4.11.
        (".(cde)", "1-0 0-0 0-1"),
        ("(z c d z)", "0-0 1-0 0-1 0-0"),
        ("(c)", "0-0"),
        ("(3(cde)", "1-0 0-0 0-1"),
        ("((3cde f)", "1-0 0-0 0-0 0-1"),
    ],
)
def test_slurs_begin_and_end_on_their_notes(body: str, marks: str) -> None:
    notes = read(body, QUAVERS).notes
    assert " ".join(f"{n.slur_starts}-{n.slur_ends}" for n in notes) == marks


def test_slurs_that_lack_an_end_are_told() -> None:
    tune = read("C D) E (F|")
    assert all(note.slur_starts == note.slur_ends == 0 for note in tune.notes)
    assert said(tune) == [
        "Bar 1, beat 2: a slur ends here that did not begin; it was left out.",
        "Bar 1, beat 4: a slur begins here that does not end; it was left out.",
    ]


# Section 4.12: grace notes.


def test_grace_notes_stand_before_their_note() -> None:
    note = read("{GdGe}c4").notes[0]
    assert [str(grace.pitch) for grace in note.graces] == ["G4", "D5", "G4", "E5"]
    assert [grace.slashed for grace in note.graces] == [False] * 4
    assert [grace.value for grace in note.graces] == [Fraction(1, 2)] * 4


@pytest.mark.parametrize(
    ("written", "values"),
    [
        ("{a3/2b/}", "3/4 1/4"),  # Section 4.12.
        ("{a>b}", "3/4 1/4"),  # Section 4.12.
        ("{ge4d}", "1/2 2 1/2"),  # Section 4.12.
    ],
)
def test_grace_notes_have_lengths_of_their_own(written: str, values: str) -> None:
    note = read(f"{written}c4").notes[0]
    assert " ".join(str(grace.value) for grace in note.graces) == values


def test_a_slash_makes_an_acciaccatura() -> None:
    """Section 4.12: {/g}C and {/gagab}C."""
    first, second = read("{/g}C2 {/gagab}C2").notes
    assert [grace.slashed for grace in first.graces] == [True]
    assert " ".join(str(grace.pitch) for grace in second.graces) == "G5 A5 G5 A5 B5"


def test_grace_notes_before_a_bar_line_belong_to_the_next_note() -> None:
    first, second = read("C4{de}|F4").notes
    assert not first.graces
    assert [str(grace.pitch) for grace in second.graces] == ["D5", "E5"]


@pytest.mark.parametrize("body", ["C2{d}z2", "C4{d}|"])
def test_grace_notes_that_lead_nowhere_are_told(body: str) -> None:
    tune = read(body)
    assert not any(note.graces for note in tune.notes)
    assert said(tune)[-1].endswith(
        "grace notes lead to no note that is struck; they were left out."
    )


# Sections 4.14 and 4.16: decorations.


@pytest.mark.parametrize(
    "body",
    ["HC4", "!fermata!C4", "!invertedfermata! C4", "+fermata+C4", ".H~C4", "H[CE]4"],
)
def test_a_fermata_is_kept(body: str) -> None:
    assert read(body).notes[0].fermata


def test_a_letter_can_be_given_a_meaning_or_lose_it() -> None:
    header = "M:4/4\nL:1/4\nU:T = !fermata!\nU:H=!nil!\nU: k = !accent!\nK:C"
    notes = read("TC kD E F", header).notes
    assert [note.fermata for note in notes] == [True, False, False, False]
    with pytest.raises(Exception, match='the letter "H" is no note'):
        read("C D E H|", header)


def test_other_ornaments_change_no_note() -> None:
    plain = heard("G A B c|d4|")
    assert heard("~G .A vB uc|Td4|") == plain
    assert heard("!trill!G !f!A !1!B !<(!c!<)!|!sf!d4|") == plain
    assert heard("LG MA PB Tc|!turn!!mf!d4|") == plain


def test_an_undefined_letter_before_a_note_is_told() -> None:
    tune = read("kC D kE F|kG4")
    assert shown(tune.notes) == "C4 1, D4 1, E4 1, F4 1, G4 4"
    assert said(tune) == [
        (
            'Bar 1, beat 1: the letter "k" before a note is defined nowhere; it was '
            "passed over. Likewise in bar 2. Say what it means, as in U:k = !accent!"
        )
    ]


# Section 4.17: chords.


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("[CEGc]", "C5 1"),
        ("[c4a4] [B4g4]", "A5 4, G5 4"),  # Kitchen Girl, section 13.3.
        ("[C2E2G2]3", "G4 6"),  # "The same meaning as [CEG]6."
        ("[CEG]6", "G4 6"),
        ("[C2E]", "E4 2"),  # "The chord duration is that of the first note."
        ("[DD]", "D4 1"),
        ('"Gm7"[.=G,^c\']', "C#6 1"),  # Section 4.20.
        ("[!1!C!3!E!5!G]", "G4 1"),  # Section 4.14.
        ("[_e^c]", "Eb5 1"),
    ],
)
def test_the_top_note_of_a_chord_is_taken(body: str, expected: str) -> None:
    assert heard(body) == expected


def test_the_long_example_of_chords() -> None:
    """Section 4.17: slur, tie, broken rhythm and lengths at chords."""
    body = '( "^I" !f! [CEG]- > [CEG] "^IV" [F=AC]3/2"^V"[GBD]/  H[CEG]2 )'
    tune = read(body, "M:4/4\nL:1/4\nK:C")
    assert shown(tune.notes) == "G4 2, A4 3/2, B4 1/2, G4 2"
    assert tune.notes[-1].fermata
    assert said(tune)[1] == (
        "Bar 1, beat 1: several notes sound together; the top one was taken."
    )


def test_an_accidental_in_a_chord_holds_for_the_bar() -> None:
    assert pitches("[^Fc] F G2|F4") == "C5 F#4 G4 F4"


# Section 7: voices.


def test_the_first_voice_is_read_and_the_others_are_told() -> None:
    """Zocharti Loch, section 7, first lines of its first form."""
    text = """X:1
T:Zocharti Loch
C:Louis Lewandowski (1821-1894)
M:C
Q:1/4=76
%%score (T1 T2) (B1 B2)
V:T1           clef=treble-8  name="Tenore I"   snm="T.I"
V:T2           clef=treble-8  name="Tenore II"  snm="T.II"
K:Gm
[V:T1]  (B2c2 d2g2)  | f6e2      |
[V:T2]  (G2A2 B2e2)  | d6c2      |
[V:T1]  (d2c2 d2)e2 | d4 c2z2 |
[V:T2]  (B2A2 B2)c2 | B4 A2z2 |
"""
    tune = parse_abc(text)[0]
    assert shown(tune.notes) == (
        "Bb3 1, C4 1, D4 1, G4 1, F4 3, Eb4 1, "
        "D4 1, C4 1, D4 1, Eb4 1, D4 2, C4 1, rest 1"
    )
    assert said(tune) == ['There are several voices; the first, "T1", was taken.']


def test_voices_one_after_the_other_give_the_same_tune() -> None:
    """Section 7: the second form gives the same output as the first."""
    first = read("V:1\nCDEF|\nV:2\nEFGA|\nV:1\nGABc|\nV:2\nBcde|")
    second = read("V:1\nCDEF|\nGABc|\nV:2\nEFGA|\nBcde|")
    assert first.notes[:4] == second.notes[:4]
    assert shown(first.notes) == shown(second.notes) == shown(read("CDEF|GABc|").notes)


def test_fields_and_words_of_other_voices_are_passed_over() -> None:
    body = (
        "V:1\nCDEF|\nw:one two three four\nV:2\nK:E\n[M:3/4]EFG|\nw:no no no\nV:1\nC4|"
    )
    tune = read(body)
    assert shown(tune.notes) == "C4 1, D4 1, E4 1, F4 1, C4 4"
    assert [str(change.key) for change in tune.keys] == ["C major"]
    assert tune.verses == 1


# Section 2.2, 3.2, 6.1.1: lines.


def test_a_remark_in_brackets_changes_nothing() -> None:
    """Section 2.2.5: comments and remarks are as if they were removed."""
    body = (
        "|:DEF FED| % this is an end of line comment\n"
        "% this is a comment line\n"
        "DEF [r:and this is a remark] FED:|"
    )
    assert heard(body, "M:6/8\nL:1/8\nK:C") == heard(
        "|:DEF FED|DEF FED:|", "M:6/8\nL:1/8\nK:C"
    )


def test_an_inline_field_is_the_field_on_its_own_line() -> None:
    """Section 3.2: the two excerpts are equivalent."""
    header = "M:6/8\nL:1/8\nK:C"
    inline = read("E2E EFE|E2E EFG|[M:9/8] A2G F2E D2|]", header)
    alone = read("E2E EFE|E2E EFG|\\\nM:9/8\nA2G F2E D2|]", header)
    assert shown(inline.notes) == shown(alone.notes)
    assert inline.bars == alone.bars
    assert [str(bar.time) for bar in inline.bars] == ["6/8", "6/8", "9/8"]


@pytest.mark.parametrize(
    ("body", "phrases"),
    [
        ("abcd|\nabcd|", "4 8"),
        ("abcd|\\ % end of line comment\nabcd|", "8"),  # Section 6.1.1.
        ("abcd|\\\n\\\nabcd|", "8"),  # Section 6.1.1.
        ("abcd|$abcd|", "4 8"),
        ("abcd|!abcd|", "4 8"),  # Section 12.2, loose interpretation.
        ("abcd:|abcd||abcd|", "4 8 12"),
        ("abc\nd|abcd|", "3 8"),
        ("abcd", "4"),
    ],
)
def test_phrases_end_with_lines_and_sections(body: str, phrases: str) -> None:
    assert " ".join(str(onset) for onset in read(body).phrases) == phrases


@pytest.mark.parametrize(
    ("instruction", "phrases"),
    [
        ("I:linebreak $", "6 8"),
        ("I:linebreak !", "2 8"),
        ("I:linebreak <none>", "8"),
        ("I:linebreak <EOL>", "4 8"),
        ("I:linebreak <EOL> $", "4 6 8"),
        ("%%linebreak <EOL>\nI:linebreak <none>", "8"),  # The second wins (section 3).
    ],
)
def test_the_book_says_what_ends_a_line(instruction: str, phrases: str) -> None:
    """Section 6.1.1."""
    mark = "!" if "!" in instruction else ""
    tune = read(f"ab{mark}cd|\nab$cd|", f"M:4/4\nL:1/4\n{instruction}\nK:C")
    assert " ".join(str(onset) for onset in tune.phrases) == phrases


def test_reserved_signs_are_passed_over_and_told() -> None:
    """Section 8.1: how the line that was difficult to parse should be treated."""
    wild = '@a !pp! #bc2/3* [K:C#] de?f "@this $2was difficult to parse?" y |**'
    plain = 'a !pp! bc2/3 [K:C#] def "@this $2was difficult to parse?" y |'
    first, second = (read(body, QUAVERS) for body in (wild, plain))
    assert shown(first.notes) == shown(second.notes)
    assert 'Bar 1, beat 1: "@" means nothing yet; it was passed over.' in said(first)
