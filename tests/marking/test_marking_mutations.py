"""One fault planted at every place: exactly that fault is told, at that place."""

import os
from pathlib import Path

import pytest
from makers.planted_works import (
    CODES,
    HEAD,
    NOTE,
    TABLE,
    TUNES,
    Mutant,
    judge,
    mutants,
    rows,
    task_of,
)
from makers.profiles import spread
from makers.scripts import script_of

from harmonise.marking.mark import mark
from harmonise.rules.table import KINDS

SAMPLE = [path for path in TUNES if path.stem in ("kitchen_clock", "boat_round")]
every_kind = pytest.mark.parametrize("code", CODES)


def table() -> list[dict[str, str]]:
    note, head, *lines = TABLE.read_text("utf-8").splitlines()
    assert note == NOTE
    assert tuple(head.split("\t")) == HEAD
    return [dict(zip(HEAD, line.split("\t"), strict=True)) for line in lines]


def test_the_table_has_every_code_of_the_trade() -> None:
    codes = [row["kind"] for row in table()]
    assert codes == CODES == sorted({kind.code for kind in KINDS})


@pytest.mark.parametrize("row", table(), ids=lambda row: row["kind"])
def test_recall_and_precision_are_whole_in_the_table(row: dict[str, str]) -> None:
    assert int(row["planted"]) > 0
    assert (row["found"], row["others"]) == (row["planted"], "0")
    assert (row["recall %"], row["precision %"]) == ("100", "100")


@every_kind
def test_a_planted_fault_is_told_alone(code: str) -> None:
    for path in SAMPLE:
        for mutant in mutants(path, code):
            outcome = judge(mutant)
            where = mutant.task.model.tune.place(mutant.onset)
            assert (outcome.found, outcome.others) == (True, ()), f"{path.stem} {where}"


def test_the_sample_plants_most_kinds() -> None:
    planted = {code for code in CODES for p in SAMPLE if any(mutants(p, code))}
    assert len(planted) >= 13


def test_the_same_fault_at_two_places_is_told_twice() -> None:
    path = SAMPLE[0]
    found = list(mutants(path, "M06"))[:2]
    assert [judge(own).found for own in found] == [True, True]
    assert found[0].onset != found[1].onset


def test_a_marker_that_sees_nothing_fails_this_test() -> None:
    task = task_of(SAMPLE[0])
    blind = Mutant(("M06",), task.items[0].onset, script_of(task.model), task)
    assert not judge(blind).found
    assert mark(blind.script, task).lines == ()


@pytest.mark.slow
@every_kind
def test_every_fault_at_every_place_of_demo_tunes(code: str) -> None:
    # Each kind in its own fifth of the tunes; in all of them, which takes minutes, with
    # HARMONISE_MUTATIONS=all. The table has all.
    if os.environ.get("HARMONISE_MUTATIONS") == "all":
        counted = {row["kind"]: tuple(row.values()) for row in table()}
        assert list(rows(TUNES, [code])) == [counted[code]]
        return
    for path in TUNES[CODES.index(code) % 5 :: 5]:
        for mutant in spread(list(mutants(path, code)), 4):
            outcome = judge(mutant)
            assert (outcome.found, outcome.others) == (True, ()), path.stem


def test_every_demo_tune_is_in_the_table() -> None:
    assert len(TUNES) == len(list((Path(__file__).parents[2] / "tunes").glob("*.txt")))
    assert max(int(row["tunes"]) for row in table()) == len(TUNES)
