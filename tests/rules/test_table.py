"""One row says all of a fault: whoever asks takes it from there."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

from harmonise.lessons.drills import DRILLS
from harmonise.rules import table
from harmonise.rules.table import KINDS, PLANTED, RULES, WORK_RULES, FaultKind

every_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.key)
NAME_OF_NOTE = re.compile(r"\b[A-G][#b♯♭]?\d?\b")


@every_kind
def test_every_row_is_filled_in(kind: FaultKind) -> None:
    assert kind.name
    assert kind.how
    assert kind.price.deduct > 0
    assert not kind.drill or kind.drill in {drill.name for drill in DRILLS}
    assert set(kind.hides) <= set(table.BY_KEY) - {kind.key}
    # Only where the choice itself is wrong are the hints those of the tune.
    assert len(kind.ask) == (0 if kind.code == "M13" else 2)


@every_kind
def test_no_question_tells_the_answer(kind: FaultKind) -> None:
    assert all(question.endswith("?") for question in kind.ask)
    assert not any(NAME_OF_NOTE.search(question) for question in kind.ask)


def test_codes_keys_and_turns_are_unique() -> None:
    assert len({rule.code for rule in WORK_RULES}) == len(WORK_RULES)
    assert len(table.BY_KEY) == len(KINDS)
    turns = [kind.plant.turn for kind in PLANTED if kind.plant]
    assert turns == list(range(1, len(PLANTED) + 1))


def test_what_is_planted_is_found_by_rules_of_our_own_scores() -> None:
    codes = {rule.code for rule in RULES}
    assert all(set(kind.found) <= codes for kind in PLANTED)


ROW = """    FaultKind(
        "M21", "hollow hands", _L, _TWO, "hands together", "D1",
        ask=("How far apart are your hands?", "Which of them could move?"),
        rules=(Rule("M21", _NEVER, always_hollow),),
        plant=Planter(12, planting.crossed_hands, ("M21",)),
    ),
"""
FINDER = '''
def always_hollow(score: Score) -> Iterator[Found]:
    """Yield the first chord."""
    yield Found(score.spans[0].onset, "the hands are far apart.", "Bring them near.")


'''
PROGRAM = """
import sys, types
from pathlib import Path
import harmonise.rules.table as old
text = Path(old.__file__).read_text("utf-8")
row, finder, tune = (Path(name).read_text("utf-8") for name in sys.argv[1:])
mark = 'KINDS: tuple[FaultKind, ...] = (\\n'
assert text.count(mark) == 1
exec(compile(text.replace(mark, finder + mark + row), old.__file__, "exec"), vars(old))
from harmonise.lessons.fault_sheet import proposals
from harmonise.marking.mark import mark as judge
from harmonise.marking.task import own_points, parse_points
from makers.scripts import script_of
from harmonise.marking.slip import format_slip
from harmonise.marking.tasks import task_of_tune
from harmonise.rules.table import BY_KEY
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import Style
task = task_of_tune(parse_tune_text(tune)[0], Style(1))
done = judge(script_of(task.model), task)
print(format_slip(done, hints=True))
print(own_points()[-30:])
print("M21" in BY_KEY, parse_points("[M21]\\ndeduct = 3").prices["M21"].deduct)
print(any(proposals(old.BY_KEY["M21"], task.model)))
"""
TUNE = "Key: C\nTime: 4/4\nE5 - E5 - | F5 - F5 - | D5 - D5 - | C5 - - - |\n"


def test_a_new_fault_is_one_row_and_one_function(tmp_path: Path) -> None:
    parts = [tmp_path / name for name in ("row", "finder", "tune")]
    for path, text in zip(parts, (ROW, FINDER, TUNE), strict=True):
        path.write_text(text, "utf-8")
    done = subprocess.run(  # noqa: S603 (our own interpreter)
        [sys.executable, "-c", PROGRAM, *map(str, parts)],
        capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1],
    )  # fmt: skip
    told = done.stdout
    assert (
        "1. Bar 1, beat 1: hollow hands (M21). How far apart are your hands? "
        "Which of them could move?  [− 2]" in told
    )
    assert "hollow hands (M21): drill D1, hands together" in told
    assert "Bring them near." in told
    assert told.endswith("[M21]\ndeduct = 2\n\nTrue 3\nTrue\n")
