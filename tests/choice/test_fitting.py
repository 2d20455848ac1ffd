"""The fitted table of chord costs: its names, its costs, its fit and its paths.

No human's chords are needed: the tunes here are made of scale degrees. That V goes
under 7 and 2, and I under 1, 3 and 5, is common practice.
"""

from pathlib import Path

import numpy as np
import pytest
from fitting.example import BARS, DOMINANT, SUBDOMINANT, TONIC, batch, tune
from fitting.facts import facts
from fitting.fit import Settings, find_loss, fit, format_table, set_aim
from fitting.fit_chain import ALL
from fitting.fit_tunes import parse_example
from fitting.layout import fill, layout, parse_rows

from harmonise.choice.fitted.chord_facts import (
    EDGE_NAMES,
    FIT_NAMES,
    NOTE_NAMES,
    look_at_steps,
    name_notes,
)
from harmonise.choice.fitted.costing import (
    Columns,
    Costs,
    facts_of,
    fit_of,
    pairs_of,
    unary_of,
)
from harmonise.choice.fitted.table import FOLK, HYMN, CostTable, parse_table, read_table
from harmonise.choice.fitted.tune_facts import (
    PLAIN,
    X_NAMES,
    look_up_pairs,
    pair_codes,
    tune_facts,
)
from harmonise.choice.fitted.words import MEMBERS, SIZE, Ints, Notes, Sight, look

TABLES = pytest.mark.parametrize("path", [FOLK, HYMN], ids=["folk", "hymn"])


def columns(chords: Ints) -> Columns:
    return Columns(chords, MEMBERS[:, chords])


def unary_costs(table: CostTable, sight: Sight, chords: Ints) -> Costs:
    costs = unary_of(table, facts_of(sight), columns(chords))
    return np.rint(costs).astype(np.int64)


def pair_costs(table: CostTable, sight: Sight, chords: Ints) -> Costs:
    return pairs_of(table, facts_of(sight), columns(chords)).astype(np.int64)


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


@TABLES
def test_a_table_is_read_as_the_layout_has_it(path: Path) -> None:
    lines = path.read_text("utf-8").splitlines()
    one, other = read_table(path), fill(parse_rows(lines))
    assert (one.x[:, :SIZE] == other.x).all()
    assert (one.edge[:, :SIZE, :SIZE] == other.edge).all()
    assert (one.fits == other.fits).all()
    assert not one.x[:, SIZE].any()
    assert not one.edge[:, SIZE].any()
    assert not one.edge[:, :, SIZE].any()


@pytest.mark.parametrize("first", range(4))
def test_any_row_fills_the_cells_that_the_layout_gives_it(first: int) -> None:
    names = layout().names
    for number in [*range(first, len(names), 211), len(names) - 1 - first]:
        rows = np.zeros(len(names))
        rows[number] = 7
        one, other = parse_table([f"{names[number]}\t7"]), fill(rows)
        assert (one.x[:, :SIZE] == other.x).all(), names[number]
        assert (one.edge[:, :SIZE, :SIZE] == other.edge).all(), names[number]
        assert (one.fits == other.fits).all(), names[number]


@pytest.mark.parametrize(
    "name",
    [
        "fit | hum",
        "step | anywhere | I",
        "step | somewhere | I - V",
        "change | bar line | to I",
        "change | bar line | root fourth",
        "change | first note at noon, root | root fourth up",
        "share of slot: 1 | root 4",
        "place: always | root #4",
        "share of slot | root of a sweet chord",
        "share of slot",
        "heard in slot | root of a major chord",
    ],
)
def test_what_is_no_row_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="is no row of it"):
        parse_table([f"{name}\t1"])
    with pytest.raises(ValueError, match="stands twice"):
        parse_table(["fit | suspension, at slot start\t1"] * 2)


def test_a_formatted_table_reads_back_as_it_was() -> None:
    gains = np.zeros(layout().size)
    gains[[0, 700, layout().fits, -1]] = (0.25, -1.5, 3.125, 0.001)
    text = format_table(gains, "chord costs")
    assert (parse_rows(text.splitlines()) == -1000 * gains).all()
    assert text.startswith("# chord costs: milli-costs, ")


def test_no_two_rows_of_the_layout_have_one_name() -> None:
    assert len(set(layout().names)) == len(layout().names)


def test_the_layout_counts_its_rows() -> None:
    assert len(layout().names) == layout().size


def test_every_row_fills_a_cell() -> None:
    fits = layout().fits + np.arange(len(FIT_NAMES))
    filled = np.concatenate((layout().x.ravel(), layout().edge.ravel(), fits))
    assert set(filled[filled >= 0]) == set(range(layout().size))


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
    own = tune_facts(sight) @ table.x[:PLAIN, ALL]
    own += look_up_pairs(pair_codes(sight), table.x[PLAIN:, ALL])
    own += fit_of(table, sight, columns(ALL))
    shared = unary_costs(table, sight, ALL)
    mean = (own[0] + own[6]) / 2
    assert shared[0] == pytest.approx((own[0] + mean) / 2, abs=0.51)
    assert shared[6] == pytest.approx((own[6] + mean) / 2, abs=0.51)
    assert shared[2:6] == pytest.approx(own[2:6], abs=0.51)
    assert np.abs(own[0] - own[6]).max() > 100


@TABLES
def test_costs_are_the_same_for_a_transposed_tune(path: Path) -> None:
    table = read_table(path)
    for costs in (unary_costs, pair_costs):
        found = costs(table, tune(), ALL)
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
    flags = name_notes(sight.pieces, look_at_steps(sight), MEMBERS[:, [TONIC]])
    named = [n for n, flag in zip(NOTE_NAMES, flags, strict=True) if flag[1, 0]]
    assert named == ([] if name is None else [name])


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
    gains = dice.normal(0, 0.05, layout().size)
    _, slope = find_loss(gains, tunes, aim)
    towards = slope / np.linalg.norm(slope)
    ahead, behind = (
        find_loss(gains + s * towards, tunes, aim)[0] for s in (0.01, -0.01)
    )
    assert (ahead - behind) / 0.02 == pytest.approx(np.linalg.norm(slope), rel=0.01)


def test_a_fit_lowers_the_loss_and_leaves_most_rows_out() -> None:
    pytest.importorskip("scipy")
    tunes = batch()
    aim, nothing = set_aim(tunes), np.zeros(layout().size)
    gains = fit(tunes, Settings(price=0.5, smooth=0.5, rounds=10))
    assert find_loss(gains, tunes, aim)[0] < 0.5 * find_loss(nothing, tunes, aim)[0]
    assert 0 < np.count_nonzero(gains) < 0.25 * len(gains)
