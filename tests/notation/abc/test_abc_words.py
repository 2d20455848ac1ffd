"""`w:` lines of ABC: which syllable stands under which note.

Examples with a section are the standard's own (ABC 2.1, December 2011).
"""

import pytest
from makers.abc_tunes import read, said

from harmonise.notation.abc.abc_words import parse_words
from harmonise.theory.tune import Syllable, TuneNote


def sung(body: str, first: str = "", verse: int = 0) -> str:
    """Return what is sung, note by note: "time_ . doh- re" (. for nothing)."""
    tune = read(body, "M:4/4\nL:1/4\nK:C", first)
    return " ".join(_word(note, verse) for note in tune.sounding)


def _word(note: TuneNote, verse: int) -> str:
    word: Syllable | None = note.syllables[verse] if note.syllables else None
    if word is None:
        return "."
    return f"{word.text}{'-' * word.joins}{'_' * word.extends}".replace(" ", "~")


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("syll-a-ble", "syll- a- ble ."),
        ("syll-a--ble", "syll- a- . ble"),
        ("syll-a -ble", "syll- a- . ble"),
        ("time__", "time_ . . ."),
        ("of~the~day", "of~the~day . . ."),
        ("a*b", "a . b ."),
        (r"o\-pen", "o-pen . . ."),
        ("syl-_la ble", "syl- . la ble"),
        ("1.~Three blind mice", "1.~Three blind mice ."),  # Section 5.3.
        ("* * la la", ". . la la"),
    ],
)
def test_the_signs_of_alignment(line: str, expected: str) -> None:
    """Section 5.1: the table of signs and its examples."""
    assert sung(f"CDEF|\nw:{line}") == expected


def test_words_after_each_line_or_after_both_are_the_same() -> None:
    """Section 5.1: the two examples are equivalent."""
    apart = "C D E F|\nw: doh re mi fa\nG A B c|\nw: sol la ti doh"
    together = "C D E F|\nG A B c|\nw: doh re mi fa sol la ti doh"
    expected = "doh re mi fa sol la ti doh"
    assert sung(apart, "%abc-2.1\n") == sung(together, "%abc-2.1\n") == expected


def test_an_empty_line_of_words_leaves_notes_without() -> None:
    """Section 5.1: the 4 G notes have no lyric."""
    body = "C D E F|\nw: doh re mi fa\nG G G G|\nw:\nF E F C|\nw: fa mi re doh"
    assert sung(body, "%abc-2.1\n") == "doh re mi fa . . . . fa mi re doh"


def test_words_begin_with_the_tune_in_2_1_and_with_their_line_before() -> None:
    """Section 10.6: the example that is not backwards compatible."""
    body = "CDEF|\nFEDC|\ncdef|]\nw:these are lyr-ics"
    assert sung(body, "%abc-2.1\n") == "these are lyr- ics . . . . . . . ."
    assert sung(body) == ". . . . . . . . these are lyr- ics"
    careful = "CDEF|\nFEDC|\nw:\ncdef|]\nw:these are lyr-ics"
    assert sung(careful, "%abc-2.1\n") == sung(careful) == sung(body)


def test_adjacent_lines_are_verses() -> None:
    """Section 5.2: both forms."""
    short = (
        "CDEF|FEDC|\nw: these are the lyr-ics for verse one\n"
        "w: these are the lyr-ics for verse two"
    )
    long = (
        "CDEF|FEDC|\nw: these are the lyr-ics\n+:  for verse one\n"
        "w: these are the lyr-ics\n+:  for verse two"
    )
    for body in (short, long):
        assert sung(body) == "these are the lyr- ics for verse one"
        assert sung(body, verse=1) == "these are the lyr- ics for verse two"


def test_a_verse_may_miss_a_line() -> None:
    body = "CDEF|\nw:a b c d\nw:e f g h\nFEDC|\nw:i k l m"
    assert sung(body) == "a b c d i k l m"
    assert sung(body, verse=1) == "e f g h . . . ."


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("CDEF|GABc|\nw:one|two", "one . . . two . . ."),
        ("CDEF|GABc|\nw:a b c d|e", "a b c d e . . ."),
        ("CDEF|Z|GABc|\nw:a||b", "a . . . b . . ."),
        ("C|DEFG|\nw:the|bar", "the bar . . ."),
    ],
)
def test_a_bar_sign_goes_on_to_the_next_bar(body: str, expected: str) -> None:
    assert sung(body) == expected


def test_rests_graces_and_spacers_take_no_syllable() -> None:
    """Section 5.1: "syllables are not aligned on grace notes, rests or spacers"."""
    assert sung("C z {d}E x|y G2 z2|\nw:one two three") == "one two three"


def test_a_held_syllable_on_a_tied_note_holds_no_further() -> None:
    assert sung("C2-C D|E4|\nw:long_ er now") == "long er now"
    assert sung("C2-C D|E4|\nw:long__ now") == "long_ . now"


def test_a_word_may_run_over_a_rest_and_a_line() -> None:
    assert sung("C D z E|\nw:hal-le-lu-\nF4|\nw:jah") == "hal- le- lu- jah"


def test_syllables_without_a_note_are_told() -> None:
    """Section 5.1: "any excess syllables will be ignored", with a warning."""
    tune = read("CDEF|\nw:one two three four five six")
    assert said(tune) == [
        (
            'Bar 1, beat 4: 2 syllables have no note, from "five" on: left out. Use - '
            "inside words; write | to go on with the next bar."
        )
    ]


def test_too_few_syllables_are_legitimate() -> None:
    """Section 5.1."""
    assert said(read("CDEF|\nw:one two")) == []


def test_accents_in_words_are_letters() -> None:
    assert [piece.text for piece in parse_words(r"au-l' w\'an &eacute;t")] == [
        "au",
        "l'",
        "wán",
        "ét",
    ]
