from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.scores import make_time

from harmonise.notation.score.note_values import grid_of, value_of
from harmonise.notation.score.printed_rhythm import BarPiece, NoteSign, lay_out
from harmonise.notation.score.tuplets import ratio_of

DIVISIONS = 16 * 9 * 5 * 7


def signs_of(time: str, lengths: str, start: str = "0") -> tuple[NoteSign, ...]:
    """Return the signs of lengths in crotchets; a rest has r in front."""
    place = int(Fraction(start) * DIVISIONS)
    stretches = []
    for text in lengths.split():
        end = place + int(Fraction(text.lstrip("r")) * DIVISIONS)
        stretches.append(BarPiece(place, end, text.startswith("r")))
        place = end
    return lay_out(tuple(stretches), grid_of(make_time(time), DIVISIONS))


def shown(sign: NoteSign) -> str:
    """Return a sign as its type, dots, and ratio: "quarter. 3:2"."""
    if sign.value is None:
        return "bar"
    ratio = f" {sign.ratio.actual}:{sign.ratio.normal}" if sign.ratio else ""
    return sign.value.kind + "." * sign.value.dots + ratio


# Common practice for ratios: as many in the time of the next smaller plain number.
@pytest.mark.parametrize(
    ("time", "lengths", "wanted"),
    [
        pytest.param("4/4", "1/3 1/3 1/3 3", "eighth 3:2, " * 3 + "half.", id="3"),
        pytest.param(
            "2/4", "2/3 2/3 2/3", ", ".join(["quarter 3:2"] * 3), id="over two beats"
        ),
        pytest.param(
            "2/4", "2/3 1/3 1", "quarter 3:2, eighth 3:2, quarter", id="uneven triplet"
        ),
        pytest.param(
            "2/4",
            "4/3 1/3 1/3",
            "quarter, eighth 3:2, eighth 3:2, eighth 3:2",
            id="tied into a triplet",
        ),
        pytest.param(
            "2/4",
            "1/3 1/3 2/3 1/3 1/3",
            ", ".join(["eighth 3:2"] * 6),
            id="tied from triplet to triplet",
        ),
        pytest.param(
            "2/4",
            "1/5 2/5 2/5 1",
            "16th 5:4, eighth 5:4, eighth 5:4, quarter",
            id="five",
        ),
        pytest.param("1/4", " ".join(["1/7"] * 7), ", ".join(["16th 7:4"] * 7), id="7"),
        pytest.param("1/4", " ".join(["1/9"] * 9), ", ".join(["32nd 9:8"] * 9), id="9"),
        pytest.param(
            "6/8",
            "3/8 3/8 3/8 3/8 3/2",
            "eighth 4:3, " * 4 + "quarter.",
            id="4",
        ),
        pytest.param("6/8", "3/4 3/4 3/2", "eighth., eighth., quarter.", id="two in 3"),
        pytest.param(
            "6/8",
            "3/10 3/10 3/10 3/10 3/10 3/2",
            "eighth 5:3, " * 5 + "quarter.",
            id="five in a dotted beat",
        ),
        pytest.param(
            "2/4",
            "1/3 1/6 1/6 1/3 1",
            "eighth 3:2, 16th 3:2, 16th 3:2, eighth 3:2, quarter",
            id="one triplet, not two",
        ),
        pytest.param(
            "2/4",
            "1/6 1/6 1/6 1/6 1/6 1/6 1",
            "16th 3:2, " * 6 + "quarter",
            id="two triplets in a beat",
        ),
        pytest.param("4/4", "r4", "bar", id="rest of a whole bar"),
        pytest.param("4/4", "r1/3 2/3 3", "eighth 3:2, quarter 3:2, half.", id="rest"),
    ],
)
def test_tuplets_are_written_as_players_know_them(
    time: str, lengths: str, wanted: str
) -> None:
    assert ", ".join(map(shown, signs_of(time, lengths))) == wanted


def test_two_triplets_in_a_beat_have_two_signs_and_one_has_one() -> None:
    two = signs_of("2/4", "1/6 1/6 1/6 1/6 1/6 1/6 1")
    assert [sign.starts for sign in two] == [True, False, False, True] + [False] * 3
    one = signs_of("2/4", "1/3 1/6 1/6 1/3 1")
    assert [sign.stops for sign in one] == [False, False, False, True, False]


def test_tuplets_under_one_beam_need_no_bracket() -> None:
    assert not signs_of("4/4", "1/3 1/3 1/3 3")[0].bracket
    assert signs_of("4/4", "2/3 1/3 3")[0].bracket
    assert signs_of("4/4", "r1/3 1/3 1/3 3")[0].bracket


def test_a_pickup_may_be_the_end_of_a_triplet() -> None:
    (sign,) = signs_of("4/4", "1/3", start="11/3")
    assert shown(sign) == "eighth 3:2"
    assert (sign.starts, sign.stops) == (True, True)


# Common practice: beams show beats; quavers alone may fill half a bar.
@pytest.mark.parametrize(
    ("time", "lengths", "wanted"),
    [
        pytest.param(
            "4/4", "1/2 1/2 1/2 1/2 2", "begin continue continue end -", id="4"
        ),
        pytest.param(
            "4/4", "1/2 1/2 1 1/2 1/2 1", "begin end - begin end -", id="beats"
        ),
        pytest.param(
            "4/4",
            "1/2 1/2 1/4 1/4 1/2 2",
            "begin end begin,begin continue,end end -",
            id="semiquavers keep to the beat",
        ),
        pytest.param("4/4", "1 1/2 1/2 1/2 1/2 1", "- begin end begin end -", id="mid"),
        pytest.param("2/4", "3/4 1/4 1", "begin end,backward hook -", id="hook back"),
        pytest.param("2/4", "1/4 3/4 1", "begin,forward hook end -", id="hook on"),
        pytest.param(
            "6/8", "1/2 1/4 3/4 3/2", "begin continue,forward hook end -", id="hook in"
        ),
        pytest.param(
            "6/8", "3/4 1/4 1/2 3/2", "begin continue,backward hook end -", id="lilt"
        ),
        pytest.param("6/8", "1/2 1/2 1/2 1 1/2", "begin continue end - -", id="six"),
        pytest.param(
            "3/4", " ".join(["1/2"] * 6), "begin" + " continue" * 4 + " end", id="three"
        ),
        pytest.param("3/8", "1/2 1/2 1/2", "begin continue end", id="three quavers"),
        pytest.param("2/4", "1/2 r1/2 1/2 1/2", "- - begin end", id="rests"),
        pytest.param(
            "7/8",
            " ".join(["1/2"] * 7),
            "begin end begin end begin continue end",
            id="two, two, three",
        ),
        pytest.param(
            "2/4",
            " ".join(["2/5"] * 5),
            "begin continue continue continue end",
            id="a tuplet over beats has its own beam",
        ),
    ],
)
def test_beams_show_the_beats(time: str, lengths: str, wanted: str) -> None:
    beams = [",".join(sign.beams) or "-" for sign in signs_of(time, lengths)]
    assert " ".join(beams) == wanted


@given(numerator=st.integers(1, 500), denominator=st.integers(1, 96))
@settings(deadline=None, derandomize=True)
def test_any_length_has_a_type_and_a_ratio(numerator: int, denominator: int) -> None:
    length = Fraction(numerator, denominator)
    kind, actual, normal = ratio_of(length)
    sizes = {own.kind: size for size in _SIZES if (own := value_of(size))}
    assert sizes[kind] * normal / actual == length


_SIZES = [Fraction(2) ** power for power in range(-8, 6)]
