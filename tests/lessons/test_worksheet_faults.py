from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from makers.profiles import spread

from harmonise.errors import MelodyError
from harmonise.lessons.fault_sheet import is_exactly, plant, proposals
from harmonise.lessons.model import model_of, opening
from harmonise.lessons.sheet_parts import Planted
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder
from harmonise.notation.formats import read_tune
from harmonise.rules.table import COMMENTS, PLANTED, FaultKind, check
from harmonise.theory.arrangement import Arrangement, SoundingNote, Style

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
NAMES = [path.stem for path in TUNES]
BY_CODE = {kind.code: kind for kind in PLANTED}

every_tune = pytest.mark.parametrize("name", NAMES)
every_kind = pytest.mark.parametrize("kind", PLANTED, ids=lambda kind: kind.code)


@cache
def model(name: str) -> Arrangement:
    tune = read_tune(TUNES[NAMES.index(name)])
    return model_of(opening(tune, 8), Style())


def found(arrangement: Arrangement) -> set[tuple[str, int]]:
    """Return the broken rules by bar, those aside that keyboard style lets be."""
    faults = check(arrangement)
    return {(f.rule, f.place.bar) for f in faults if f.rule not in COMMENTS}


def by_bar(arrangement: Arrangement) -> dict[int, list[SoundingNote]]:
    tune, bars = arrangement.tune, dict[int, list[SoundingNote]]()
    for note in arrangement.notes:
        bars.setdefault(tune.place(note.onset).bar, []).append(note._replace(finger=0))
    return bars


@every_tune
def test_faults_are_what_the_rules_find_in_the_bars_that_are_told(name: str) -> None:
    for seed in spread((1, 2, 3), 1, NAMES.index(name)):
        done, planted = plant(model(name), 5, seed)
        assert_listed(name, done, planted)
        before, after = by_bar(model(name)), by_bar(done)
        changed = {bar for bar in before if before[bar] != after[bar]}
        assert changed == {fault.place.bar for fault in planted}
        assert len(changed) == len(planted) == 5
        assert done.tune == model(name).tune
        assert "M20" not in {fault.rule for fault in check(done)}


def assert_listed(name: str, done: Arrangement, planted: Sequence[Planted]) -> None:
    """Assert that the rules find the planted faults, and nothing else that is new."""
    wanted = {
        (rule, fault.place.bar)
        for fault in planted
        for rule in BY_CODE[fault.code].found
    }
    assert found(done) - found(model(name)) == wanted
    assert found(model(name)) <= found(done)


@every_tune
def test_the_same_seed_plants_the_same_faults_and_some_other_seed_others(
    name: str,
) -> None:
    first = plant(model(name), 4, 1)
    assert plant(model(name), 4, 1) == first
    assert any(plant(model(name), 4, seed)[0] != first[0] for seed in range(2, 6))


@every_kind
def test_every_kind_of_fault_can_be_planted_in_some_tune(kind: FaultKind) -> None:
    assert any(
        is_exactly(kind, model(name), proposal)
        for name in NAMES
        for proposal in proposals(kind, model(name))
    )


@every_tune
def test_a_fault_is_proved_by_the_rules_one_by_one(name: str) -> None:
    before = found(model(name))
    for kind in PLANTED:
        offered = list(proposals(kind, model(name)))
        for proposal in spread(offered, 4, NAMES.index(name)):
            bar = model(name).tune.place(proposal.onset).bar
            after = found(proposal.arrangement)
            added = {(rule, bar) for rule in kind.found}
            if is_exactly(kind, model(name), proposal):
                assert (after - before, before - after) == (added, set())
                assert proposal.what.endswith(".")
                assert proposal.remedy.endswith(".")


def test_a_fault_that_brings_another_with_it_is_not_planted() -> None:
    kind = BY_CODE["M03"]
    wrong = BY_CODE["M02"]
    found_there = list(proposals(kind, model("kitchen_clock")))
    assert found_there
    assert not any(
        is_exactly(wrong, model("kitchen_clock"), own) for own in found_there
    )


def test_versions_have_the_same_kinds_of_fault() -> None:
    tune = read_tune(TUNES[NAMES.index("morning_steps")])
    sheets = make_sheets(tune, SheetOrder(SheetKind.FAULTS, faults=5), 3)
    kinds = [sorted(fault.code for fault in sheet.planted) for sheet in sheets]
    assert kinds[0] == kinds[1] == kinds[2]
    assert len(kinds[0]) == 6


def test_too_many_faults_are_refused_with_the_number_that_can_be_had() -> None:
    with pytest.raises(MelodyError) as caught:
        plant(model("morning_steps"), 12, 1)
    assert str(caught.value) == (
        "Only 8 faults can be planted in this tune, one to a bar, and one of them is "
        "the example. Ask for 7 faults, or for more bars."
    )


def test_the_sheet_tells_bar_beat_fault_and_remedy() -> None:
    tune = read_tune(TUNES[NAMES.index("kitchen_clock")])
    (sheet,) = make_sheets(tune, SheetOrder(SheetKind.FAULTS))
    assert [item.place for item in sheet.items] == [f.place for f in sheet.planted]
    assert [item.marks for item in sheet.items] == [0, 3, 3, 3, 3]
    assert len({fault.place.bar for fault in sheet.planted}) == 5


def test_sheets_of_a_term_have_every_kind_that_the_tune_has_room_for() -> None:
    kinds = [kind for kind in PLANTED if _has_room(kind, model("old_hundredth"))]
    sheets = [plant(model("old_hundredth"), 5, seed)[1] for seed in range(1, 6)]
    assert len(kinds) > 7
    assert {fault.code for sheet in sheets for fault in sheet} == {
        kind.code for kind in kinds
    }
    # Ten faults of nine kinds on two sheets: two sheets that follow share two at most.
    for one, two in pairwise(sheets):
        shared = {fault.code for fault in one} & {fault.code for fault in two}
        assert len(shared) <= 2


def _has_room(kind: FaultKind, arrangement: Arrangement) -> bool:
    offers = proposals(kind, arrangement)
    return any(is_exactly(kind, arrangement, offer) for offer in offers)


def test_faults_stand_on_other_beats_than_the_first_too() -> None:
    beats = [
        fault.place.beat
        for name in ("ferry_steps", "oak_and_ash", "morning_steps")
        for fault in plant(model(name), 5, 1)[1]
    ]
    assert sum(beat != 1 for beat in beats) >= len(beats) // 3
