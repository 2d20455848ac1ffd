"""Signs that mean nothing in ABC cost a remark, not the tune, where notes are clear."""

import pytest
from makers.abc_tunes import heard, numbers, read, said, shown

from harmonise.errors import NotationError

SCALE = "CDEF|GABc|"
NOTES = "C4 1, D4 1, E4 1, F4 1, G4 1, A4 1, B4 1, C5 1"


@pytest.mark.parametrize(
    ("body", "place", "sign"),
    [
        (r"CDEF|G\AB c|", "Bar 2, beat 2", "\\"),
        ("CDEF|GA + Bc|", "Bar 2, beat 3", "+"),
        ("CDEF|}GABc|", "Bar 2, beat 1", "}"),
        ("CDEF|,GABc|", "Bar 2, beat 1", ","),
        ("CDEF|GABc]|", "Bar 2, beat 5", "]"),
        ("CDEF|GA I Bc|", "Bar 2, beat 3", "I"),
        ("CDEF|GA 2 Bc|", "Bar 2, beat 3", "2"),
    ],
)
def test_a_sign_that_means_nothing_costs_a_remark(
    body: str, place: str, sign: str
) -> None:
    tune = read(body)
    assert shown(tune.notes) == NOTES
    assert said(tune) == [f'{place}: "{sign}" means nothing here; it was passed over.']


REST = "Bar 1, beat 4: a rest stands inside a chord; it was passed over."
CHORD = 'Bar 1, beat 1: "+CC+" was read as [CC].'
BEGINS = 'Bar 3, beat 1: ":" was read as "|:".'
ENDS = 'Bar 3, beat 5: ":" was read as ":|".'
OVERLAY = 'Bar 1: a second voice overlays the bar ("&"); the first one was taken.'
MAIL = 'Bar 1, beat 1: marks that old mail put into texts ("=20") were taken out.'


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("CDE[Fz2]|GABc|", REST),
        ("+CC+DEF|GABc|", CHORD),
        (f"{SCALE}\n:cBAG|FEDC:|", BEGINS),
        (f'{SCALE}cBAG:"Segno"||', ENDS),
        ("CDEF & C4|GABc|", OVERLAY),
        (f"{SCALE}=20\nC4|", MAIL),
    ],
)
def test_a_sign_that_is_nearly_right_is_read_and_told(body: str, told: str) -> None:
    tune = read(body)
    assert shown(tune.notes).startswith(NOTES)
    assert said(tune) == [told]


def test_two_chords_of_old_books_are_chords() -> None:
    tune = read("+CEG+DEF|+E2c2+GA|")
    assert shown(tune.notes) == "G4 1, D4 1, E4 1, F4 1, C5 2, G4 1, A4 1"
    assert said(tune)[0] == 'Bar 1, beat 1: "+CEG+" was read as [CEG].'


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("CDEF|GZAB|", 'Bar 2, beat 2: "Z" was read as z.'),
        ("CDEF|GAZ2|", 'Bar 2, beat 3: "Z2" was read as z2.'),
    ],
)
def test_a_rest_of_bars_inside_a_bar_is_a_short_one(body: str, told: str) -> None:
    assert heard(body) == heard(body.replace("Z", "z"))
    assert said(read(body)) == [told]


def test_a_tuplet_that_stands_twice_is_one() -> None:
    tune = read("(3(3CDE FG|")
    assert shown(tune.notes) == "C4 2/3, D4 2/3, E4 2/3, F4 1, G4 1"
    assert said(tune) == ['Bar 1, beat 1: "(3" stands here twice; it was read once.']


def test_a_number_that_is_no_next_ending_is_none() -> None:
    tune = read("|: CDEF | 4 GABc :|")
    assert {bar.ending for bar in tune.bars} == {()}
    assert said(tune) == ['Bar 2, beat 1: "4" means nothing here; it was passed over.']


def test_numbers_that_begin_bars_are_endings_in_their_order() -> None:
    tune = read("|:CDEF|\\\n1 GABc:|2 c4|]")
    assert [bar.ending for bar in tune.bars] == [(), (1,), (2,)]
    assert said(tune) == [
        'Bar 2, beat 1: "1" was read as the beginning of ending 1.',
    ]
    tune = read("|:CDEF|[1 GABc:|\n2c4|]")
    assert [bar.ending for bar in tune.bars] == [(), (1,), (2,)]


@pytest.mark.parametrize(
    ("body", "sign"),
    [
        ("CDEF|GA2+|", "+"),  # A bar that lacks a beat has lost a note.
        ("C ,", ","),
        ("CDEF|GAB h|", "h"),
        ("CDEF|GAB=|c4|", "="),  # An accidental of an unknown note.
        ("M:none\nCDE ] F|", "]"),  # In free metre no bar can be short.
    ],
)
def test_where_notes_may_be_lost_the_sign_is_refused(body: str, sign: str) -> None:
    with pytest.raises(NotationError) as caught:
        read(body)
    assert f'"{sign}" is no' in str(caught.value)


def test_old_mail_joins_lines_and_spells_the_equals_sign() -> None:
    tune = read("CD =\nEF|=3DGA_Bc|=20\nC4|")
    assert shown(tune.notes) == "C4 1, D4 1, E4 1, F4 1, G4 1, A4 1, Bb4 1, C5 1, C4 4"
    assert numbers(tune) == "1:4 2:4 3:4"


def test_a_line_of_a_header_that_is_no_field_is_told() -> None:
    tune = read("C4|", header="3/8=120\nM:4/4\nL:1/4\nK:C")
    assert said(tune) == [
        '"3/8=120" in the header is no field; it was passed over.',
    ]


def test_decorations_that_are_left_out_are_named_once() -> None:
    tune = read('.C !trill!D uE vF|!mf!G "^slowly"A LB !p!c|Td4|')
    (line,) = said(tune)
    assert line == (
        "Left out, as an arrangement has no place for them: staccato, trills, bowing, "
        "dynamics, the words “slowly” and accents."
    )


def test_decorations_that_abc_does_not_know_are_named_too() -> None:
    tune = read("!wobble!CDE!fermat:a!F|" + "!x0!C!x1!C!x2!C!x3!C|!x4!C!x5!C!x6!C!x7!C")
    (line,) = said(tune)
    assert "wobble, fermat:a, x0, x1" in line
    assert line.endswith("x5 and 2 more.")
