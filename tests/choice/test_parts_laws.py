"""Four parts under any tune: exact, lawful, and clean to music21's ears."""

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import music21  # noqa: TID251 (its corpus is the outside check)
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples, spread
from makers.tunes import tunes
from oracles.every_path import every_cost
from oracles.part_faults import all_faults, heights, misspelled, steps

from harmonise.arranging.job import settle
from harmonise.choice.parts.choose_parts import (
    CHORD_WEIGHTS,
    PartProblem,
    Parts,
    choose_parts,
    pose_parts,
)
from harmonise.choice.parts.laws import Join
from harmonise.choice.parts.leading import leading_costs
from harmonise.choice.parts.setting import part_remarks, sounding_parts
from harmonise.choice.parts.voicings import ALTO, APART, BASS, SOPRANO, TENOR, Voicings
from harmonise.choice.weights import PART_WEIGHTS
from harmonise.errors import NoHarmonyError
from harmonise.notation.formats import parse_tunes, read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.rules.promise import assert_tune_on_top
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm, Style
from harmonise.theory.chord import Member
from harmonise.theory.key import Mode
from harmonise.theory.tune import Tune

STYLE = Style(4, HarmonicRhythm.BEAT)
TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))
CHORALES = sorted((Path(music21.__file__).parent / "corpus" / "bach").glob("bwv*.mxl"))[
    5::10
][:40]
STYLES = st.tuples(
    st.integers(1, 4),
    st.sampled_from([HarmonicRhythm.BAR, HarmonicRhythm.HALF_BAR, HarmonicRhythm.BEAT]),
).map(lambda row: Style(*row))


def parts_of(tune: Tune, style: Style = STYLE) -> Parts:
    return choose_parts(tune, settle(tune, style))


def admitted(tune: Tune, parts: Parts) -> set[str]:
    """Return the places of all remarks but the one on the soprano's range."""
    return {
        str(remark.place)
        for remark in part_remarks(tune, parts)
        if "soprano's range" not in remark.what
    }


def place_of(tune: Tune, parts: Parts, slot: int) -> str:
    grid = parts.choice.grid
    return str(tune.place(Fraction(int(grid.slot_start[slot]), grid.ticks)))


def untold(tune: Tune, parts: Parts) -> list[tuple[str, tuple[str, ...]]]:
    """Return place and names of the faults that no remark admits."""
    told = admitted(tune, parts)
    placed = [
        (place_of(tune, parts, slot), names) for slot, names in all_faults(tune, parts)
    ]
    return [(place, names) for place, names in placed if place not in told]


def test_the_folders_are_not_empty() -> None:
    assert len(TUNES) > 10
    assert len(CHORALES) == 40


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_music21_finds_no_fault_in_the_sample_tunes(path: Path) -> None:
    tune = read_tune(path)
    for level in spread((1, 4), 1, TUNES.index(path)):
        parts = parts_of(tune, STYLE._replace(level=level))
        assert untold(tune, parts) == []
        assert len(all_faults(tune, parts)) <= 1
        assert misspelled(tune, parts) == []


@pytest.mark.parametrize("path", spread(CHORALES, 14), ids=lambda path: path.stem)
def test_music21_finds_no_fault_under_sopranos_of_bach(path: Path) -> None:
    tune = parse_tunes(path.read_bytes())[0]
    parts = parts_of(tune)
    assert len(list(steps(tune, parts))) > 10
    assert untold(tune, parts) == []
    assert len(all_faults(tune, parts)) <= 1
    assert misspelled(tune, parts) == []


@given(tunes(most_notes=24), STYLES)
@settings(max_examples=examples(150), deadline=None, derandomize=True)
def test_every_fault_that_music21_finds_is_told(tune: Tune, style: Style) -> None:
    assert untold(tune, parts_of(tune, style)) == []


@given(tunes(most_notes=24), STYLES)
@settings(max_examples=examples(160), deadline=None, derandomize=True)
def test_voices_keep_their_ranges_and_distances(tune: Tune, style: Style) -> None:
    parts = parts_of(tune, style)
    tops = [n.pitch.midi for n in tune.sounding if n.pitch]
    if min(tops) < SOPRANO.lowest or max(tops) > SOPRANO.highest:
        return
    for own, (s, a, t, b) in zip(parts.single, heights(parts), strict=True):
        assert s > a > t > b
        if own.gives < 3:
            assert ALTO.lowest <= a <= ALTO.highest
            assert TENOR.lowest <= t <= TENOR.highest
            assert BASS.lowest <= b <= BASS.highest
            assert s - a <= 12
            assert a - t <= 12
            assert t - b <= 16


@given(tunes(most_notes=24), STYLES, st.sampled_from([7, 9, 12]))
@settings(max_examples=examples(160), deadline=None, derandomize=True)
def test_the_promise_is_kept(tune: Tune, style: Style, span: int) -> None:
    style = settle(tune, style._replace(span=span))
    notes = sounding_parts(tune, choose_parts(tune, style), span)
    assert_tune_on_top(Arrangement(tune, style, (), notes))
    for note in notes:
        assert note.length > 0
        assert note.onset + note.length <= tune.end


@given(tunes(most_notes=24, modes=(Mode.MAJOR, Mode.MINOR)), st.integers(1, 4))
@settings(max_examples=examples(120), deadline=None, derandomize=True)
def test_no_leading_note_is_doubled(tune: Tune, level: int) -> None:
    parts = parts_of(tune, STYLE._replace(level=level))
    leading = (tune.key.tonic.pitch_class + 11) % 12
    for own, offer, row in zip(parts.single, parts.offers, heights(parts), strict=True):
        if own.gives <= APART and leading in offer.chord.pitch_classes:
            assert [note % 12 for note in row].count(leading) <= 1


@given(tunes(most_notes=24, modes=(Mode.MAJOR, Mode.MINOR)), st.integers(1, 4))
@settings(max_examples=examples(120), deadline=None, derandomize=True)
def test_from_v_to_i_leading_notes_rise_and_sevenths_fall(
    tune: Tune, level: int
) -> None:
    parts = parts_of(tune, STYLE._replace(level=level))
    told, grid = admitted(tune, parts), parts.choice.grid
    for slot, (old, new) in enumerate(pairwise(heights(parts)), 1):
        before, after = parts.offers[slot - 1], parts.offers[slot]
        closes = before.family == "V" and after.family in ("I", "i")
        if not closes or place_of(tune, parts, slot) in told:
            continue
        start = Fraction(int(grid.slot_start[slot]), grid.ticks)
        for voice in (1, 2, 3):
            rise = new[voice] - old[voice]
            member = before.chord.member_of(old[voice] % 12)
            if member is Member.SEVENTH:
                assert rise in (-1, -2)
            if member is Member.THIRD and start not in tune.phrases:
                inner = voice < 3 and not after.chord.inversion
                assert rise in ((1, -4) if inner else (1,))


def one(found: Voicings, state: int) -> Voicings:
    own = slice(state, state + 1)
    return found._replace(
        form=found.form[own],
        notes=found.notes[own],
        steps=found.steps[own],
        cost=found.cost[own],
    )


def cheapest_of_all(problem: PartProblem) -> int:
    """Return the cost of the cheapest sequence of states, every one of them tried."""
    sizes = [len(own.form) for own in problem.voicings]
    here = [problem.here[u, :size] for u, size in enumerate(sizes)]
    moves = [
        problem.moves(u)[:before, :size]
        for u, (before, size) in enumerate(pairwise(sizes), 1)
    ]
    return int(every_cost(here, moves).min())


@pytest.mark.parametrize("line", ["C5 D5 E5", "E5 D5 C5", "G F E", "B C5 A", "C5 B C5"])
@pytest.mark.parametrize("key", ["C", "A minor", "F"])
def test_no_sequence_of_three_voicings_is_cheaper(line: str, key: str) -> None:
    (tune,) = parse_tune_text(f"Key: {key}\nTime: 3/4\n{line} |")
    style = settle(tune, STYLE._replace(level=2))
    problem = pose_parts(tune, style, CHORD_WEIGHTS, PART_WEIGHTS)
    assert len(problem.voicings) == 3
    assert choose_parts(tune, style).cost == cheapest_of_all(problem)


@given(tunes(most_notes=3), st.integers(1, 2))
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_no_sequence_of_voicings_is_cheaper(tune: Tune, level: int) -> None:
    style = settle(tune, Style(level, HarmonicRhythm.BAR))
    problem = pose_parts(tune, style, CHORD_WEIGHTS, PART_WEIGHTS)
    if np.prod([len(own.form) for own in problem.voicings]) > 30_000:
        return
    assert choose_parts(tune, style).cost == cheapest_of_all(problem)


JOINS = st.builds(Join, st.integers(0, 4), st.booleans(), st.booleans(), st.booleans())


@given(tunes(most_notes=8), st.integers(0, 10_000), JOINS)
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_a_step_costs_the_same_alone_as_in_the_table(
    tune: Tune, pick: int, join: Join
) -> None:
    problem = pose_parts(tune, settle(tune, STYLE), CHORD_WEIGHTS, PART_WEIGHTS)
    for before, here in pairwise(problem.voicings):
        r, s = pick % len(before.form), pick // 7 % len(here.form)
        whole = leading_costs(before, here, join, PART_WEIGHTS)
        alone = leading_costs(one(before, r), one(here, s), join, PART_WEIGHTS)
        assert whole[r, s] == alone[0, 0]


@given(tunes(most_notes=12, lowest=2))
@settings(max_examples=examples(60), deadline=None, derandomize=True)
def test_low_tunes_are_set_or_refused_with_a_place(tune: Tune) -> None:
    lowest = min(n.pitch.midi for n in tune.sounding if n.pitch)
    if lowest >= 48:
        assert parts_of(tune).cost
        return
    with pytest.raises(NoHarmonyError) as caught:
        parts_of(tune)
    assert caught.value.place is not None
