"""What an arrangement admits and what a marker deducts for the same page agree.

The page goes the long way round: it is printed as MusicXML and read back as the work of
a pupil who was asked to harmonise the tune.
"""

from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from makers.rule_examples import examples as make_examples
from makers.rule_examples import parse_example

from harmonise.arranging import remarks
from harmonise.arranging.job import arrange
from harmonise.errors import Place
from harmonise.marking.mark import mark
from harmonise.marking.scripts import parse_script
from harmonise.marking.tasks import task_of_model
from harmonise.notation.formats import read_tune
from harmonise.notation.musicxml.writer import format_musicxml
from harmonise.rules.score_view import Score
from harmonise.rules.table import WORK_RULES
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm, Style
from harmonise.theory.key import Mode
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.tune import ChordAt, Tune

TUNES = {
    path.stem: read_tune(path)
    for path in sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
}
FAULT_OF = {"H02": "M15", "H07": "M14", "H12": "M16"}
"""What a marker calls what an arrangement remarks on."""
Verdict = frozenset[tuple[str, Place]]
every_tune = pytest.mark.parametrize("name", TUNES)


def by_chord(rows: Iterable[tuple[str, Place | None]], model: Arrangement) -> Verdict:
    """Return codes, each with the place at which its chord of the model begins."""
    starts = [slot.place for slot in model.changes]
    return frozenset(
        (code, max([own for own in starts if own <= place] or starts[:1]))
        for code, place in rows
        if place
    )


def remarked(page: Arrangement, model: Arrangement) -> Verdict:
    found = [own for own in page.remarks if own.code in FAULT_OF]
    return by_chord(((FAULT_OF[own.code], own.place) for own in found), model)


def verdict(page: Arrangement, model: Arrangement) -> tuple[Verdict, set[Place]]:
    """Return what is deducted, and the chords of the model that do not fit."""
    script = parse_script(format_musicxml(page), model.tune)
    lines = mark(script, task_of_model(model)).lines
    rows = [(own.kind.code, own.place) for own in lines]
    unfit = by_chord((row for row in rows if row[0] == "M13"), model)
    costs = by_chord((row for row in rows if row[0] in FAULT_OF.values()), model)
    return costs, {place for _, place in unfit}


def deducted(page: Arrangement, model: Arrangement) -> Verdict:
    return verdict(page, model)[0]


def beside(place: Place, model: Arrangement) -> set[Place]:
    """Return where a chord of the model begins, and where the one before it does."""
    starts = [slot.place for slot in model.changes]
    at = starts.index(place)
    return set(starts[max(0, at - 1) : at + 1])


@cache
def model_of(name: str, style: Style = Style()) -> Arrangement:  # noqa: B008 (a value)
    return arrange(TUNES[name], style)


def locked(tune: Tune, model: Arrangement, onset: Fraction) -> Arrangement:
    """Return the page of a user who locks IV at a place, and V before it."""
    before = max(slot.onset for slot in model.slots if slot.onset < onset)
    end = min([s.onset for s in model.slots if s.onset > onset] or [tune.end])
    key = tune.key_at(onset)
    four = "iv" if key.mode.is_minor else "IV"
    locks = (
        ChordAt(before, onset, parse_numeral("V", key)),
        ChordAt(onset, end, parse_numeral(four, key)),
    )
    return arrange(tune, model.style._replace(locks=locks))


def places(tune: Tune, model: Arrangement) -> Iterator[tuple[Fraction, bool]]:
    """Yield where IV may be locked after V, and whether a new line begins there."""
    lines = set(tune.phrases)
    onsets = [slot.onset for slot in model.slots if slot.chord]
    for _, onset in pairwise(onsets):
        yield onset, onset in lines


@every_tune
@pytest.mark.parametrize("rhythm", HarmonicRhythm, ids=lambda own: own.value)
@pytest.mark.parametrize("level", [2, 4])
def test_a_page_is_marked_down_for_what_it_admits_beyond_the_model(
    name: str, level: int, rhythm: HarmonicRhythm
) -> None:
    page = model_of(name, Style(level, rhythm))
    assert deducted(page, page) == frozenset()
    plain = model_of(name, Style(1, rhythm))
    if [slot.onset for slot in page.slots] == [slot.onset for slot in plain.slots]:
        assert deducted(page, plain) == remarked(page, plain) - remarked(plain, plain)


@every_tune
def test_iv_after_v_is_told_by_both_or_by_neither(name: str) -> None:
    tune, model = TUNES[name], model_of(name)
    told = []
    for new_line in (True, False):
        here = [at for at, begins in places(tune, model) if begins is new_line]
        for onset in here[:: max(1, len(here) // 3)][:3]:
            page = locked(tune, model, onset)
            both = remarked(page, model) - remarked(model, model)
            place = tune.place(onset)
            costs, unfit = verdict(page, model)
            # A chord that does not fit is one slip, in whatever order it stands.
            costly = frozenset(row for row in both if not unfit & beside(row[1], model))
            assert costs == costly, str(place)
            here_told = any(
                own.code == "H12" and own.place == place for own in page.remarks
            )
            told.append((new_line, here_told))
    assert (True, True) not in told
    if tune.key.mode is Mode.MAJOR:
        assert (False, True) in told


def test_ten_line_ends_are_among_the_places() -> None:
    ends = [
        onset
        for name, tune in TUNES.items()
        for onset, begins in places(tune, model_of(name))
        if begins
    ]
    assert len(ends) >= 10


def test_a_chord_that_the_user_locked_is_told_and_costs_the_pupil_nothing() -> None:
    # Whoever hands out the page has asked for it, so the model answer has it too.
    tune, model = TUNES["ferry_steps"], model_of("ferry_steps")
    onset = next(at for at, begins in places(tune, model) if not begins)
    page = locked(tune, model, onset)
    assert ("H12", tune.place(onset)) in [own[::2] for own in page.remarks]
    assert deducted(page, page) == frozenset()


def test_every_rule_whose_findings_carry_a_remark_is_asked_for_it() -> None:
    told = set()
    for rule in WORK_RULES:
        bad = parse_example(make_examples(rule.find.__doc__ or "")["Fault"])
        if any(row.remark for row in rule.find(Score(bad))):
            told.add(rule.find)
    assert told == set(remarks.RULES_TOLD)
