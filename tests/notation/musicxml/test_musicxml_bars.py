"""Bars, times, repeats and endings of MusicXML files."""

from collections.abc import Iterable
from fractions import Fraction

import pytest
from makers.musicxml_files import (
    BACKWARD,
    C_MAJOR,
    DOUBLE,
    FORWARD,
    FOUR_FOUR,
    FULL,
    attributes,
    barline,
    measure,
    move,
    note,
    score,
    start,
    tune,
)
from oracles.tune_shape import told, whole

from harmonise.notation.musicxml.reader import parse_musicxml
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Tune

read = whole(parse_musicxml)
HALF = Fraction(1, 2)


def counted(found: Tune) -> list[tuple[object, ...]]:
    """Return number, length and what is missing in front of each bar."""
    return [(bar.number, bar.length, bar.offset) for bar in found.bars]


def onsets(places: Iterable[Fraction]) -> str:
    return " ".join(map(str, places))


def ending(number: str, kind: str, text: str = "") -> str:
    return f'<ending number="{number}" type="{kind}">{text}</ending>'


@pytest.mark.parametrize(
    ("first", "second"), [("0", "1"), ("1", "2"), ("X1", "1")], ids=str
)
def test_a_short_first_bar_is_the_pickup_bar_0(first: str, second: str) -> None:
    found = read(
        score(
            measure(start(), note("G4", 1), number=first),
            measure(FULL, number=second),
            measure(note("C4", 3), number=int(second) + 1),
        )
        .replace(b'</part><part id="P2">', b"")
        .replace(b'</part><part id="P3">', b"")
    )
    assert counted(found) == [(0, 1, 3), (1, 4, 0), (2, 3, 0)]
    assert told(found, "X06") == []


def test_a_bar_that_the_file_splits_keeps_its_number() -> None:
    found = read(
        score(
            measure(start(), FULL, number=7)
            + measure(note("D4", 3), number=8)
            + measure(note("E4", 1), number="X1", implicit=True)
            + measure(FULL, number=9)
        )
    )
    assert counted(found) == [(7, 4, 0), (8, 3, 0), (8, 1, 3), (9, 4, 0)]
    assert told(found, "X06") == []


def test_a_bar_split_by_a_repeat_is_one_bar_in_two_parts() -> None:
    found = read(
        score(
            measure(start(), note("G4", 1), number=0, implicit=True)
            + measure(FULL, number=1)
            + measure(note("D4", 3), BACKWARD, number=2)
            + measure(FORWARD, note("E4", 1), number=2, implicit=True)
            + measure(FULL, number=3)
            + measure(note("D4", 3), BACKWARD, number=4)
        )
    )
    assert counted(found) == [
        (0, 1, 3), (1, 4, 0), (2, 3, 0), (2, 1, 3), (3, 4, 0), (4, 3, 0)
    ]  # fmt: skip
    assert [bar.repeat_end for bar in found.bars] == [1, 1, 2, 1, 1, 2]
    assert [bar.repeat_start for bar in found.bars].index(True) == 3
    assert told(found, "X06") == []
    assert onsets(found.phrases) == "8 16"


def test_a_repeat_inside_a_measure_makes_two_bars_of_it() -> None:
    middle = barline('<repeat direction="backward"/>', location="middle")
    found = read(tune(FULL, note("D4", 2) + middle + note("E4", 2), FULL))
    assert counted(found) == [(1, 4, 0), (2, 2, 0), (2, 2, 2), (3, 4, 0)]
    assert [bar.repeat_end for bar in found.bars] == [1, 2, 1, 1]


def test_a_dotted_line_inside_a_measure_changes_nothing() -> None:
    middle = barline("<bar-style>dotted</bar-style>", location="middle")
    found = read(tune(note("D4", 2) + middle + note("E4", 2)))
    assert counted(found) == [(1, 4, 0)]


def test_both_endings_of_a_tune_with_a_pickup_may_be_short() -> None:
    found = read(
        score(
            measure(
                start(C_MAJOR, FOUR_FOUR.replace("4<", "2<", 1)),
                note("G4", 1),
                number=0,
            )
            + measure(note("C4", 2), number=1)
            + measure(
                barline(ending("1", "start"), location="left"),
                note("D4", 1),
                barline(ending("1", "stop"), '<repeat direction="backward"/>'),
                number=2,
            )
            + measure(
                barline(ending("2", "start"), location="left"),
                note("E4", 1),
                barline(ending("2", "discontinue")),
                number=3,
            )
        )
    )
    assert counted(found) == [(0, 1, 1), (1, 2, 0), (2, 1, 0), (3, 1, 0)]
    assert [bar.ending for bar in found.bars] == [(), (), (1,), (2,)]
    assert told(found, "X06") == []


def test_other_short_and_long_bars_stay_and_are_told() -> None:
    found = read(tune(FULL, note("D4", 2 + HALF), FULL, note("D4", 5), FULL))
    assert counted(found)[1] == (2, 2 + HALF, 0)
    assert told(found, "X06") == [
        (
            "Bar 2: the bar holds 2 1/2 beats where 4/4 has 4; it was kept so. The "
            "same in bar 4. Check its rests and note values."
        )
    ]


def test_bar_numbers_count_on_where_the_file_repeats_them() -> None:
    parts = "".join(measure(FULL, number=n) for n in ("5", "5", "", "9"))
    found = read(score(measure(start(), FULL, number=3) + parts))
    assert [bar.number for bar in found.bars] == [3, 5, 6, 7, 9]


def test_repeats_endings_and_double_bars_are_kept() -> None:
    left = barline(ending("1, 2", "start"), location="left")
    right = barline(ending("1, 2", "stop"), '<repeat direction="backward" times="3"/>')
    found = read(
        tune(
            FULL + DOUBLE,
            FULL,
            FORWARD + FULL,
            left + FULL,
            FULL + right,
            barline(ending("3", "start"), location="left")
            + FULL
            + barline(ending("3", "stop")),
            FULL + barline("<bar-style>light-heavy</bar-style>"),
        )
    )
    assert [bar.repeat_start for bar in found.bars] == [
        False, False, True, False, False, False, False
    ]  # fmt: skip
    assert [bar.repeat_end for bar in found.bars] == [1, 1, 1, 1, 3, 1, 1]
    assert [bar.ending for bar in found.bars] == [
        (), (), (), (1, 2), (1, 2), (3,), ()
    ]  # fmt: skip
    assert [bar.double for bar in found.bars] == [True, *[False] * 6]
    assert onsets(found.phrases) == "4 8 20 24 28"


@pytest.mark.parametrize(
    ("number", "text", "numbers"),
    [
        ("1", "", (1,)),
        ("1,2", "", (1, 2)),
        ("", "1.-3.", (1, 2, 3)),
        (" ", "2.", (2,)),
    ],
)
def test_an_ending_is_numbered_by_its_attribute_or_its_text(
    number: str, text: str, numbers: tuple[int, ...]
) -> None:
    left = barline(ending(number, "start", text), location="left")
    found = read(tune(FULL, left + FULL + barline(ending(number, "stop")), FULL))
    assert [bar.ending for bar in found.bars] == [(), numbers, ()]


def test_an_ending_that_is_never_closed_ends_with_its_repeat_or_its_bar() -> None:
    first = barline(ending("1", "start"), location="left")
    second = barline(ending("2", "start"), location="left")
    found = read(tune(FULL, first + FULL, FULL + BACKWARD, second + FULL, FULL))
    assert [bar.ending for bar in found.bars] == [(), (1,), (1,), (2,), ()]


def test_endings_that_cannot_be_are_told() -> None:
    left = barline(ending("", "start"), location="left")
    found = read(tune(FULL, left + FULL + barline(ending("1", "stop")), FULL))
    assert [bar.ending for bar in found.bars] == [(), (), ()]
    assert told(found, "X10") == [
        "Bar 2: an ending here has no number; left out. The same in bar 3."
    ]


def test_a_repeat_that_never_ends_is_told() -> None:
    found = read(tune(FULL, FORWARD + FULL))
    assert told(found, "X09") == [
        (
            "Bar 2: a repeat begins here that no later barline ends; it is played "
            "once. Add the end of the repeat."
        )
    ]


def time(beats: str, beat_type: str) -> str:
    return f"<time><beats>{beats}</beats><beat-type>{beat_type}</beat-type></time>"


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        (time("6", "8"), TimeSignature(6, 8)),
        (time("3+2", "8"), TimeSignature(5, 8, (3, 2))),
        (time("3 + 3 + 2", "8"), TimeSignature(8, 8, (3, 3, 2))),
        (
            (
                "<time><beats>3</beats><beat-type>8</beat-type><beats>2</beats>"
                "<beat-type>4</beat-type></time>"
            ),
            TimeSignature(7, 8, (3, 4)),
        ),
        (
            (
                '<time symbol="cut"><beats>2</beats><beat-type>2</beat-type>'
                "<interchangeable><beats>4</beats><beat-type>4</beat-type></interchangeable>"
                "</time>"
            ),
            TimeSignature(2, 2),
        ),
    ],
    ids=str,
)
def test_time_signatures_are_read(written: str, expected: TimeSignature) -> None:
    found = read(tune(note("C4", expected.bar_length), time=written))
    assert found.bars[0].time == expected
    assert told(found, "X06") == []


def test_time_changes_begin_with_their_bar() -> None:
    found = read(tune(FULL, attributes(time("3", "4")) + note("C4", 3), note("C4", 3)))
    assert [str(bar.time) for bar in found.bars] == ["4/4", "3/4", "3/4"]


def test_without_a_time_signature_the_bars_suggest_one() -> None:
    three = note("C4", 3)
    found = read(tune(three, three, note("C4", 2), time=""))
    assert str(found.bars[0].time) == "3/4"
    assert told(found, "X07") == [
        "Bar 1: the file gives no time signature here; its bars suggest 3/4."
    ]


def test_without_measure_every_bar_is_as_long_as_it_is() -> None:
    free = "<time><senza-misura/></time>"
    found = read(tune(note("C4", 5), note("C4", HALF * 7), time=free))
    assert [str(bar.time) for bar in found.bars] == ["5/4", "7/8"]
    assert told(found, "X08") == [
        (
            "Bar 1: the music has no bar measure here; each bar is counted as it "
            "stands. The same in bar 2."
        )
    ]


def test_a_longer_voice_makes_the_bar_longer() -> None:
    other = move("backup", 2) + note("C3", 4, "<voice>2</voice>")
    found = read(tune(note("G4", 2, "<voice>1</voice>") + other))
    assert counted(found) == [(1, 4, 0)]
    assert [str(n.pitch) for n in found.notes] == ["G4", "None"]
