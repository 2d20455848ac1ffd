"""The fitted table of chord costs: its names, its costs, its fit and its paths.

No human's chords are needed: the tunes here are made of scale degrees. That V goes
under 7 and 2, and I under 1, 3 and 5, is common practice.
"""

from itertools import pairwise, product
from pathlib import Path

import numpy as np
import pytest
from fitting.example import BARS, DOMINANT, ROW, SUBDOMINANT, TONIC, batch, tune
from fitting.features import facts
from fitting.features_base import (
    BAR_START,
    CHORD_NAMES,
    WEAK,
    Notes,
)
from fitting.features_edge import EDGE_NAMES
from fitting.features_fit import FIT_NAMES, NOTE_NAMES, look_at_steps, name_notes
from fitting.features_heard import look
from fitting.features_tune import X_NAMES, tune_facts
from fitting.fit import Settings, find_loss, fit, format_table, set_aim
from fitting.fit_chain import ALL
from fitting.fit_tunes import parse_example
from fitting.measure_palette import name_palette
from fitting.measure_path import (
    PathCosts,
    add_rules,
    cheapest_row,
    marginal_costs,
)
from fitting.table import (
    FOLK,
    HYMN,
    LAYOUT,
    SIZE,
    fit_costs,
    pair_costs,
    parse_rows,
    read_table,
    unary_costs,
)

TABLES = pytest.mark.parametrize("path", [FOLK, HYMN], ids=["folk", "hymn"])


@TABLES
def test_a_shipped_table_names_500_to_1500_rows_of_the_layout(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    named = [line for line in lines if line and not line.startswith("#")]
    assert 500 <= len(named) <= 1500
    assert np.count_nonzero(parse_rows(lines)) == len(named)
    assert f"; {len(named)} rows." in lines[0]


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (["fit | hum\t1"], "cost table: 'fit | hum' is no row of the layout"),
        (
            ["fit | suspension, at slot start\t1"] * 2,
            "cost table: 'fit | suspension, at slot start' stands twice",
        ),
    ],
)
def test_a_table_with_a_wrong_name_is_refused(lines: list[str], message: str) -> None:
    with pytest.raises(ValueError, match=message.replace("|", r"\|")):
        parse_rows(lines)


def test_a_formatted_table_reads_back_as_it_was() -> None:
    gains = np.zeros(len(LAYOUT.names))
    gains[[0, 700, LAYOUT.fits, -1]] = (0.25, -1.5, 3.125, 0.001)
    text = format_table(gains, "chord costs")
    assert (parse_rows(text.splitlines()) == -1000 * gains).all()
    assert text.startswith("# chord costs: milli-costs, ")


def test_no_two_rows_of_the_layout_have_one_name() -> None:
    assert len(set(LAYOUT.names)) == len(LAYOUT.names)


def test_every_row_fills_a_cell() -> None:
    fits = LAYOUT.fits + np.arange(len(FIT_NAMES))
    filled = np.concatenate((LAYOUT.x.ravel(), LAYOUT.edge.ravel(), fits))
    assert set(filled[filled >= 0]) == set(range(len(LAYOUT.names)))


def test_facts_have_a_column_for_every_name_and_are_multiples_of_a_64th() -> None:
    seen = facts(tune(), ALL)
    slots = 2 * len(BARS)
    assert seen.x.shape == (slots, len(X_NAMES))
    assert seen.fits.shape == (len(FIT_NAMES), slots, SIZE)
    assert seen.edge.shape == (slots, len(EDGE_NAMES))
    for part in (seen.x, seen.fits, seen.edge):
        assert (part * 64 == np.rint(part * 64)).all()


def test_identical_bars_are_twins() -> None:
    assert facts(tune(), ALL).twin.tolist() == [0, 1, 2, 3, 4, 5, 0, 1, 8, 9, 10, 11]


@TABLES
def test_twins_meet_half_way_and_other_slots_keep_their_costs(path: Path) -> None:
    table, sight = read_table(path), tune()
    own = tune_facts(sight) @ table.x + fit_costs(table, sight, ALL)
    shared = unary_costs(table, sight, ALL)
    mean = (own[0] + own[6]) / 2
    assert shared[0] == pytest.approx((own[0] + mean) / 2, abs=0.51)
    assert shared[6] == pytest.approx((own[6] + mean) / 2, abs=0.51)
    assert shared[2:6] == pytest.approx(own[2:6], abs=0.51)
    assert np.abs(own[0] - own[6]).max() > 100


@TABLES
def test_costs_are_whole_and_the_same_for_a_transposed_tune(path: Path) -> None:
    table = read_table(path)
    for costs in (unary_costs, pair_costs):
        found = costs(table, tune(), ALL)
        assert found.dtype == np.int32
        assert (found == costs(table, tune(5), ALL)).all()
        assert np.ptp(found) > 1000


@TABLES
def test_costs_of_a_palette_are_those_of_all_chords(path: Path) -> None:
    table, palette = read_table(path), np.array([TONIC, SUBDOMINANT, DOMINANT])
    every = unary_costs(table, tune(), ALL)
    assert (unary_costs(table, tune(), palette) == every[:, palette]).all()
    steps, some = pair_costs(table, tune(), ALL), pair_costs(table, tune(), palette)
    assert steps.shape == (12, SIZE, SIZE)
    assert some.shape == (12, 3, 3)
    assert (some == steps[:, palette[:, None], palette]).all()


@TABLES
def test_v_is_cheaper_than_i_under_7_and_2_and_i_is_cheapest_under_1_3_5(
    path: Path,
) -> None:
    costs = unary_costs(read_table(path), tune(), ALL)
    for bar_start in (2, 8):
        assert costs[bar_start, DOMINANT] < costs[bar_start, TONIC]
    for bar_start in (0, 6):
        assert costs[bar_start].argmin() == TONIC


def test_the_cheapest_row_of_the_folk_table_is_the_usual_one() -> None:
    table, sight = read_table(FOLK), tune()
    unary = unary_costs(table, sight, ALL).astype(np.int64)
    pair = pair_costs(table, sight, ALL).astype(np.int64)
    palette = np.zeros((12, SIZE), bool)
    palette[:, [TONIC, SUBDOMINANT, DOMINANT]] = True
    costs = add_rules(PathCosts(unary, pair), sight, palette)
    assert tuple(cheapest_row(costs, sight.slots.place, 1000)) == ROW


PLACES = np.array([BAR_START, WEAK, WEAK] * 2 + [BAR_START])


def price(row: tuple[int, ...], costs: PathCosts, syncopation: int) -> int:
    """Price a row of chords in bars of three slots, step by step."""
    total = int(costs.unary[np.arange(len(row)), row].sum())
    begun = 0
    for k, (old, new) in enumerate(pairwise(row), start=1):
        total += int(costs.pair[k, old, new])
        if new != old:
            begun = k
        elif k % 3 == 0 and begun % 3:
            total += syncopation
            begun = k
    return total


@pytest.mark.parametrize("syncopation", [0, 40, 10_000])
@pytest.mark.parametrize("seed", range(10))
def test_the_cheapest_row_is_the_cheapest_of_all(seed: int, syncopation: int) -> None:
    dice, size = np.random.default_rng(seed), len(PLACES)
    unary = dice.integers(0, 100, (size, SIZE))
    unary[:, 3:] += 10**6
    costs = PathCosts(unary, dice.integers(0, 50, (size, SIZE, SIZE)))
    rows = product(range(3), repeat=size)
    best = min(price(row, costs, syncopation) for row in rows)
    assert (
        price(tuple(cheapest_row(costs, PLACES, syncopation)), costs, syncopation)
        == best
    )
    if syncopation == 0:
        assert (marginal_costs(costs).min(1) == best).all()


def test_rules_bind_the_last_chord_full_notes_and_the_last_held_note() -> None:
    sight = tune()
    notes = Notes(*(part[:-3] for part in sight.notes))
    notes.length[-1] = 4
    sight = look(sight.slots, notes)
    free = PathCosts(
        np.zeros((12, SIZE), np.int64), np.zeros((12, SIZE, SIZE), np.int64)
    )
    bound = add_rules(free, sight, np.ones((12, SIZE), bool))
    cheap = {CHORD_NAMES[i] for i in np.flatnonzero(bound.unary[-1] == 0)}
    assert cheap == {"I", "i"}
    # H05: under a keynote that fills the slot stand only chords that have it.
    holding = {CHORD_NAMES[i] for i in np.flatnonzero(bound.unary[-2] == 0)}
    assert holding == {"I", "i", "IV", "iv", "bVI", "vi"}
    assert not bound.unary[:-2].any()
    # H03: no change under the last note once it sounds.
    assert (bound.pair[-1, TONIC] > 0).tolist() == [i != TONIC for i in range(SIZE)]
    assert not bound.pair[:-1].any()


@pytest.mark.parametrize(
    ("degrees", "name"),
    [
        ((0, 2, 4), "passing note"),
        ((4, 5, 4), "neighbour note"),
        ((5, 5, 4), "suspension"),
        ((0, 9, 7), "appoggiatura"),
        ((4, 5, 9), "escape note"),
        ((7, 9, 11), "double passing note"),
        ((4, 9, 9), "anticipation"),
        ((0, 9, 2), "unexplained note"),
        ((4, 5, 0), "unexplained note"),
        ((0, 4, 2), None),
    ],
)
def test_the_middle_note_has_its_usual_name_over_the_tonic(
    degrees: tuple[int, ...], name: str | None
) -> None:
    notes = Notes(np.arange(3), np.ones(3, np.int64), np.array(degrees) + 60)
    sight = look(tune(bars=2).slots, notes)
    flags = name_notes(sight.pieces, look_at_steps(sight), np.array([TONIC]))
    named = [n for n, flag in zip(NOTE_NAMES, flags, strict=True) if flag[1, 0]]
    assert named == ([] if name is None else [name])


@pytest.mark.parametrize(
    ("level", "minor", "sevenths", "names"),
    [
        (1, False, (0, 3), "I IV V"),
        (1, True, (0, 3), "i iv V"),
        (1, True, (2, 3), "i iv V bVII"),
        (1, True, (2, 0), "i bVI bVII"),
        (3, False, (1, 2), "I ii IV V vi"),
        (3, False, (2, 1), "I ii IV V v vi bVII"),
    ],
)
def test_a_palette_follows_level_and_sevenths(
    level: int, minor: bool, sevenths: tuple[int, int], names: str
) -> None:
    counts = dict.fromkeys(range(12), 0) | dict(zip((10, 11), sevenths, strict=True))
    assert name_palette(level, counts, minor=minor) == names


def test_a_record_becomes_slots_notes_and_labels() -> None:
    beats = [
        [
            [k, 1],
            [1, 1],
            0,
            k,
            4,
            7,
            "major",
            0,
            [2, "M"] if k > 1 else None,
            False,
            None,
        ]
        for k in range(4)
    ]
    record = {
        "bars": [[[0, 1], [4, 1], [4, 4], True]],
        "notes": [[[0, 1], [3, 2], 67], [[3, 2], [5, 2], None]],
        "beats": beats,
    }
    example = parse_example(record, every_beat=False)
    assert example.label.tolist() == [-1, DOMINANT]
    assert example.beat_slot.tolist() == [0, 0, 1, 1]
    assert example.slots.start.tolist() == [0, 2 * 5040]
    assert example.notes.midi.tolist() == [67, -1]
    assert len(parse_example(record, every_beat=True).label) == 4


def test_the_slope_of_the_loss_is_its_slope() -> None:
    tunes = batch()
    aim, dice = set_aim(tunes), np.random.default_rng(1)
    gains = dice.normal(0, 0.05, len(LAYOUT.names))
    _, slope = find_loss(gains, tunes, aim)
    towards = slope / np.linalg.norm(slope)
    ahead, behind = (
        find_loss(gains + s * towards, tunes, aim)[0] for s in (0.01, -0.01)
    )
    assert (ahead - behind) / 0.02 == pytest.approx(np.linalg.norm(slope), rel=0.01)


def test_a_fit_lowers_the_loss_and_leaves_most_rows_out() -> None:
    pytest.importorskip("scipy")
    tunes = batch()
    aim, nothing = set_aim(tunes), np.zeros(len(LAYOUT.names))
    gains = fit(tunes, Settings(price=0.5, smooth=0.5, rounds=10))
    assert find_loss(gains, tunes, aim)[0] < 0.5 * find_loss(nothing, tunes, aim)[0]
    assert 0 < np.count_nonzero(gains) < 0.25 * len(gains)
