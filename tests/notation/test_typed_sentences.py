"""Every sentence that is told about a tune in letters or sol-fa, whole."""

from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from makers.cases import case_paths, cases

import harmonise.page
from harmonise.errors import SAMPLE_LINE, HarmoniseError, MelodyError, NotationError
from harmonise.notation.solfa.solfa import parse_solfa
from harmonise.notation.solfa.solfa_names import SOLFA
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.tune import Tune

ABC = (
    'Here: C5 for the higher C, "C -" for two beats, "A.B" for half beats, 0 for a '
    "rest. Or paste the whole ABC tune with its X: and K: lines."
)
Reader = Callable[[str], Sequence[Tune]]
PAGE = Path(harmonise.page.__file__).parent / "files" / "tune_box.js"


# Sentences: one file a case, in broken/ what is refused, in cases/ what is read.


def test_every_row_of_the_table_of_messages_has_a_case() -> None:
    # TRADE 6.6. E18 (a lock that clashes) is the engine's; E25 is read without a word.
    paths = [*case_paths("broken"), *case_paths("cases/remarked")]
    rows = {f"E{number:02}" for number in range(1, 25)} - {"E18"}
    assert rows <= {path.name[:3] for path in paths}


@pytest.mark.parametrize(
    ("read", "text", "sentence"),
    [*cases("broken", parse_tune_text), *cases("broken/solfa", parse_solfa)],
)
def test_an_error_says_where_what_and_what_to_do(
    read: Reader, text: str, sentence: str
) -> None:
    with pytest.raises(HarmoniseError) as caught:
        read(text)
    assert f"{caught.value}\n" == sentence


@pytest.mark.parametrize(
    ("read", "text", "sentences"),
    [
        *cases("cases/remarked", parse_tune_text),
        *cases("cases/solfa", parse_solfa),
    ],
)
def test_a_remark_says_what_was_understood(
    read: Reader, text: str, sentences: str
) -> None:
    remarks = read(text)[0].remarks
    assert "".join(f"{remark}\n" for remark in remarks) == sentences


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        pytest.param(
            "C D E F\nG\0",
            "This is no text, MIDI or MusicXML: no keyboard types what it holds. Save "
            "it again as one of them. (line 2)",
            id="binary",
        ),
        pytest.param(
            "%" * 2_100_000,
            "The text is 2.1 MB long; at most 2 MB are read. Split it into several "
            "files.",
            id="too long a text",
        ),
        pytest.param(
            "C D E F |\n" * 2_001,
            "The tune has more than 2,000 bars. Split it into parts.",
            id="too many bars",
        ),
        pytest.param(
            "Title: A\nC D E F\n" * 1_001,
            "The text holds 1001 tunes; at most 1,000 are read. Split it into several "
            "files.",
            id="too many tunes",
        ),
        pytest.param(
            "Key: C\nC D E " + "X" * 1_000,
            f'Bar 1, beat 4: "{"X" * 24}…" is not a note name. Notes are A to G (the '
            "note a semitone below C is B). The words of a song go on a line that "
            f'begins with Words:. (line 2: "{"X" * 24}…")',
            id="an endless word",
        ),
    ],
)
def test_a_text_out_of_bounds_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_tune_text(text)
    assert str(caught.value) == sentence


@pytest.mark.parametrize(
    "word",
    [
        "c'",
        "C,",
        "C2",
        "A/2",
        "A/",
        "z",
        "z4",
        "c2",
        "^F",
        "_B",
        "(3CDE",
        "[CEG]",
        "A>B",
    ],
)
def test_half_abc_is_told_how_it_is_written_here(word: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_tune_text(f"Key: C\nC D E {word}")
    wanted = f'Bar 1, beat 4: "{word}" looks like ABC. {ABC} (line 2: "{word}")'
    assert str(caught.value) == wanted


def test_the_line_that_is_offered_can_be_typed_as_it_stands() -> None:
    for example, read in ((SAMPLE_LINE, parse_tune_text), (SOLFA.example, parse_solfa)):
        (tune,) = read(example)
        assert [str(note.pitch.name) for note in tune.notes if note.pitch] == [
            *("C", "E", "G", "E", "F", "A", "G")
        ]
    page = PAGE.read_text("utf-8")
    assert f"Type a line such as {SAMPLE_LINE} or" in page


@pytest.mark.parametrize(
    ("read", "text"), [(parse_tune_text, "Title: A"), (parse_solfa, "Doh: C")]
)
def test_an_empty_text_is_no_tune_rather_than_bad_notation(
    read: Reader, text: str
) -> None:
    with pytest.raises(MelodyError):
        read(text)


@pytest.mark.parametrize(
    "text", ["d" * 100_000, "| " + ":d" * 100_000, "| " + "d," * 100_000]
)
def test_a_strange_sol_fa_is_refused_in_a_short_sentence(text: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_solfa(f"Doh: C\n{text}")
    assert len(str(caught.value)) < 400


def test_a_sol_fa_of_too_many_bars_is_refused() -> None:
    with pytest.raises(NotationError) as caught:
        parse_solfa("Doh: C\n" + "| d :r " * 2001)
    assert str(caught.value) == (
        "The tune has more than 2,000 bars. Split it into parts."
    )


def test_the_place_of_a_fault_can_be_read_without_its_sentence() -> None:
    with pytest.raises(NotationError) as caught:
        parse_tune_text("Key: C\nG | C D E F | C D E F G | C - - |")
    assert caught.value.place is not None
    assert caught.value.place.bar == 2


@pytest.mark.parametrize(
    "text",
    [
        pytest.param("C" + " " * 300_000 + ":|", id="blanks before a bar line"),
        pytest.param("C" * 300_000, id="one long word"),
        pytest.param("Tempo: " + "1" * 300_000 + "x\nC", id="long number"),
        pytest.param("Key: C\nC\nWords: " + "a-" * 150_000, id="long word to sing"),
        pytest.param("C D E F\nChords: " + "C" * 300_000, id="long chord"),
        pytest.param("chorus" + " " * 300_000 + "!\nC", id="long name of a section"),
        pytest.param("Key: " + "A " * 150_000 + "\nC", id="long key"),
        pytest.param("C D E " + "|:" * 150_000, id="bar lines that touch"),
        pytest.param("c d e " + "b" * 300_000 + "!", id="a letter that is a sign"),
        pytest.param("H " + "b" * 300_000 + "!\nC", id="the same in prose"),
        pytest.param("!" * 300_000 + "ab\nC", id="no letters but two"),
        pytest.param("C " * 200_001, id="no bar line at all"),
    ],
)
def test_a_strange_text_is_refused_at_once_in_a_short_sentence(text: str) -> None:
    # The blanks once took time with the square of their number.
    with pytest.raises(HarmoniseError) as caught:
        parse_tune_text(text)
    assert len(str(caught.value)) < 300
