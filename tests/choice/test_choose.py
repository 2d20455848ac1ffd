"""The choice as a whole: exact, lawful, and right where there is one right answer."""

from fractions import Fraction
from itertools import pairwise, product

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers.profiles import examples
from makers.tunes import tunes
from oracles.every_path import every_cost

from harmonise.choice.choose import Choice, choose, pose, solved
from harmonise.choice.nonchord import Name
from harmonise.choice.palette import member_of_parts
from harmonise.choice.weights import PLAIN_WEIGHTS, Weights
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import HarmonicRhythm, Style, Texture
from harmonise.theory.tune import Tune

STYLES = st.tuples(
    st.integers(1, 4),
    st.sampled_from([HarmonicRhythm.BAR, HarmonicRhythm.HALF_BAR, HarmonicRhythm.BEAT]),
    st.sampled_from([Texture.BLOCK, Texture.HELD]),
).map(lambda row: Style(*row))


@given(tunes(most_notes=3), st.integers(1, 2))
@settings(max_examples=examples(600), deadline=None, derandomize=True)
def test_no_choice_under_a_short_tune_is_cheaper(tune: Tune, level: int) -> None:
    style = Style(level, HarmonicRhythm.BAR, Texture.HELD)
    problem = pose(tune, style, PLAIN_WEIGHTS)
    layers, width = problem.here.shape
    if width**layers > 10_000:
        return
    moves = [problem.moves(u) for u in range(1, layers)]
    costs = every_cost(list(problem.here), moves)
    # Bars alike have equal chords.
    columns = problem.states.column[np.indices(costs.shape)]
    lawful = (columns == columns[problem.grid.alike]).all(axis=0)
    assert solved(tune, problem).paths.cost == costs[lawful].min()


@given(tunes(most_notes=40), STYLES)
@settings(max_examples=examples(200), deadline=None, derandomize=True)
def test_the_choice_costs_what_networkx_finds(tune: Tune, style: Style) -> None:
    style = style._replace(level=min(style.level, 2))
    problem = pose(tune, style, PLAIN_WEIGHTS)
    layers, width = problem.here.shape
    lift = 1 << 20  # Dijkstra's method asks for weights that are not negative.
    graph = nx.DiGraph()
    for s in range(width):
        graph.add_edge("start", (0, s), weight=int(problem.here[0, s]))
        graph.add_edge((layers - 1, s), "end", weight=0)
    for u in range(1, layers):
        into = problem.moves(u).astype(np.int64) + problem.here[u]
        for r, s in product(range(width), repeat=2):
            graph.add_edge((u - 1, r), (u, s), weight=int(into[r, s]) + lift)
    length = nx.dijkstra_path_length(graph, "start", "end") - lift * (layers - 1)
    cost = solved(tune, problem).paths.cost
    # Bars alike have equal chords, which may cost more than the cheapest path.
    tied = (problem.grid.alike != np.arange(layers)).any()
    assert cost == length or (tied and cost > length)


def scalar_names(  # noqa: C901 (the rules stand side by side, as in a textbook)
    tune: Tune, choice: Choice
) -> list[Name]:
    """Name every part by the sentences of common practice, one note at a time."""
    grid = choice.grid
    parts = range(len(grid.slot))
    chords = [
        choice.menu.offer(int(slot), int(choice.columns[slot])).chord
        for slot in grid.slot
    ]
    pitch = [tune.notes[note].pitch for note in grid.note]

    def good(i: int) -> bool:
        own = pitch[i]
        return own is None or own.pitch_class in chords[i].pitch_classes

    def step(i: int, j: int) -> int:
        if not (0 <= i < len(pitch) and 0 <= j < len(pitch)):
            return 0
        first, second = pitch[i], pitch[j]
        if first is None or second is None:
            return 0
        letters = second.staff_step - first.staff_step
        size = abs(second.midi - first.midi)
        return letters if abs(letters) == 1 and size in (1, 2) else 0

    def same(i: int, j: int) -> bool:
        if not (0 <= i < len(pitch) and 0 <= j < len(pitch)):
            return False
        first, second = pitch[i], pitch[j]
        return first is not None and second is not None and first.midi == second.midi

    def run(i: int, way: int) -> bool:
        """Whether i is the first (way 1) or second (way -1) of a double passing."""
        ends = [i - way, i, i + way, i + 2 * way]
        if not all(0 <= e < len(pitch) for e in ends):
            return False
        inner = [grid.slot[e] for e in (i, i + way, i + 2 * way)]
        if len(set(inner)) > 1 or good(i + way) or not good(i + 2 * way):
            return False
        steps = {step(min(a, b), max(a, b)) for a, b in pairwise(ends)}
        return len(steps) == 1 and 0 not in steps

    def name(i: int) -> Name:  # noqa: C901, PLR0911 (one line a rule)
        if good(i):
            return Name.CHORD_NOTE
        into, out = step(i - 1, i), step(i, i + 1)
        before = i > 0 and good(i - 1)
        after = i + 1 < len(pitch) and good(i + 1)
        strong = grid.order[i] == 0
        if into and into == out:
            if before and after:
                return Name.PASSING
            if (before and run(i, 1)) or (after and run(i, -1)):
                return Name.PASSING
        if into and into == -out and before and after:
            return Name.NEIGHBOUR
        if strong:
            if same(i - 1, i) and before and out == -1 and after:
                return Name.SUSPENSION
            if out and after and grid.slot[i] == grid.slot[i + 1]:
                return Name.APPOGGIATURA
            return Name.UNEXPLAINED
        if same(i, i + 1) and after and grid.length[i] <= grid.beat[i]:
            return Name.ANTICIPATION
        if (into and before) or (out and after):
            return Name.ESCAPE
        return Name.UNEXPLAINED

    return [name(i) for i in parts]


@given(tunes(most_notes=40), STYLES)
@settings(max_examples=examples(300), deadline=None, derandomize=True)
def test_every_note_gets_the_name_of_common_practice(tune: Tune, style: Style) -> None:
    choice = choose(tune, style)
    assert [Name(n) for n in choice.names()] == scalar_names(tune, choice)


WEIGHTS = st.tuples(
    *[st.integers(-2000, 9000)] * len(Weights._fields),
).map(lambda row: Weights(*row))


@given(WEIGHTS)
@settings(max_examples=examples(100), deadline=None, derandomize=True)
def test_where_one_answer_is_left_it_comes_out_whatever_the_weights(
    weights: Weights,
) -> None:
    # Common practice: at level 1 each of 2, 3, 4, 6 and 7 is in one primary chord only.
    tune = parse_tune_text("Key: C\nE - - - | F - - - | D - - - | B - - - | E - - -")[0]
    choice = choose(tune, Style(1, HarmonicRhythm.BAR, Texture.HELD), weights)
    names = [choice.menu.offer(u, int(c)).numeral for u, c in enumerate(choice.columns)]
    assert names == ["I", "IV", "V", "V", "I"]


@given(tunes(most_notes=30), STYLES)
@settings(max_examples=examples(200), deadline=None, derandomize=True)
def test_a_broken_hard_rule_means_that_no_chord_of_the_level_keeps_it(
    tune: Tune, style: Style
) -> None:
    choice = choose(tune, style)
    real = choice.menu.real[choice.menu.stretch]
    for u in range(choice.grid.slots):
        if not choice.costs.fits[u, choice.columns[u]]:
            assert not (choice.costs.fits[u] & real[u]).any()


@given(tunes(most_notes=30))
@settings(max_examples=examples(150), deadline=None, derandomize=True)
def test_chord_a_beat_puts_the_beats_note_into_every_chord(tune: Tune) -> None:
    style = Style(3, HarmonicRhythm.BEAT, Texture.BLOCK)
    choice = choose(tune, style)
    member = member_of_parts(choice.grid, choice.menu)
    for part in np.flatnonzero(choice.grid.order == 0):
        slot = choice.grid.slot[part]
        if choice.costs.fits[slot].any():
            assert member[part, choice.columns[slot]]


@given(tunes(most_notes=20), STYLES)
@settings(max_examples=examples(60), deadline=None, derandomize=True)
def test_a_detour_costs_what_locking_its_chord_costs(tune: Tune, style: Style) -> None:
    choice = choose(tune, style)
    if (choice.grid.alike != np.arange(choice.grid.slots)).any():
        return
    detours = choice.detours()
    slot = choice.grid.slots // 2
    for column in range(detours.shape[1]):
        problem = pose(tune, style, PLAIN_WEIGHTS)
        # Spare slots that the choice did without count to the slot before them.
        begin, end = choice.grid.slot_start[slot : slot + 2]
        starts = problem.grid.slot_start[:-1]
        inside = (starts >= begin) & (starts < end)
        others = problem.states.column != column
        problem.here[np.ix_(inside, others)] += 1 << 40
        from harmonise.choice.path import cheapest_path  # noqa: PLC0415

        forced = cheapest_path(problem.here, problem.moves).cost
        assert forced - choice.paths.cost == detours[slot, column]


EXPECTED = [
    # Our own tunes; their chords follow from the rules of common practice.
    pytest.param(
        "Key: C\nE E G E | D D B3 - | C E G C5 | B A G - |\n"
        "A A C5 A | G E C E | D.E D B3 D | C - - 0 |",
        HarmonicRhythm.HALF_BAR,
        "I I V V I I V V IV IV I I V V I",
        id="two chords a bar",
    ),
    pytest.param(
        "Key: C\nE E G E | D D B3 - | C E G C5 | B A G - |\n"
        "A A C5 A | G E C E | D.E D B3 D | C - - 0 |",
        HarmonicRhythm.BAR,
        "I V I V IV I V I",
        id="one chord a bar",
    ),
    pytest.param(
        "Key: D\n1 2 3 1 | 4 4 6 - |\n5 4 3 1 | 2 2 5, - |\n"
        "1 2 3 1 | 4 6 1' - |\n7 5 4 2 | 1 - - - |",
        HarmonicRhythm.BAR,
        "I IV I V I IV V I",
        id="numbers in D",
    ),
    pytest.param(
        "Key: C\nTime: 6/8\nC - - C - - | C - D E - - | E - D E - F | G - - - - - |\n"
        "C5 C5 C5 G G G | E E E C C C | G - F E - D | C - - - - - |",
        HarmonicRhythm.BAR,
        "I I I V I I V I",
        id="a round in 6/8",
    ),
    pytest.param(
        "Key: D dorian\nA A.A A A.A | A D F A | G G.G G G.G | G C E G |\n"
        "A A.A A A.A | A B C5 D5 | C5 A G E | D - D - |",
        HarmonicRhythm.BAR,
        "i i IV VII i i VII i",
        id="a dorian shanty",
    ),
]


@pytest.mark.parametrize(("text", "rhythm", "expected"), EXPECTED)
def test_a_plain_tune_gets_its_plain_chords(
    text: str, rhythm: HarmonicRhythm, expected: str
) -> None:
    tune = parse_tune_text(text)[0]
    choice = choose(tune, Style(1, rhythm, Texture.HELD))
    names = [choice.menu.offer(u, int(c)).numeral for u, c in enumerate(choice.columns)]
    assert " ".join(names) == expected


def test_a_lock_wins_over_every_rule() -> None:
    text = "Key: C\nE - - - | F - - - | D - - - | C - - -\nChords: C | V/V | ? | ii"
    tune = parse_tune_text(text)[0]
    style = Style(1, HarmonicRhythm.BAR, Texture.HELD, locks=tune.locks)
    choice = choose(tune, style)
    symbols = [
        choice.menu.offer(u, int(c)).chord.symbol for u, c in enumerate(choice.columns)
    ]
    assert symbols[:2] == ["C", "D"]
    assert symbols[3] == "Dm"
    assert choice.menu.locked.tolist() == [True, True, False, True]


def test_a_lock_inside_a_slot_begins_a_slot_of_its_own() -> None:
    text = "Key: C\nE E E E | C - - -"
    tune = parse_tune_text(text)[0]
    from harmonise.theory.chord import parse_symbol  # noqa: PLC0415
    from harmonise.theory.tune import ChordAt  # noqa: PLC0415

    lock = ChordAt(Fraction(1), Fraction(2), parse_symbol("Am"))
    style = Style(1, HarmonicRhythm.BAR, Texture.HELD, locks=(lock,))
    choice = choose(tune, style)
    symbols = [
        choice.menu.offer(u, int(c)).chord.symbol for u, c in enumerate(choice.columns)
    ]
    assert symbols[1] == "Am"
    assert choice.grid.slot_start.tolist()[1:3] == [
        choice.grid.ticks,
        2 * choice.grid.ticks,
    ]
