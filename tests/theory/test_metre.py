from fractions import Fraction

import pytest
from makers.scores import make_time

from harmonise.theory.metre import strong_starts

WEIGHTS = [
    ("2/4", "1", "3 1"),
    ("3/4", "1", "3 1 1"),
    ("4/4", "1", "3 1 2 1"),
    ("2/2", "2", "3 2"),
    ("6/8", "3/2", "3 2"),
    ("9/8", "3/2", "3 2 2"),
    ("12/8", "3/2", "3 1 2 1"),
    ("3/2", "2", "3 1 1"),
    ("3/8", "1/2", "3 1 1"),
    ("3+2/4", "1", "3 1 1 2 1"),
    ("2+3/4", "1", "3 1 2 1 1"),
    ("5/4", "1", "3 1 1 2 1"),
    ("7/8", "1/2", "3 1 2 1 2 1 1"),
]
"""Time, counted beat in crotchets, weights: common practice (accents of the metres).

In 6/8 and 9/8 the later dotted beats are secondary accents: more than the quavers.
"""


@pytest.mark.parametrize(("text", "beat", "weights"), WEIGHTS)
def test_beats_have_the_weights_of_the_metre(
    text: str, beat: str, weights: str
) -> None:
    time = make_time(text)
    assert time.beat == Fraction(beat)
    found = [time.weight(start) for start in time.beat_starts]
    assert " ".join(map(str, found)) == weights
    assert str(time) == text


@pytest.mark.parametrize("text", [row[0] for row in WEIGHTS])
def test_the_beats_fill_the_bar_and_only_beats_have_weight(text: str) -> None:
    time = make_time(text)
    assert len(time.beat_starts) * time.beat == time.bar_length
    quarter = time.beat / 4
    places = [quarter * number for number in range(4 * len(time.beat_starts))]
    heavy = [place for place in places if time.weight(place)]
    assert heavy == list(time.beat_starts)
    assert [p for p in heavy if time.weight(p) == 2] == list(strong_starts(time))
