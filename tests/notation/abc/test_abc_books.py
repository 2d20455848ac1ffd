"""The ABC door: readings from the standard, refusals, and four real collections."""

from collections import Counter
from pathlib import Path

import music21  # noqa: TID251 (its corpus is the outside check)
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples

from harmonise.errors import HarmoniseError, NotationError
from harmonise.notation.abc.abc_tune import parse_abc, parse_abc_tune, split_abc
from harmonise.theory.tune import Tune

CORPUS = Path(music21.__file__).parent / "corpus"


def tune(body: str, head: str = "M:4/4\nL:1/4\nK:C") -> Tune:
    return parse_abc(f"X:1\n{head}\n{body}\n")[0]


def spoken(body: str, head: str = "M:4/4\nL:1/4\nK:C") -> str:
    return " ".join(f"{note.pitch}:{note.length}" for note in tune(body, head).notes)


READINGS = [
    # ABC music standard 2.1, the section in front.
    pytest.param("C,D,EFcde'|", "C3:1 D3:1 E4:1 F4:1 C5:1 D5:1 E6:1", id="4.1 octaves"),
    pytest.param("^C=C_B^^F|", "C#4:1 C4:1 Bb4:1 F##4:1", id="4.2 accidentals"),
    pytest.param("^CCC|C", "C#4:1 C#4:1 C#4:1 C4:1", id="4.2 through the bar"),
    pytest.param("C2D/2E3/2F/G//|", "C4:2 D4:1/2 E4:3/2 F4:1/2 G4:1/4", id="4.3"),
    pytest.param("C>DE<F|", "C4:3/2 D4:1/2 E4:1/2 F4:3/2", id="4.4 broken rhythm"),
    pytest.param("C>>D|", "C4:7/4 D4:1/4", id="4.4 doubly broken"),
    pytest.param("z2C2|", "None:2 C4:2", id="4.5 rests"),
    pytest.param("C4|Z2|C4|", "C4:4 None:4 None:4 C4:4", id="4.5 bars of rest"),
    pytest.param("C3D-|D2E2|", "C4:3 D4:3 E4:2", id="4.11 ties"),
    pytest.param("(3CDE F2|", "C4:2/3 D4:2/3 E4:2/3 F4:2", id="4.13 triplet"),
    pytest.param("(3:2:2C2D F2|", "C4:4/3 D4:2/3 F4:2", id="4.13 p:q:r"),
    pytest.param("[CEG]4|", "G4:4", id="4.17 the top note of a chord"),
    pytest.param("CD[K:D]EF|", "C4:1 D4:1 E4:1 F#4:1", id="3.1.14 inline key"),
    pytest.param("CD|[L:1/8]EF|", "C4:1 D4:1 E4:1/2 F4:1/2", id="3.1.7 inline length"),
]


@pytest.mark.parametrize(("body", "expected"), READINGS)
def test_music_reads_as_the_standard_says(body: str, expected: str) -> None:
    assert spoken(body) == expected


KEYS = [
    # Standard 2.1, section 3.1.14: every row names the same signature, two sharps.
    *[f"K:{name}" for name in ("D", "Bm", "AMix", "EDor", "A Mixolydian", "Bmin")],
    "K:D major",
]


@pytest.mark.parametrize("key", KEYS)
def test_modes_of_one_signature_sharpen_the_same_notes(key: str) -> None:
    assert spoken("CDEF|", f"M:4/4\nL:1/4\n{key}") == "C#4:1 D4:1 E4:1 F#4:1"


def test_unit_length_follows_the_metre() -> None:
    # Standard 2.1, section 3.1.7: below 3/4 a sixteenth, else an eighth.
    assert spoken("C", "M:2/4\nK:C") == "C4:1/4"
    assert spoken("C", "M:3/4\nK:C") == "C4:1/2"


def test_words_symbols_repeats_and_endings_are_kept() -> None:
    got = tune('"Am"A|:G2G2|1 "C"c4:|2 "G7"G4|]\nw: Oh sing a-loud now')
    words = [n.syllables[0].text for n in got.sounding if n.syllables[0]]
    assert words == ["Oh", "sing", "a", "loud", "now"]
    assert [str(symbol.chord) for symbol in got.symbols] == ["Am", "C", "G7"]
    assert [bar.ending for bar in got.bars] == [(), (), (1,), (2,)]
    assert [bar.number for bar in got.bars][:2] == [0, 1]


REFUSALS = [
    (
        "X:1\nL:1/4\nM:4/4\nK:C\nCD h2|",
        (
            'Bar 1, beat 3: the letter "h" is no note and stands before none. '
            'Notes are A to G and a to g; rests are z. (line 5: "h")'
        ),
    ),
    (
        "X:1\nK:H\nC",
        (
            'K: "H" is no key. Write a capital letter A to G, # or b, and a mode, '
            'such as K:Ador. (line 2: "K:H")'
        ),
    ),
    ("hello", "There is no ABC tune here. A tune begins with an X: field."),
]


@pytest.mark.parametrize(("text", "sentence"), REFUSALS)
def test_what_is_not_known_is_refused_with_its_place(text: str, sentence: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_abc(text)
    assert str(caught.value) == sentence


SOUP = st.lists(
    st.sampled_from(
        [*"ABCdefgz|:[]()/<>-^=_ 23,'\"{}&~\n", "w:", "K:G", "M:3/4", "|:"]
    ),
    max_size=40,
).map("".join)


@given(SOUP)
@settings(max_examples=examples(1000), deadline=None, derandomize=True)
def test_any_soup_of_signs_is_a_tune_or_a_sentence(body: str) -> None:
    try:
        found = parse_abc(f"X:1\nK:C\n{body}\n")
    except HarmoniseError:
        return
    else:
        assert all(note.length > 0 for note in found[0].notes)


BOOKS = [
    # Collection, its tunes in music21's corpus, how many of them are read. Refused of
    # the three tune books are a key that is none ("Bn", in two settings of a tune) and
    # a bar that is not whole without a stray sign (1).
    ("essenFolksong", 8514, 8503),
    ("airdsAirs", 1180, 1180),
    ("oneills1850", 2009, 2007),
    ("ryansMammoth", 1059, 1058),
]


@pytest.mark.slow
@pytest.mark.parametrize(("folder", "tunes", "read"), BOOKS)
def test_real_collections_are_read_or_refused_with_a_sentence(
    folder: str, tunes: int, read: int
) -> None:
    count, why = 0, Counter[str]()
    for path in sorted((CORPUS / folder).glob("*.abc")):
        for text in split_abc(path.read_text("utf-8", "replace")):
            count += 1
            try:
                parse_abc_tune(text)
            except HarmoniseError as error:
                why[error.what] += 1
    print(f"{folder}: {count} tunes, {why.total()} refused, {why.most_common(5)}")  # noqa: T201
    assert (count, count - why.total()) == (tunes, read)


def test_nearly_all_real_tunes_are_read() -> None:
    assert sum(row[2] for row in BOOKS) / sum(row[1] for row in BOOKS) > 0.98
