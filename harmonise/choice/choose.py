"""Chords and voicings in one optimum.

A *state* of a slot is a chord, how strong the beat was on which it began, and one of
two right-hand shapes. One exact cheapest path over these states decides everything at
once. Ties go to the chord that stands earlier in the level's palette, then to the
complete shape.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.costs import ChordCosts, chord_costs
from harmonise.choice.grid import Grid, Ints, chord_slots, cut, ticks_per_crotchet
from harmonise.choice.moves import leading_costs, shape_costs
from harmonise.choice.nonchord import name_parts, trace
from harmonise.choice.palette import Board, chosen_board, lay_out, member_of_parts
from harmonise.choice.path import Paths, best_paths, cheapest_path
from harmonise.choice.shapes import FULL_FROM, KINDS, HandNotes, RightHandManner, play
from harmonise.choice.weights import PLAIN_WEIGHTS, Weights
from harmonise.left_hand.strokes import LeftSlot
from harmonise.theory.arrangement import HarmonicRhythm, Style, Texture
from harmonise.theory.tune import Tune

INVALID = 1 << 28
"""Cost of a step between states that contradict each other."""
_CHUNK_BYTES = 400_000
"""Moves are worked out in chunks of about this size, which stay in a near cache."""
_MOST_LAYERS = 128
_KEEP_BYTES = 100_000_000
"""Moves are kept for the way back while they fit in so much memory."""
_STRENGTHS = 3


class States(NamedTuple):
    """The states of a layer: entry s of each array belongs to state s.

    Attributes:
        column: Column of the board.
        strength: Metric weight, 3 to 1, of the beat on which the chord began.
        kind: Kind of right-hand shape.
    """

    column: Ints
    strength: Ints
    kind: Ints

    @property
    def shape(self) -> Ints:
        """Number of the shape, counted chord by chord, two kinds each."""
        return self.column * KINDS + self.kind


class Choice(NamedTuple):
    """What was chosen, with all that explains it.

    Attributes:
        grid: Parts and slots.
        board: What was on offer.
        costs: What the chords cost.
        hands: What the chosen chords play, in the one column that they have.
        states: The states.
        paths: The cheapest path and the price of every detour.
        columns: Chosen column of each slot.
        kinds: Chosen kind of shape of each slot.
        first: Tick of the first chord.
        left: What the left hand plays in each slot where it does more than hold the
            bass; () where it holds it throughout.
    """

    grid: Grid
    board: Board
    costs: ChordCosts
    hands: HandNotes
    states: States
    paths: Paths
    columns: Ints
    kinds: Ints
    first: int
    left: tuple[LeftSlot, ...] = ()

    def detours(self) -> Ints:
        """Return, shape (slots, C), the extra cost of the best path with each chord."""
        detour = self.paths.detour - self.paths.cost
        width = self.board.real.shape[1]
        columns = [detour[:, self.states.column == c].min(axis=1) for c in range(width)]
        return np.stack(columns, axis=1)

    def names(self) -> NDArray[np.int8]:
        """Return the `Name` of each part under the chosen chords."""
        column = self.columns[self.grid.slot]
        rows = np.arange(len(column))
        member = member_of_parts(self.grid, self.board)[rows, column][:, None]
        before, after = np.zeros_like(member), np.zeros_like(member)
        before[1:], after[:-1] = member[:-1], member[1:]
        contour = trace(self.grid)
        return name_parts(self.grid, contour, member, before, after)[:, 0]


class Problem(NamedTuple):
    """A tune as layers of states, ready for the cheapest path.

    Attributes:
        grid: Parts and slots.
        board: What is on offer.
        costs: What the chords cost.
        hands: What each chord plays, in a register where it can be complete.
        manner: How the right hand goes along.
        raised: Whether that is another register than the tune's.
        states: The states of every layer.
        here: Shape (slots, states): cost of each state.
        moves: Moves between layers.
        first: Tick of the first chord.
    """

    grid: Grid
    board: Board
    costs: ChordCosts
    hands: HandNotes
    manner: RightHandManner
    raised: bool
    states: States
    here: NDArray[np.int64]
    moves: "ChordMoves"
    first: int


def choose(tune: Tune, style: Style, weights: Weights = PLAIN_WEIGHTS) -> Choice:
    """Return the cheapest chords and voicings under a tune.

    Args:
        tune: The tune, with at least one sounding note.
        style: What is asked for; harmonic rhythm and texture settled.
        weights: The table of weights.
    """
    problem = pose(tune, style, weights)
    paths = cheapest_path(problem.here, problem.moves)
    chosen = np.array(paths.states)
    states = problem.states
    columns = states.column[chosen]
    hands = _chosen_hands(problem, columns)
    kinds = _with_left_hand(hands, states.kind[chosen])
    return Choice(
        problem.grid, problem.board, problem.costs, hands, states, paths,
        columns, kinds, problem.first,
    )  # fmt: skip


def _chosen_hands(problem: Problem, columns: Ints) -> HandNotes:
    """Return what the chosen chords play where the tune lies."""
    if problem.raised:
        own = chosen_board(problem.board, columns)
        return play(problem.grid, own, problem.manner)
    hands = problem.hands
    at = (np.arange(len(columns)), columns)
    return hands._replace(
        inner=hands.inner[at][:, None],
        struck=hands.struck[at][:, None],
        bass=hands.bass[at][:, None],
        entry=hands.entry[at][:, None],
        leave=hands.leave[at][:, None],
    )


def choose_best(
    tune: Tune, style: Style, count: int, weights: Weights = PLAIN_WEIGHTS
) -> list[tuple[int, tuple[str, ...]]]:
    """Return the `count` cheapest ways, each with its cost and its numerals.

    The same chords in another voicing are listed once, at their cheapest.
    """
    problem = pose(tune, style, weights)
    found: dict[tuple[str, ...], int] = {}
    for cost, path in best_paths(problem.here, problem.moves, 8 * count):
        columns = problem.states.column[list(path)]
        names = tuple(
            problem.board.offer(slot, int(column)).numeral
            for slot, column in enumerate(columns)
        )
        found.setdefault(names, cost)
    return [(cost, names) for names, cost in found.items()][:count]


def pose(tune: Tune, style: Style, weights: Weights) -> Problem:
    """Return the tune as layers of states with their costs."""
    ticks = ticks_per_crotchet(tune, style.locks)
    starts, first = chord_slots(tune, style.harmonic_rhythm, ticks, style.locks)
    grid = cut(tune, starts, ticks)
    board = lay_out(tune, grid, style.level, style.locks)
    every_beat = style.harmonic_rhythm is HarmonicRhythm.BEAT
    costs = chord_costs(tune, grid, board, weights, every_beat=every_beat)
    manner = manner_of(tune, style)
    raised = _raised(grid)
    hands = play(raised, board, manner)
    states = _states(grid, board)
    here = _here(grid, costs, hands, states, weights)
    end_on_tonic(tune, board, states, here, weights)
    moves = ChordMoves(grid, costs, hands, _WeightRules(states, weights))
    return Problem(
        grid, board, costs, hands, manner, raised is not grid, states, here, moves,
        first,
    )  # fmt: skip


def _raised(grid: Grid) -> Grid:
    """Return the parts in a register where every chord can be complete.

    There the ways of the hands are judged, so that the same tune gets the same chords
    in every key; in its own register low notes carry fewer.
    """
    lowest = int(grid.midi[grid.midi >= 0].min())
    octaves = -(-(FULL_FROM - lowest) // 12)
    if octaves <= 0:
        return grid
    up = np.where(grid.midi >= 0, grid.midi + 12 * octaves, grid.midi)
    return grid._replace(midi=up.astype(grid.midi.dtype))


def _with_left_hand(hands: HandNotes, kinds: Ints) -> Ints:
    """Return the kinds of shapes, another where only that leaves the left hand room."""
    slots = np.arange(len(kinds))
    here = hands.bass[slots, 0, kinds] >= 0
    other = hands.bass[slots, 0, 1 - kinds] >= 0
    return np.where(~here & other, 1 - kinds, kinds)


def manner_of(tune: Tune, style: Style) -> RightHandManner:
    """Return how the right hand goes along with a tune in a settled style."""
    pace = tune.tempos[0].per_minute * tune.tempos[0].beat if tune.tempos else 0
    return RightHandManner(style.texture is Texture.BLOCK, pace > 100, style.span)


def end_on_tonic(
    tune: Tune, board: Board, states: States, here: Ints, weights: Weights
) -> None:
    """Ask for the tonic at the end of a tune that ends on 1 or 3 (common practice)."""
    pitch, last = tune.sounding[-1].pitch, int(board.stretch[-1])
    if pitch and board.keys[last].degree(pitch.name) in ((1, 0), (3, 0)):
        tonic = tonics(board)[last][states.column]
        here[-1] += np.where(tonic, 0, weights.not_tonic_last)


def tonics(board: Board) -> NDArray[np.bool_]:
    """Return, shape (stretches, C), where the tonic triad stands in root position."""
    table = np.zeros(board.real.shape, np.bool_)
    for at, row in enumerate(board.offers):
        table[at, : len(row)] = [offer.numeral in ("I", "i") for offer in row]
    return table


def line_ends(tune: Tune, grid: Grid, board: Board) -> Iterator[tuple[int, int]]:
    """Yield slot and degree of the last note of every line but the last."""
    for end in tune.phrases[:-1]:
        inside = np.flatnonzero((grid.start < int(end * grid.ticks)) & (grid.midi >= 0))
        if not len(inside):
            continue
        last = grid.note[inside[-1]]
        part = inside[np.argmax(grid.note[inside] == last)]
        pitch = tune.notes[grid.note[part]].pitch
        if pitch is None:
            continue
        slot = int(grid.slot[part])
        degree, alter = board.keys[board.stretch[slot]].degree(pitch.name)
        if not alter or degree == 7:
            yield slot, degree


@lru_cache(maxsize=64)
def _state_list(width: int, strengths: tuple[int, ...]) -> States:
    rows = [
        (column, strength, kind)
        for column in range(width)
        for strength in strengths
        for kind in range(KINDS)
    ]
    column, strength, kind = map(np.array, zip(*rows, strict=True))
    return States(column, strength, kind)


def _states(grid: Grid, board: Board) -> States:
    found = {_STRENGTHS, *grid.slot_weight.tolist()}
    return _state_list(board.real.shape[1], tuple(sorted(found, reverse=True)))


def _here(
    grid: Grid, costs: ChordCosts, hands: HandNotes, states: States, weights: Weights
) -> NDArray[np.int64]:
    """Return the cost of each state by itself."""
    shape = shape_costs(hands, weights).reshape(grid.slots, -1)
    here: NDArray[np.int64] = costs.here[:, states.column] + shape[:, states.shape]
    here[0] += np.where(states.strength == _STRENGTHS, 0, INVALID)
    return here


class ChordMoves:
    """The moves between layers, worked out a chunk at a time to bound memory."""

    def __init__(
        self,
        grid: Grid,
        costs: ChordCosts,
        hands: HandNotes,
        rules: "_WeightRules",
    ) -> None:
        """Keep what moves depend on; nothing is worked out yet."""
        self._grid, self._costs, self._hands = grid, costs, hands
        self._rules = rules
        states, width = rules.states, costs.here.shape[1]
        self._chords = states.column[:, None] * width + states.column
        self._shapes = states.shape[:, None] * (width * KINDS) + states.shape
        size = grid.slots * len(states.column) ** 2 * 4
        chunk = _CHUNK_BYTES // (4 * len(states.column) ** 2)
        self._chunk = max(16, min(_MOST_LAYERS, chunk))
        self._kept: dict[int, NDArray[np.int32]] = {}
        self._most = grid.slots if size <= _KEEP_BYTES else 1

    def __call__(self, layer: int) -> NDArray[np.int32]:
        """Return the cost of every move into a layer from the one before."""
        number, at = divmod(layer - 1, self._chunk)
        if number not in self._kept:
            if len(self._kept) >= self._most:
                self._kept.clear()
            first = number * self._chunk + 1
            last = min(self._grid.slots, first + self._chunk)
            self._kept[number] = self._work_out(first, last)
        found: NDArray[np.int32] = self._kept[number][at]
        return found

    def _work_out(self, first: int, last: int) -> NDArray[np.int32]:
        size = last - first
        step = self._costs.step[first:last].reshape(size, -1)
        lead = leading_costs(self._hands, self._rules.weights, first, last)
        moves = step[:, self._chords]
        moves += lead.reshape(size, -1)[:, self._shapes]
        moves += self._rules.tables(self._grid.slot_weight[first:last])
        return moves


class _WeightRules:
    """Which states may follow one another, and what that costs, by metric weight."""

    def __init__(self, states: States, weights: Weights) -> None:
        self.states, self.weights = states, weights
        made = [self._make(weight) for weight in range(_STRENGTHS + 1)]
        self._known = np.stack(made)

    def tables(self, slot_weights: Ints) -> NDArray[np.int32]:
        """Return the tables of slots with these metric weights."""
        found: NDArray[np.int32] = self._known[slot_weights]
        return found

    def _make(self, weight: int) -> NDArray[np.int32]:
        s = self.states
        new = s.column[:, None] != s.column
        before, here = s.strength[:, None], s.strength
        stays = np.where(before >= weight, before == here, here == weight)
        valid = np.where(new, here == weight, stays)
        table = np.where(~new & (before < weight), self.weights.syncopation, 0)
        return np.where(valid, table, INVALID).astype(np.int32)
