"""Equal bars at equal places have equal chords, and no such chords are cheaper.

Which bars those are is said again here in plain words (H20, common practice): bars of
the same notes of which the next bars are the same too, and all bars of a section that
comes again.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.corpus import tunes_of
from makers.profiles import examples

from harmonise.arranging.job import arrange
from harmonise.choice.choose import Problem, choose, pose
from harmonise.choice.shared_costs import alike_steps, kept_alike, shared
from harmonise.choice.weights import PLAIN_WEIGHTS
from harmonise.notation.formats import parse_tunes, read_tune
from harmonise.theory.arrangement import Arrangement, HarmonicRhythm, Style, Texture
from harmonise.theory.phrases import sections_of
from harmonise.theory.tune import Tune

TUNES = sorted((Path(__file__).parents[2] / "tunes").iterdir())


def notes_of(tune: Tune, bar: int) -> list[tuple[Fraction, Fraction, str]]:
    start, end = tune.bars[bar].start, tune.bars[bar].end
    return [
        (max(note.onset, start) - start, min(note.end, end) - start, str(note.pitch))
        if note.onset >= start
        else (Fraction(-1), min(note.end, end) - start, str(note.pitch))
        for note in tune.notes
        if note.onset < end and note.end > start
    ]


def pairs_alike(tune: Tune) -> Iterator[tuple[int, int]]:
    """Yield the pairs of bars that must have equal chords, one bar after the other."""
    bars = range(len(tune.bars))
    notes = [notes_of(tune, bar) for bar in bars]
    signs = [(b.time, b.offset, b.length, tune.key_at(b.start)) for b in tune.bars]
    whole = [*zip(notes, signs, strict=True)]
    sections: dict[int, list[int]] = {}
    for bar, section in enumerate(sections_of(tune)):
        sections.setdefault(section, []).append(bar)
    for one, other in product(bars, bars):
        if (
            one < other < len(bars) - 1
            and whole[one : one + 2] == whole[other : other + 2]
        ):
            yield one, other
    for first, second in product(sections.values(), sections.values()):
        if first < second and [whole[b] for b in first] == [whole[b] for b in second]:
            yield from zip(first, second, strict=True)


def chords_in(done: Arrangement, bar: int) -> dict[Fraction, str]:
    """Return the chord of each slot of a bar by its place in the bar."""
    start, end = done.tune.bars[bar].start, done.tune.bars[bar].end
    found: dict[Fraction, str] = {}
    for slot in done.slots:
        if slot.chord and start <= slot.onset < end:
            found[slot.onset - start] = str(slot.chord)
    return found


def assert_law(done: Arrangement) -> int:
    """See that bars alike have equal chords; return how many pairs there are."""
    count = 0
    for one, other in pairs_alike(done.tune):
        first, second = chords_in(done, one), chords_in(done, other)
        begin = max(min(first, default=Fraction(0)), min(second, default=Fraction(0)))
        for at in {*first, *second}:
            if first and second and at >= begin:
                here = [row[max(t for t in row if t <= at)] for row in (first, second)]
                assert here[0] == here[1], (done.tune.title, one, other, at)
        count += 1
    return count


@pytest.mark.parametrize("level", [1, 3])
def test_our_tunes_keep_the_law(level: int) -> None:
    tunes = map(read_tune, TUNES)
    done = [arrange(tune, Style(level), explained=False) for tune in tunes]
    assert sum(map(assert_law, done)) > 5


def test_old_tunes_keep_the_law() -> None:
    # Ryan's Mammoth Collection and Aird's Airs, as music21 carries them.
    tunes = [*tunes_of("ryansMammoth", 60, 10), *tunes_of("airdsAirs", 60, 10)]
    done = [arrange(tune, Style(4), explained=False) for tune in tunes]
    assert sum(map(assert_law, done)) > 20


def test_hymns_keep_the_law_with_their_basses() -> None:
    line = "C5 B A G | A B C5 - | G F E D | C5 A G -"
    text = f"Key: C\n{line} |\n{line} |\nA B C5 A | G - - -"
    (tune,) = parse_tunes(text.encode())
    for level in (1, 4):
        done = arrange(tune, Style(level, HarmonicRhythm.BEAT, Texture.HYMN))
        assert assert_law(done) >= 3


FIGURES = ("C E G E", "G - G -", "A F D F", "C5 - B A", "D - G -", "E D C -")
WAYS = st.lists(st.integers(0, 3), min_size=3, max_size=6)


@st.composite
def patchworks(draw: st.DrawFn) -> Tune:
    """A tune patched together of a few bars that come again and again."""
    figures = draw(st.permutations(FIGURES))
    bars = [figures[number] for number in draw(WAYS)]
    signs = [draw(st.sampled_from([" | ", " | ", " || "])) for _ in bars]
    body = "".join(bar + sign for bar, sign in zip(bars, signs, strict=True))
    return parse_tunes(f"Key: {draw(st.sampled_from('CFG'))}\n{body}C - - -".encode())[
        0
    ]


def least(problem: Problem, columns: dict[int, int]) -> int:
    """Return the cheapest cost with the chord of some groups of slots given."""
    states: list[int] = problem.states.column.tolist()
    alike: list[int] = problem.grid.alike.tolist()
    here: list[list[int]] = problem.here.tolist()

    def open_states(slot: int) -> list[int]:
        asked = columns.get(alike[slot])
        return [s for s, column in enumerate(states) if asked in (None, column)]

    costs = {s: here[0][s] for s in open_states(0)}
    for slot in range(1, len(here)):
        moves: list[list[int]] = problem.moves(slot).tolist()
        costs = {
            s: here[slot][s] + min(costs[r] + moves[r][s] for r in costs)
            for s in open_states(slot)
        }
    return min(costs.values())


@given(patchworks(), st.sampled_from([HarmonicRhythm.BAR, HarmonicRhythm.HALF_BAR]))
@settings(max_examples=examples(30), deadline=None, derandomize=True)
def test_no_chords_that_keep_the_law_are_cheaper(
    tune: Tune, rhythm: HarmonicRhythm
) -> None:
    style = Style(1, rhythm, Texture.HELD)
    problem = pose(tune, style, PLAIN_WEIGHTS)
    alike = problem.grid.alike.tolist()
    tied = sorted({group for group in alike if alike.count(group) > 1})
    choice = choose(tune, style)
    rows = zip(choice.grid.alike.tolist(), choice.columns.tolist(), strict=True)
    assert len({*rows}) == len({*choice.grid.alike.tolist()})
    if len(tied) <= 5:
        ways = product(range(3), repeat=len(tied))
        costs = [least(problem, dict(zip(tied, way, strict=True))) for way in ways]
        assert choice.paths.cost - choice.gap <= min(costs) <= choice.paths.cost
        assert choice.gap == 0


@given(patchworks())
@settings(max_examples=examples(30), deadline=None, derandomize=True)
def test_patched_tunes_keep_the_law(tune: Tune) -> None:
    assert_law(arrange(tune, Style(2)))


def test_a_section_again_has_the_chords_of_the_section_alone() -> None:
    section = "C E G E | A G F D | G - A B | C5 - - - ||\n"
    once = arrange(parse_tunes(f"Key: C\n{section}".encode())[0])
    twice = arrange(parse_tunes(f"Key: C\n{section}{section}".encode())[0])
    for bar in range(4):
        alone = [*dict.fromkeys(chords_in(once, bar).values())]
        assert [*dict.fromkeys(chords_in(twice, bar).values())] == alone
        assert [*dict.fromkeys(chords_in(twice, bar + 4).values())] == alone


def test_a_locked_bar_leaves_its_likes_alone() -> None:
    bars = "C E G E | D F D - | C E G E | D F D -"
    (tune,) = parse_tunes(f"Key: C\n{bars} |\nChords: ? | ? | Am | ?\nC - - -".encode())
    done = arrange(tune, Style(3, HarmonicRhythm.BAR, locks=tune.locks))
    free = arrange(tune._replace(locks=()), Style(3, HarmonicRhythm.BAR))
    names = [str(slot.chord) for slot in done.slots]
    assert names[2] == "Am"
    assert names[0] == str(free.slots[0].chord) != "Am"


def test_a_close_makes_room_in_every_bar_alike() -> None:
    # In 3/4 a chord lasts the bar; only the last beat before a line's end is free. Bar
    # 3 is no such bar, but bar 7 is, and both must have the same chords.
    text = "Key: C\nTime: 3/4\n" + "C E G | F - D | C5 A B | C5 - - | " * 2
    (tune,) = parse_tunes(text.encode())
    done = arrange(tune, Style(1))
    assert chords_in(done, 2) == chords_in(done, 6)
    assert chords_in(done, 2)[Fraction(2)] == "G"
    assert_law(done)


def test_costs_are_shared_evenly_and_rounded_down() -> None:
    groups = np.array([0, 1, 0, 3, 1])
    costs = np.array([[1, -4], [5, 5], [4, -1], [7, 7], [5, 6]])
    assert shared(costs, groups).tolist() == [[2, -3], [5, 5], [2, -3], [7, 7], [5, 5]]
    parts = np.array([0.5, 1.0, 1.0, 2.0, 4.0])
    assert shared(parts, groups).tolist() == [0.75, 2.5, 0.75, 2.0, 2.5]


def test_steps_are_alike_between_slots_alike() -> None:
    alike, fresh = np.array([0, 1, 2, 0, 1, 2]), np.zeros(6, np.bool_)
    assert alike_steps(alike, fresh).tolist() == [0, 1, 2, 3, 1, 2]
    fresh[4] = True
    assert alike_steps(alike, fresh).tolist() == [0, 1, 2, 3, 4, 2]


def test_slots_alike_are_known_by_those_that_stay() -> None:
    alike = np.array([0, 1, 2, 0, 1, 2])
    kept = np.array([True, False, True, True, False, True])
    assert kept_alike(alike, kept).tolist() == [0, 1, 0, 1]
    kept[2] = False
    assert kept_alike(alike, kept).tolist() == [0, 0, 2]
