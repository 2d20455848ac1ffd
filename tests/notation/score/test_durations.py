from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.scores import make_time

from harmonise.notation.score.note_values import KINDS, Value, grid_of, spell, value_of

DIVISIONS = 16
TIMES = ("2/4", "3/4", "4/4", "2/2", "6/8", "9/8", "12/8", "3+2/4", "7/8", "3/16")


def spelled(time: str, start: str, end: str, *, rest: bool = False) -> str:
    """Return the lengths, in crotchets, that a stretch of a bar is written with."""
    grid = grid_of(make_time(time), DIVISIONS)
    first, last = (int(Fraction(text) * DIVISIONS) for text in (start, end))
    parts = spell(first, last, grid, rest=rest)
    return " ".join(str(Fraction(p.end - p.start, DIVISIONS)) for p in parts)


# Common practice, as engraving manuals teach it; from memory.
@pytest.mark.parametrize(
    ("time", "start", "end", "note", "rest"),
    [
        pytest.param("4/4", "0", "4", "4", "4", id="whole bar"),
        pytest.param("4/4", "1", "3", "2", "1 1", id="crotchet, minim, crotchet"),
        pytest.param("4/4", "1", "4", "3", "1 2", id="dotted minim on beat 2"),
        pytest.param("4/4", "1/2", "3/2", "1", "1/2 1/2", id="quaver, crotchet"),
        pytest.param("4/4", "3/2", "5/2", "1/2 1/2", "1/2 1/2", id="shows the middle"),
        pytest.param("4/4", "1", "5/2", "1 1/2", "1 1/2", id="past the middle"),
        pytest.param("4/4", "1/2", "2", "3/2", "1/2 1", id="quaver, dotted crotchet"),
        pytest.param("4/4", "1/2", "4", "3/2 2", "1/2 1 2", id="off the beat, long"),
        pytest.param("4/4", "0", "7/2", "7/2", "2 1 1/2", id="double dots, from one"),
        pytest.param("4/4", "3/4", "5/4", "1/4 1/4", "1/4 1/4", id="over a beat"),
        pytest.param("4/4", "1/4", "1", "3/4", "1/4 1/2", id="in a beat"),
        pytest.param("3/4", "0", "5/2", "2 1/2", "1 1 1/2", id="two beats and a half"),
        pytest.param("3/4", "1", "3", "2", "1 1", id="no minim rest in three"),
        pytest.param("3/4", "1/2", "5/2", "1/2 3/2", "1/2 1 1/2", id="over two beats"),
        pytest.param("2/2", "1", "3", "2", "1 1", id="minims are beats"),
        pytest.param("6/8", "0", "3/2", "3/2", "3/2", id="dotted beat"),
        pytest.param("6/8", "0", "2", "3/2 1/2", "3/2 1/2", id="no minim in six"),
        pytest.param("6/8", "1", "2", "1/2 1/2", "1/2 1/2", id="shows the dotted beat"),
        pytest.param("6/8", "1/2", "3/2", "1", "1/2 1/2", id="quaver, crotchet in six"),
        pytest.param("6/8", "0", "1", "1", "1", id="crotchet rest begins the beat"),
        pytest.param("6/8", "0", "3/4", "3/4", "1/2 1/4", id="lilting dotted quaver"),
        pytest.param("9/8", "0", "9/2", "3 3/2", "3/2 3/2 3/2", id="nine quavers"),
        pytest.param("12/8", "0", "6", "6", "6", id="twelve quavers"),
        pytest.param("12/8", "0", "2", "3/2 1/2", "3/2 1/2", id="no minim in twelve"),
        pytest.param("8/4", "2", "6", "2 2", "1 1 1 1", id="over the middle"),
        pytest.param("3+2/4", "0", "5", "3 2", "3 2", id="three and two"),
        pytest.param("3+2/4", "0", "4", "3 1", "3 1", id="shows the second group"),
        pytest.param("2+3/4", "1", "5", "1 3", "1 3", id="two and three"),
        pytest.param("7/8", "0", "7/2", "2 3/2", "1 1 3/2", id="seven quavers"),
        pytest.param("4/2", "0", "8", "8", "8", id="breve"),
    ],
)
def test_lengths_show_the_beats_that_players_count(
    time: str, start: str, end: str, note: str, rest: str
) -> None:
    assert spelled(time, start, end) == note
    assert spelled(time, start, end, rest=True) == rest


def test_note_types_are_those_of_musicxml() -> None:
    # MusicXML 4.0, note-type-value.
    assert KINDS[3:8] == ("whole", "half", "quarter", "eighth", "16th")
    assert value_of(Fraction(7, 4)) == Value("quarter", 2)
    assert value_of(Fraction(1, 256)) == Value("1024th", 0)
    assert value_of(Fraction(5, 4)) is None


@given(
    time=st.sampled_from(TIMES),
    places=st.tuples(st.integers(0, 96), st.integers(0, 96)),
    rest=st.booleans(),
)
@settings(deadline=None, derandomize=True)
def test_parts_fill_their_stretch_and_each_has_a_value(
    time: str, places: tuple[int, int], rest: bool
) -> None:
    start, end = sorted(places)
    end += start == end
    grid = grid_of(make_time(time), DIVISIONS)
    parts = spell(start, end, grid, rest=rest)
    assert [part.start for part in parts] + [end] == [start] + [p.end for p in parts]
    for part in parts:
        assert part.value == value_of(Fraction(part.end - part.start, DIVISIONS))
        assert part.value is not None
