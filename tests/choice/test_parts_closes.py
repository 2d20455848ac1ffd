"""Four parts at closes, under held notes and chromatic ones, as a choir trainer hears.

The tunes are old ones, or lines typed for the case; what must not happen in them was
seen by a musician who read our pages bar by bar. All is common practice of hymns.
"""

from functools import cache
from itertools import pairwise

import pytest
from oracles.part_faults import all_faults, heights, lower, misspelled

from harmonise.arranging.job import settle
from harmonise.choice.choose import choose
from harmonise.choice.parts.choose_parts import Parts, choose_parts
from harmonise.choice.parts.setting import part_remarks
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import HarmonicRhythm, Style
from harmonise.theory.tune import Tune

STYLE = Style(4, HarmonicRhythm.BEAT)
GOD_REST = (
    "Key: E minor\nTime: 4/4\n"
    "E | E B B A | G F# E D | E F# G A | B - -\n"
    "E | E B B A | G F# E D | E F# G A | B - -\n"
    "B | C5 A B C5 | D5 E5 B A | G E F# G | A - G A\n"
    "B - C5 B | B A G F# | E - G.F# E | A - G A\n"
    "B C5 D5 E5 | B A G F# | E - - |"
)
"""Traditional; typed from memory."""
ODE = (
    "Key: D\nTime: 4/4\n"
    "F# F# G A | A G F# E | D D E F# | F# - E -\n"
    "F# F# G A | A G F# E | D D E F# | E - D -\n"
    "E E F# D | E F#.G F# D | E F#.G F# E | D E A3 -\n"
    "F# F# G A | A G F# E | D D E F# | E - D - |"
)
"""Ludwig van Beethoven, 1824, in the even notes of hymn books; from memory."""
GRACE = (
    "Key: G\nTime: 3/4\n"
    "D | G - B.G | B - A | G - E | D - D\nG - B.G | B - A | D5 - - | D5 - B\n"
    "D5 - B.G | B - A | G - E | D - D\nG - B.G | B - A | G - - | G - |"
)
"""Amazing Grace, traditional, its long last note struck twice; from memory."""
JESU = (
    "Key: E minor\nTime: 4/4\n"
    "B B A G | F# - E -\nB C#5 D5 B | E5 - D#5 -\n"
    "E5.F#5 G5 F#5 F#5 | E5 - - - |"
)
"""Johann Crueger, 1653, to the end of the third line; from memory."""


@cache
def parts_of(text: str, style: Style = STYLE) -> tuple[Tune, Parts]:
    (tune,) = parse_tune_text(text)
    return tune, choose_parts(tune, settle(tune, style))


def slot_at(tune: Tune, parts: Parts, bar: int, beat: int) -> int:
    """Return the slot of a bar and a beat; a crotchet is one beat."""
    grid = parts.choice.grid
    start = next(own.start for own in tune.bars if own.number == bar)
    tick = int((start + beat - 1) * grid.ticks)
    return int(grid.slot_start.searchsorted(tick))


def numerals(text: str, style: Style = STYLE) -> list[str]:
    return [offer.numeral for offer in parts_of(text, style)[1].offers]


@pytest.mark.parametrize(
    ("text", "bar", "beats"),
    [
        pytest.param(GOD_REST, 4, (1, 2, 3), id="on V of a minor key"),
        pytest.param(GOD_REST, 8, (1, 2, 3), id="on III"),
        pytest.param(ODE, 4, (3, 4), id="on V"),
        pytest.param(ODE, 8, (3, 4), id="on I"),
        pytest.param(ODE, 12, (3, 4), id="on a low 5"),
    ],
)
def test_nothing_moves_under_the_held_last_note_of_a_line(
    text: str, bar: int, beats: tuple[int, ...]
) -> None:
    tune, parts = parts_of(text)
    rows = list(heights(parts))
    assert len({rows[slot_at(tune, parts, bar, beat)] for beat in beats}) == 1


def test_lines_close_on_the_root_from_a_dominant_on_its_root() -> None:
    tune, parts = parts_of(ODE)
    names = [offer.numeral for offer in parts.offers]
    for bar in (8, 16):
        close = slot_at(tune, parts, bar, 3)
        assert names[close - 1 : close + 1] in (["V", "I"], ["V7", "I"])
    for bar in (4, 12):
        assert names[slot_at(tune, parts, bar, 3)] == "V"


@pytest.mark.parametrize(
    ("text", "bar", "beat"), [(ODE, 4, 3), (ODE, 12, 3), (GOD_REST, 4, 1)]
)
def test_a_half_close_rests_on_v_without_its_seventh(
    text: str, bar: int, beat: int
) -> None:
    tune, parts = parts_of(text)
    assert parts.offers[slot_at(tune, parts, bar, beat)].numeral == "V"


def test_a_last_note_said_again_is_reached_from_v_on_its_root() -> None:
    tune, parts = parts_of(GRACE)
    names = [offer.numeral for offer in parts.offers]
    close = slot_at(tune, parts, 15, 1)
    assert names[close - 1] in ("V", "V7")
    assert set(names[close:]) == {"I"}


@pytest.mark.parametrize("text", [GRACE, GOD_REST, JESU], ids=["G", "E minor", "Jesu"])
def test_inner_voices_wait_while_the_tune_holds_a_note_over_one_chord(
    text: str,
) -> None:
    tune, parts = parts_of(text)
    grid, rows = parts.choice.grid, list(heights(parts))
    onsets = {note.onset * grid.ticks for note in tune.notes}
    for slot, (old, new) in enumerate(pairwise(rows), 1):
        before, here = (parts.offers[at].chord.root for at in (slot - 1, slot))
        if int(grid.slot_start[slot]) not in onsets and before == here:
            assert old[1:3] == new[1:3]


def test_ii_goes_on_to_v_and_not_back_to_i() -> None:
    """Common practice: 4-3 in the tune is IV-I or V7-I."""
    names = numerals("Key: C\nTime: 4/4\nC5 B C5 A | G F E - | F E D B3 | C - - - |")
    steps = set(pairwise(names))
    assert not {("ii", "I"), ("ii6", "I"), ("ii", "I6"), ("ii6", "I6")} & steps


def test_a_minor_tune_with_natural_sevenths_still_closes_from_its_major_v() -> None:
    assert numerals(GOD_REST)[-2:] in (["V", "i"], ["V7", "i"])


@pytest.mark.parametrize("key", ["C", "A minor", "G", "D minor"])
def test_from_a_pickup_on_five_to_one_tune_and_bass_make_no_octaves(key: str) -> None:
    text = (
        f"Key: {key}\nTime: 4/4\n"
        + {
            "C": "G | C5 C5 B C5 | C5 - -",
            "A minor": "E | A A G# A | A - -",
            "G": "D | G G F# G | G - -",
            "D minor": "A | D5 D5 C#5 D5 | D5 - -",
        }[key]
    )
    _, parts = parts_of(text)
    first, second = list(heights(parts))[:2]
    octaves = [(row[0] - row[3]) % 12 == 0 for row in (first, second)]
    assert octaves != [True, True] or first[3] == second[3]


def test_a_raised_note_gets_no_chord_that_has_it_by_another_name() -> None:
    """A# under G minor would be sung Bb by the alto; F# major has it."""
    tune, parts = parts_of("Key: D\nTime: 4/4\nF# G# A# B | B A F# - | E - D - |")
    third = slot_at(tune, parts, 1, 3)
    assert parts.offers[third].chord.symbol.startswith("F#")
    assert misspelled(tune, parts) == []


def test_no_first_inversion_of_a_dominant_is_left_hanging() -> None:
    """E7/G# once went to Em/G there, and the third line closed on Em/G."""
    tune, parts = parts_of(JESU)
    assert all_faults(tune, parts) == []
    names = [offer.numeral for offer in parts.offers]
    assert names[slot_at(tune, parts, 6, 1)] == "i"


PHRASE = "Key: C\nTime: 4/4\nE F G A | A C5 B C5 | E D E F | E D C - |"
"""IV, then 1 over its added sixth, then 7 and 1; 3-2-3 in the last line."""


def test_ii_with_its_seventh_in_first_inversion_comes_before_v() -> None:
    tune, parts = parts_of(PHRASE)
    names = [offer.numeral for offer in parts.offers]
    slot = names.index("ii6/5")
    assert parts.offers[slot + 1].family == "V"
    before, here, after = list(heights(parts))[slot - 1 : slot + 2]
    # C is the seventh: it comes by step or is held, is alone, and falls to B.
    (voice,) = [v for v, midi in enumerate(here) if midi % 12 == 0]
    assert abs(here[voice] - before[voice]) <= 2 or voice == 0
    assert here[voice] - after[voice] == 1
    assert lower(parts, slot)[-1].startswith("F")
    assert part_remarks(tune, parts) == ()


def test_the_leading_triad_passes_in_first_inversion_with_its_third_doubled() -> None:
    tune, parts = parts_of(PHRASE)
    names = [offer.numeral for offer in parts.offers]
    slot = names.index("vii°6")
    assert names[slot - 1] in ("I", "I6")
    assert names[slot + 1] in ("I", "I6")
    rows = list(heights(parts))
    classes = [midi % 12 for midi in rows[slot]]
    assert sorted(classes) == [2, 2, 5, 11]
    (leading,) = [v for v, note in enumerate(classes) if note == 11]
    assert rows[slot + 1][leading] - rows[slot][leading] == 1
    assert all_faults(tune, parts) == []


def test_both_wait_for_level_four_and_for_four_parts() -> None:
    beside = {"ii6/5", "vii°6"}
    assert beside <= set(numerals(PHRASE))
    for level in (1, 2, 3):
        assert not beside & set(numerals(PHRASE, STYLE._replace(level=level)))
    (tune,) = parse_tune_text(PHRASE)
    menu = choose(tune, settle(tune, STYLE)).menu
    assert not beside & {offer.numeral for row in menu.offers for offer in row}
