"""The bars of ABC: numbers, pickups, split bars, repeats, endings, sums.

Shapes of bar lines and endings are those of ABC 2.1, sections 4.8 to 4.10; numbering
(a pickup is bar 0, the parts of a split bar share a number) is common practice.
"""

import pytest
from makers.abc_tunes import numbers, read, said, shown

from harmonise.errors import NotationError
from harmonise.notation.abc.abc_tune import parse_abc
from harmonise.notation.abc.bars import BarLine, parse_bar_line, parse_ending
from harmonise.theory.tune import Bar


@pytest.mark.parametrize(
    ("written", "line"),
    [
        ("|", BarLine()),
        ("|]", BarLine(double=True)),
        ("||", BarLine(double=True)),
        ("[|", BarLine(double=True)),
        ("|:", BarLine(starts=2)),
        (":|", BarLine(ends=2)),
        ("::", BarLine(2, 2)),
        (":|:", BarLine(2, 2)),
        (":||:", BarLine(2, 2, double=True)),
        ("|::", BarLine(starts=3)),
        ("::|", BarLine(ends=3)),
        (".|", BarLine(soft=True)),
        ("[|]", BarLine(soft=True)),
        ("|[|", BarLine(double=True)),
        ("[|:::", BarLine(starts=4, double=True)),
        (":|]", BarLine(ends=2, double=True)),
        ("|1", BarLine(ending=(1,))),
        (":|2", BarLine(ends=2, ending=(2,))),
        ("||1-3", BarLine(double=True, ending=(1, 2, 3))),
        ("|:|", BarLine(ends=2, odd=True)),
    ],
)
def test_the_table_of_bar_lines(written: str, line: BarLine) -> None:
    """Section 4.8, with the shapes that it calls "in the wild"."""
    assert parse_bar_line(written) == line


@pytest.mark.parametrize(
    ("written", "ending"),
    [
        ("1", (1,)),
        ("1,3", (1, 3)),
        ("1-3", (1, 2, 3)),
        ("1,3,5-7", (1, 3, 5, 6, 7)),
        ("2,4,8", (2, 4, 8)),
    ],
)
def test_endings_are_lists_and_ranges(written: str, ending: tuple[int, ...]) -> None:
    """Section 4.10."""
    assert parse_ending(written) == ending


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        pytest.param("CDEF|GABc|", "1:4 2:4", id="full bars"),
        pytest.param("C|DEFG|ABc|", "0:1+3 1:4 2:3", id="pickup"),
        pytest.param("C|:DEFG|ABc:|", "0:1+3 1:4 2:3", id="pickup before a repeat"),
        pytest.param("|:C|DEFG|ABc:|", "0:1+3 1:4 2:3", id="pickup inside a repeat"),
        pytest.param(
            "C|DEFG|ABc:|d|cBAG|FED:|",
            "0:1+3 1:4 2:3 2:1+3 3:4 4:3",
            id="bar split by a repeat",
        ),
        pytest.param("CD|:EF|GABc:|", "1:2 1:2+2 2:4", id="first bar split"),
        pytest.param("CDEF||G|ABcd|", "1:4 2:1+3 3:4", id="pickup of a later section"),
        pytest.param("CD.|EF|GABc|", "1:2 1:2+2 2:4", id="dotted bar line"),
        pytest.param("CD[|]EF|GABc|", "1:2 1:2+2 2:4", id="invisible bar line"),
        pytest.param("CD|EF|GABc|", "0:2+2 1:2 2:4", id="short bar after a pickup"),
        pytest.param("CDE|", "1:3", id="one short bar"),
        pytest.param("CDEF|GA", "1:4 2:2", id="no bar line at the end"),
        pytest.param("|CDEF||:GABc:|", "1:4 2:4", id="bar lines at both ends"),
        pytest.param("CDEF|\n|GABc|", "1:4 2:4", id="a bar line ends and begins lines"),
        pytest.param("CDEFG|ABc|", "1:5 2:3", id="bars that do not add up"),
        pytest.param("Z2|CDEF|", "1:4 2:4 3:4", id="rests of whole bars count"),
        pytest.param(
            "C|D2 [1 E:|[2 G2|]", "0:1+3 1:2 1:1+2 2:2+2", id="endings inside a bar"
        ),
    ],
)
def test_bars_are_numbered_as_on_paper(body: str, expected: str) -> None:
    """Number, length and (after +) what lies before it in its bar, in crotchets."""
    assert numbers(read(body)) == expected


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("CDEF|\nGABc|", "1:4 2:4"),
        ("CDEF\nGABc\ncBAG", "1:4 2:4 3:4"),
        ("CDEF\n|GABc\n|:cBAG:|", "1:4 2:4 3:4"),
        ("Z2\n.|C", "1:4 2:4 3:1"),
        ("CDEF\nGABc|", "1:4 2:4"),
        ("CDEF\nGA\nBc|cBAG", "1:4 2:4 3:4"),
        ("CDEF\nGA|BcBA|", "1:6 2:4"),  # An irregular bar, not one left open.
        ("CDEF\\\nGABc|", "1:8"),  # The line is continued.
        ("CDEF\nGAB", "1:4 2:3"),
        ("C|DEFG\nABc:|", "0:1+3 1:4 2:3"),
        ("CDEF\nM:2/4\nGA|", "1:4 2:2"),
    ],
)
def test_a_full_bar_at_the_end_of_a_line_needs_no_bar_line(
    body: str, expected: str
) -> None:
    assert numbers(read(body)) == expected


def test_a_bar_line_that_is_left_out_is_told_and_ends_no_accidental() -> None:
    tune = read("CDE^F\nFABc\nc4|")
    assert str(tune.notes[4].pitch) == "F#4"
    assert said(tune) == [
        (
            "Bar 2: a line of text ends before this bar without a bar line; one was "
            "read, as the bar before is full. Likewise in bar 3."
        )
    ]


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ("|:CDEF:|GABc|", ">1*2 2"),
        ("CDEF:|GABc:|", "1*2 2*2"),
        ("|:CDEF::GABc:|", ">1*2 >2*2"),
        ("|::CDEF::|", ">1*3"),
        ("|:CDEF|1GABc:|2cBAG|]", ">1 2[1]*2 3[2]"),
        ("|:CDEF|[1 GABc:|[2 cBAG||CDEF|", ">1 2[1]*2 3[2]|| 4"),
        ("|:CDEF|1,3GABc:|2,4cBAG:|CDEF|", ">1 2[13]*2 3[24]*2 4"),
        ("|:CDEF|1-3 G4:|4 A4|]", ">1 2[123]*2 3[4]"),
        ("CDEF|1GABc|cBAG:|2CDEF|GABc|]", "1 2[1] 3[1]*2 4[2] 5[2]"),
        ("|:CDEF|1GABc:|2cBAG|:CDEF:|", ">1 2[1]*2 3[2] >4*2"),
        ("CDEF||GABc|]", "1|| 2"),
        ("CDEF|]\nGABc|]", "1|| 2"),
        ("CDEF:|\n|:GABc:|", "1*2 >2*2"),
    ],
)
def test_repeats_and_endings(body: str, expected: str) -> None:
    """> a repeat begins, *n it ends, [n] ending, || double bar."""
    shapes = [_shape(bar) for bar in read(body).bars]
    assert " ".join(shapes) == expected


def _shape(bar: Bar) -> str:
    ending = f"[{''.join(map(str, bar.ending))}]" if bar.ending else ""
    repeat = f"*{bar.repeat_end}" if bar.repeat_end > 1 else ""
    return f"{'>' * bar.repeat_start}{bar.number}{ending}{'||' * bar.double}{repeat}"


def test_parts_stand_over_their_bars() -> None:
    tune = read("P:A\nC|DEFG|ABc:|\nP:B\nd|cBAG|FED:|\n[P:C]C4|\nT:Coda\nC4|")
    sections = [(bar.number, bar.section) for bar in tune.bars if bar.section]
    assert sections == [(0, "A"), (2, "B"), (5, "C"), (6, "Coda")]


def test_a_part_ends_an_ending() -> None:
    tune = read("CDEF|1GABc:|2cBAG|\nP:B\nCDEF|")
    assert [bar.ending for bar in tune.bars] == [(), (1,), (2,), ()]


@pytest.mark.parametrize(
    ("body", "remarks"),
    [
        ("C|DEFG|ABc|]", []),
        ("CDEF|GAB|cBAG|", ["Bar 2: it holds 3 beats where 4/4 has 4"]),
        (
            "CDEF|GAB|cBA|c4|",
            ["Bar 2: it holds 3 beats where 4/4 has 4; Likewise in bar 3."],
        ),
        ("CDEF|C/|cBAG|", ["Bar 2: it holds 1/2 beat where 4/4 has 4"]),
        ("CDEFG//|cBAG|", ["Bar 1: it holds 4 1/4 beats where 4/4 has 4"]),
    ],
)
def test_bars_that_do_not_add_up_are_kept_and_told(
    body: str, remarks: list[str]
) -> None:
    found = said(read(body))
    tail = "; it was kept as written."
    remedy = " Check its notes and bar lines."
    plain = [text.replace(tail, ";").removesuffix(remedy) for text in found]
    assert [text.removesuffix(";") for text in plain] == remarks


@pytest.mark.parametrize(
    ("body", "remark"),
    [
        (
            "|:CDEF|GABc|",
            (
                "Bar 1, beat 1: a repeat begins here that no later bar line ends; it "
                "is played once. Write :| where it ends."
            ),
        ),
        (
            "CDEF|2GABc|",
            "Bar 2, beat 1: ending 2 begins here, but there is no ending 1 before it.",
        ),
        (
            "CDEF|:|",
            'Bar 1, beat 5: "|:|" was read as the end of a repeat.',
        ),
        (
            "CDEF|GABH c|HC4 H|",
            "Bar 3, beat 5: a fermata over a bar line was left out.",
        ),
    ],
)
def test_bar_lines_that_do_not_fit_are_told(body: str, remark: str) -> None:
    assert said(read(body)) == [remark]


def test_music_behind_an_empty_line_is_told() -> None:
    tune = read("CDEF|\n\nGABc|\n")
    assert shown(tune.notes) == "C4 1, D4 1, E4 1, F4 1"
    assert said(tune) == [
        "An empty line ends the tune; the music from line 8 on was not read."
    ]


@pytest.mark.parametrize(
    ("bars", "place"),
    [
        ("CEg'''''E|FAG2|", "Bar 1, beat 3"),
        ("CEGg'''''|FAG2|", "Bar 1, beat 4"),
        ("CEGE|g'''''AG2|", "Bar 2, beat 1"),
        ("Cg'''''|CEGE|FAG|", "The pickup, beat 2"),
        ("C|CEg'''''E|FAG|", "Bar 1, beat 3"),
        ("C|CEGg'''''|FAG|", "Bar 1, beat 4"),
    ],
)
def test_a_note_at_fault_makes_no_pickup_of_a_full_bar(bars: str, place: str) -> None:
    with pytest.raises(NotationError) as caught:
        parse_abc(f"X:1\nL:1/4\nM:4/4\nK:C\n{bars}\n")
    assert str(caught.value).startswith(f"{place}: G10 is above the top of the piano.")
