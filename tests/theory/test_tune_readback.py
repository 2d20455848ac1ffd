"""The line that reads a tune back to who typed it."""

import pytest
from makers.cases import cases

from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.tune import format_readback


@pytest.mark.parametrize(("text", "line"), cases("cases/read_back"))
def test_a_tune_is_read_back_in_one_line(text: str, line: str) -> None:
    assert f"{format_readback(parse_tune_text(text)[0])}\n" == line
