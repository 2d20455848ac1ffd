"""What ABC refuses: whole sentences with line, bar and beat; and random soups."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.abc_tunes import HEADER, read
from makers.profiles import examples

from harmonise.errors import HarmoniseError, MelodyError, NotationError
from harmonise.notation.abc.abc_score import AbcScore
from harmonise.notation.abc.abc_text import UnreadableError
from harmonise.notation.abc.abc_tune import parse_abc, parse_abc_tune, split_abc
from harmonise.theory.tune import Tune

CASES = Path(__file__).parents[2] / "cases"
SENTENCES = [
    tuple(line.split("\t"))
    for line in (CASES / "abc_faults.tsv").read_text("utf-8").splitlines()
    if not line.startswith("#")
]


@pytest.mark.parametrize(("body", "sentence"), SENTENCES)
def test_what_is_refused_is_told_in_a_sentence(body: str, sentence: str) -> None:
    with pytest.raises(NotationError) as caught:
        read(body.replace(r"\n", "\n"))
    assert str(caught.value) == sentence


def test_beyond_its_limit_a_line_is_not_read_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    faults = []
    monkeypatch.setattr("harmonise.notation.abc.abc_score.MOST_NOTES", 100)
    taken = AbcScore.take_fault

    def counted(score: AbcScore, error: UnreadableError, word: str) -> None:
        faults.append(word)
        taken(score, error, word)

    monkeypatch.setattr(AbcScore, "take_fault", counted)
    with pytest.raises(NotationError, match="more than 100 notes"):
        read("C" * 500 + "|")
    assert len(faults) == 1


def test_an_endless_word_is_cut_in_a_sentence() -> None:
    with pytest.raises(NotationError) as caught:
        read(f"C{'9' * 2000}")
    assert str(caught.value).startswith(
        f'Bar 1, beat 1: "{"9" * 24}…" is no length. Write a number, '
    )


HEADERS = [
    (
        "K:H",
        'K: "H" is no key.',
        _KEY := "Write a capital letter A to G, # or b, and a mode, such as K:Ador.",
    ),
    ("K:Gn", 'K: "n" is no mode and no clef of ABC 2.1.', _KEY),
    ("K:E phr -8va", 'K: "-8va" is no mode and no clef of ABC 2.1.', _KEY),
    (
        "K:Fb",
        'K: "Fb" would need 8 sharps or flats.',
        "Write the same sound with seven or fewer.",
    ),
    ("K:dor", 'K: "dor" is no key.', _KEY),
    ("K:none dor", 'K: "none dor" names a mode without a tonic.', _KEY),
    ("K:C octave=x", 'K: "C octave=x" moves the notes by no number.', ""),
    (
        "M:FREI4/4",
        'M: "FREI4/4" is no metre.',
        "Write one such as M:3/4, M:C or M:none.",
    ),
    ("M:4/3", 'M: "4/3" is no metre.', "Write one such as M:3/4, M:C or M:none."),
    ("M:0/4", 'M: "0/4" is no metre.', "Write one such as M:3/4, M:C or M:none."),
    ("M:99/4", 'M: "99/4" is no metre.', "Write one such as M:3/4, M:C or M:none."),
    ("L:1/5", 'L: "1/5" is no length of a note.', "Write one such as L:1/8."),
    ("L:3/8", 'L: "3/8" is no length of a note.', "Write one such as L:1/8."),
    (
        "U:X=!trill!",
        'U: "X=!trill!" defines no symbol.',
        "Write one such as U:T = !trill!",
    ),
    (
        "CDEF|",
        '"CDEF|" is no field, and the K: field has not come yet.',
        "Music begins after the K: field.",
    ),
]


@pytest.mark.parametrize(("line", "what", "remedy"), HEADERS)
def test_a_field_that_is_refused_is_told_with_its_line(
    line: str, what: str, remedy: str
) -> None:
    with pytest.raises(NotationError) as caught:
        parse_abc(f"X:1\nT:Test\n{line}\nK:C\nC|\n")
    told = f'(line 3: "{line}")'
    assert str(caught.value) == " ".join(part for part in (what, remedy, told) if part)


def test_a_tune_without_a_key_is_refused() -> None:
    with pytest.raises(NotationError) as caught:
        parse_abc("X:7\nT:Test\n")
    assert str(caught.value) == (
        "This tune has no K: field. Write the key, such as K:G, as the last field of "
        'its header. (line 1: "X:7")'
    )


def test_a_text_without_a_tune_is_refused() -> None:
    with pytest.raises(NotationError) as caught:
        parse_abc("K:C\nCDEF|\n")
    assert str(caught.value) == (
        "There is no ABC tune here. A tune begins with an X: field."
    )


def test_a_tune_without_notes_holds_no_melody() -> None:
    with pytest.raises(MelodyError) as caught:
        parse_abc("X:1\nT:Test\nK:C\nz4|\n")
    assert str(caught.value) == (
        "There is no note in this tune. Write notes after its K: field. (line 1)"
    )


def test_a_bad_tune_of_a_book_is_named_and_the_others_can_be_read() -> None:
    book = "X:1\nT:Good\nK:C\nC|\n\nX:2\nT:Bad\nK:C\nC&&|\n\nX:3\nT:Bare\nK:C\n"
    with pytest.raises(NotationError) as caught:
        parse_abc(book)
    assert str(caught.value) == (
        'Bar 1, beat 2: a second voice overlays several bars ("&&"). Keep the tune '
        'alone. (line 9: "&&") (tune Bad)'
    )
    good, _, bare = split_abc(book)
    assert parse_abc_tune(good).title == "Good"
    with pytest.raises(MelodyError):
        parse_abc_tune(bare)


def test_tunes_without_notes_are_passed_over_in_a_book() -> None:
    """Section 2.2.1: a tune without a body documents a tune."""
    book = "X:1\nT:Bare\nK:C\n\nX:2\nT:Good\nK:C\nC|\n"
    assert [tune.title for tune in parse_abc(book)] == ["Good"]


def test_a_huge_tune_is_refused() -> None:
    with pytest.raises(NotationError, match="this tune has more than 50000 notes"):
        read("C" * 50_001)


TOKENS = [
    *"CDEFGABcdefgabzxyZX",
    *"|:[]()<>-^=_'/\\ \n~.HTuv&+!$*#\"{}`,%",
    *("||", "|]", "[|", "|:", ":|", "::", "|1", ":|2", "[1", "[2,3", ".|", "[|]"),
    *("2", "3/2", "//", "(3", "(5:4:3", "(2::", ">>", "^^", "__", "^/"),
    *("[K:G]", "[M:3/4]", "[L:1/16]", "[Q:1/4=90]", "[P:A]", "[V:2]", "[r:x]", "[CEG]"),
    *('"Am"', '"D.C."', '"^x"', "!trill!", "!fermata!", "{gf}", "{/a>b}", "+p+"),
    *("\nw:la la-la _ * | \n", "\nK:Am ^f\n", "\nM:C|\n", "\nV:1\n", "\nT:x\n", "\n\n"),
    *(
        "\nX:2\n",
        "\nL:1/8\n",
        "\nU:k=!accent!\n",
        "k",
        "h",
        "é",
        "٣",
        "\x00",
        "Z2",
        "\n+:x",
    ),
]


def _tunes_of(text: str) -> tuple[Tune, ...]:
    """Return the tunes of a text; none if it is refused in a sentence of ours."""
    try:
        return parse_abc(text)
    except HarmoniseError:
        return ()


@given(st.lists(st.sampled_from(TOKENS), max_size=60).map("".join), st.booleans())
@settings(max_examples=examples(3000), deadline=None, derandomize=True)
def test_any_soup_of_signs_ends_in_a_tune_or_a_sentence(
    body: str, strict: bool
) -> None:
    first = "%abc-2.1\n" if strict else ""
    for tune in _tunes_of(f"{first}X:1\nT:Soup\n{HEADER}\n{body}\n"):
        ends = [note.end for note in tune.notes]
        assert [note.onset for note in tune.notes] == [0, *ends[:-1]]
        assert ends[-1] == tune.end == tune.phrases[-1]
        assert [bar.start for bar in tune.bars] == [0, *(b.end for b in tune.bars[:-1])]
        assert all(bar.length > 0 for bar in tune.bars)
        assert all(note.length > 0 for note in tune.notes)
        assert all(len(note.syllables) == tune.verses for note in tune.sounding)
        assert all(symbol.onset < symbol.end for symbol in tune.symbols)
        assert _slurs_fit(tune)


def _slurs_fit(tune: Tune) -> bool:
    """Whether every slur that ends has begun, and every one that begins ends."""
    opened = 0
    for note in tune.notes:
        if note.slur_ends > opened + note.slur_starts:
            return False
        opened += note.slur_starts - note.slur_ends
    return opened == 0


@given(st.text(max_size=80))
@settings(max_examples=examples(500), deadline=None, derandomize=True)
def test_any_text_at_all_ends_in_tunes_or_a_sentence(text: str) -> None:
    _tunes_of(text)
    for whole in (f"{text}\nK:C\nC", f"K:{text}\nC", f"K:C\n{text}", f"Q:{text}\nK:C"):
        _tunes_of(f"X:1\n{whole}")


READ_ALL_THE_SAME = [
    # What four old books have in music21's corpus, in the notes of their neighbours.
    (
        "K:EM\nB2GE|e4|",
        "E minor",
        "Bar 1: K:EM: M means m here, for minor;",
    ),
    ("K:A\ne>ce=>g|A4|", "A major", '"=>" was read as ">=". (line 7)'),
    (
        "K:G\nD/|G>EF>D|G4:|d/|c>BA>B|A>GG>||",
        "G major",
        "Bar 5, beat 2 3/4: a broken rhythm ends with the bar; its note is as long",
    ),
]


@pytest.mark.parametrize(("tune", "key", "told"), READ_ALL_THE_SAME)
def test_a_slip_that_leaves_the_notes_clear_costs_a_remark(
    tune: str, key: str, told: str
) -> None:
    (read,) = parse_abc(f"X:1\nT:Slip\nM:2/4\nL:1/8\nC:Trad\n{tune}\n")
    assert str(read.key) in (key, key.removesuffix(" major"))
    assert any(str(remark).startswith(told) for remark in read.remarks), read.remarks
    if "=>" in tune:
        assert [str(note.pitch) for note in read.notes][3:5] == ["G5", "A4"]
