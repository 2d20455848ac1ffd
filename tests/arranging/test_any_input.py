"""Any input at any door ends in a page that keeps its promise, or in a sentence.

CI tries a few of each door; `python benchmarks/night_inputs.py` (from `tests/`) a
million of them all.
"""

from random import Random

import pytest
from hypothesis import given, note, settings
from hypothesis import strategies as st
from makers.inputs import DOORS, draw_input
from makers.profiles import examples
from oracles.outcomes import outcome


@pytest.mark.parametrize("door", DOORS)
def test_any_input_ends_in_a_page_or_in_a_sentence(door: str) -> None:
    @settings(max_examples=examples(60), deadline=None, derandomize=True)
    @given(st.randoms(use_true_random=False))
    def try_one(dice: Random) -> None:
        given = draw_input(door, dice)
        note(repr(given))
        outcome(door, given)

    try_one()
