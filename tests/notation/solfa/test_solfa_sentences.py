"""Every sentence that is told about a tune in sol-fa, whole: one file a case."""

import pytest
from makers.cases import cases

from harmonise.errors import HarmoniseError, MelodyError, NotationError
from harmonise.notation.solfa.solfa import parse_solfa


@pytest.mark.parametrize(("text", "sentence"), cases("broken/solfa"))
def test_an_error_says_where_what_and_what_to_type(text: str, sentence: str) -> None:
    with pytest.raises(HarmoniseError) as caught:
        parse_solfa(text)
    assert f"{caught.value}\n" == sentence


@pytest.mark.parametrize(("text", "sentences"), cases("cases/solfa"))
def test_a_remark_says_how_a_doubtful_text_was_read(text: str, sentences: str) -> None:
    (tune,) = parse_solfa(text)
    assert "".join(f"{remark}\n" for remark in tune.remarks) == sentences


def test_an_empty_text_is_no_tune_rather_than_bad_notation() -> None:
    with pytest.raises(MelodyError):
        parse_solfa("Doh: C")


@pytest.mark.parametrize(
    "text", ["d" * 100_000, "| " + ":d" * 100_000, "| " + "d," * 100_000]
)
def test_a_strange_text_is_refused_in_a_short_sentence(text: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_solfa(f"Doh: C\n{text}")
    assert len(str(caught.value)) < 400


def test_a_text_of_too_many_bars_is_refused() -> None:
    with pytest.raises(NotationError) as caught:
        parse_solfa("Doh: C\n" + "| d :r " * 2001)
    assert str(caught.value) == (
        "The tune has more than 2,000 bars. Split it into parts."
    )
