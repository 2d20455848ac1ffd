"""`--chords`: one line of chords for the whole tune."""

import pytest

from harmonise.errors import NotationError
from harmonise.notation.formats import read_tune
from harmonise.notation.tune_text.typed_chords import parse_chords

TUNE = read_tune("Key: A minor\nTime: 4/4\nE | A - C5 - | B - G# - | A - - |")


def spoken(text: str) -> list[str]:
    return [
        f"{lock.chord} {lock.onset}-{lock.end}" for lock in parse_chords(text, TUNE)
    ]


LINES = [
    pytest.param("Am | E7 | Am", ["Am 1-5", "E7 5-9", "Am 9-12"], id="one a bar"),
    pytest.param("? | Am | E7 | i", ["Am 1-5", "E7 5-9", "Am 9-12"], id="with pickup"),
    pytest.param("i VI | ? V |", ["Am 1-3", "F 3-5", "E 7-9"], id="halves, numerals"),
    pytest.param("Am - F - | E", ["Am 1-3", "F 3-5", "E 5-9"], id="a sign a beat"),
]


@pytest.mark.parametrize(("text", "expected"), LINES)
def test_chords_lock_the_bars_they_stand_for(text: str, expected: list[str]) -> None:
    assert spoken(text) == expected


FAULTS = [
    ("Am | Hm", 'Bar 2: "Hm" — write C for C major, Cm for C minor, C7.'),
    (
        "Am | E E E",
        (
            "Bar 2: 3 chords stand in a bar of 4 beats. "
            "Type 1, 2 or 4; - goes on with the chord before."
        ),
    ),
    (
        "- | Am",
        (
            "Bar 1: a hold (-) needs a chord before it. "
            'Type a chord, or "?" for a free choice.'
        ),
    ),
    (
        "Am | E | Am | E | Am",
        (
            "--chords has 5 bars, the tune has 3. "
            'Type one group a bar, with | between; "?" for a free bar.'
        ),
    ),
]


@pytest.mark.parametrize(("text", "sentence"), FAULTS)
def test_a_faulty_line_says_where(text: str, sentence: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_chords(text, TUNE)
    assert str(caught.value) == sentence
