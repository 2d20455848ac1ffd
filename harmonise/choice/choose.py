"""Chords and voicings in one optimum.

A *state* of a slot is a chord, how strong the beat was on which it began, whether it is
already the closing tonic, and one of two right-hand shapes. One exact cheapest path
over these states decides everything at once. Ties go to the chord that stands earlier
in the level's palette, then to the complete shape.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.board import Board, lay_out, member_of_parts
from harmonise.choice.costs import PLAIN_WEIGHTS, ChordCosts, Weights, chord_costs
from harmonise.choice.grid import Grid, Ints, cut
from harmonise.choice.leading import leading_costs, shape_costs
from harmonise.choice.nonchord import name_parts, trace
from harmonise.choice.path import Paths, best_paths, cheapest_path
from harmonise.choice.rhythm import chord_slots, ticks_per_crotchet
from harmonise.choice.shapes import KINDS, Hands, Manner, play
from harmonise.theory.arrangement import HarmonicRhythm, Style, Texture
from harmonise.theory.tune import Tune

INVALID = 1 << 28
"""Cost of a step between states that contradict each other."""
_CHUNK = 128
_KEEP_BYTES = 100_000_000
"""Moves are kept for the way back while they fit in so much memory."""
_STRENGTHS = 3


class States(NamedTuple):
    """The states of a layer: entry s of each array belongs to state s.

    Attributes:
        column: Column of the board.
        strength: Metric weight, 3 to 1, of the beat on which the chord began.
        closing: Whether it is the closing tonic.
        kind: Kind of right-hand shape.
    """

    column: Ints
    strength: Ints
    closing: NDArray[np.bool_]
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
        hands: What each chord would play.
        states: The states.
        paths: The cheapest path and the price of every detour.
        columns: Chosen column of each slot.
        kinds: Chosen kind of shape of each slot.
        first: Tick of the first chord.
    """

    grid: Grid
    board: Board
    costs: ChordCosts
    hands: Hands
    states: States
    paths: Paths
    columns: Ints
    kinds: Ints
    first: int

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
        hands: What each chord plays.
        states: The states of every layer.
        here: Shape (slots, states): cost of each state.
        moves: Moves between layers.
        first: Tick of the first chord.
    """

    grid: Grid
    board: Board
    costs: ChordCosts
    hands: Hands
    states: States
    here: NDArray[np.int64]
    moves: "Steps"
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
    return Choice(
        problem.grid, problem.board, problem.costs, problem.hands, states, paths,
        states.column[chosen], states.kind[chosen], problem.first,
    )  # fmt: skip


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
    costs = chord_costs(grid, board, weights, every_beat=every_beat)
    costs = _with_form(tune, grid, board, costs, weights)
    hands = play(grid, board, _manner(tune, style))
    states = _states(grid, board)
    here = _here(grid, costs, hands, states, weights)
    rules = _Rules(states, board, weights)
    moves = Steps(grid, costs, hands, rules, _late(tune, grid))
    return Problem(grid, board, costs, hands, states, here, moves, first)


def _manner(tune: Tune, style: Style) -> Manner:
    pace = tune.tempos[0].per_minute * tune.tempos[0].beat if tune.tempos else 0
    return Manner(style.texture is Texture.BLOCK, pace > 100, style.span)


def _with_form(
    tune: Tune, grid: Grid, board: Board, costs: ChordCosts, weights: Weights
) -> ChordCosts:
    """Add what the beginning and the ends of lines ask for."""
    form = costs.form.copy()
    tonic = _tonics(board)[board.stretch]
    first = int(np.argmax(grid.slot_weight == _STRENGTHS))
    if (tonic[first] & costs.fits[first]).any():
        form[first] += np.where(tonic[first], 0, weights.not_tonic_first)
    for slot, degree in line_ends(tune, grid, board):
        row = board.offers[int(board.stretch[slot])]
        wanted = _WANTED.get(degree)
        if wanted:
            names, weight = wanted
            extra = getattr(weights, weight)
            form[slot, : len(row)] += [
                0 if offer.family in names else extra for offer in row
            ]
    return costs._replace(here=costs.here + form, form=form)


_WANTED = {
    1: (("I", "i", "vi", "VI"), "rested_line"),
    2: (("V", "VII", "v"), "open_line"),
    3: (("I", "i", "vi", "III"), "rested_line"),
    5: (("V", "I", "i", "v", "III"), "rested_line"),
    7: (("V", "VII", "v", "III"), "open_line"),
}
"""Chords that a line may end on, by the degree of its last note."""


def _tonics(board: Board) -> NDArray[np.bool_]:
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


def _late(tune: Tune, grid: Grid) -> NDArray[np.bool_]:
    """Return which slots lie more than two bars before the end."""
    last = len(tune.bars) - 1
    found: NDArray[np.bool_] = grid.slot_bar < last - 2
    return found


@lru_cache(maxsize=64)
def _state_list(
    width: int, tonics: tuple[int, ...], strengths: tuple[int, ...]
) -> States:
    columns = [(column, False) for column in range(width)]
    columns += [(column, True) for column in tonics]
    rows = [
        (column, strength, closing, kind)
        for column, closing in columns
        for strength in strengths
        for kind in range(KINDS)
    ]
    column, strength, closing, kind = map(np.array, zip(*rows, strict=True))
    return States(column, strength, closing, kind)


def _states(grid: Grid, board: Board) -> States:
    columns = tuple(np.flatnonzero(_tonics(board).any(axis=0)).tolist())
    found = {_STRENGTHS, *grid.slot_weight.tolist()}
    return _state_list(board.real.shape[1], columns, tuple(sorted(found, reverse=True)))


def _here(
    grid: Grid, costs: ChordCosts, hands: Hands, states: States, weights: Weights
) -> NDArray[np.int64]:
    """Return the cost of each state by itself, with the two ends of the path."""
    shape = shape_costs(hands, weights).reshape(grid.slots, -1)
    here: NDArray[np.int64] = costs.here[:, states.column] + shape[:, states.shape]
    here[0] += np.where(states.strength == _STRENGTHS, 0, INVALID)
    here[0] += np.where(states.closing, weights.late_dominant, 0)
    here[-1] += np.where(states.closing, 0, weights.not_tonic_last)
    return here


class Steps:
    """The moves between layers, worked out a chunk at a time to bound memory."""

    def __init__(
        self,
        grid: Grid,
        costs: ChordCosts,
        hands: Hands,
        rules: "_Rules",
        late: NDArray[np.bool_],
    ) -> None:
        """Keep what moves depend on; nothing is worked out yet."""
        self._grid, self._costs, self._hands = grid, costs, hands
        self._rules, self._late = rules, late
        states, width = rules.states, rules.board.real.shape[1]
        self._chords = states.column[:, None] * width + states.column
        self._shapes = states.shape[:, None] * (width * KINDS) + states.shape
        size = grid.slots * len(states.column) ** 2 * 4
        self._kept: dict[int, NDArray[np.int32]] = {}
        self._most = grid.slots if size <= _KEEP_BYTES else 1

    def __call__(self, layer: int) -> NDArray[np.int32]:
        """Return the cost of every move into a layer from the one before."""
        number, at = divmod(layer - 1, _CHUNK)
        if number not in self._kept:
            if len(self._kept) >= self._most:
                self._kept.clear()
            first = number * _CHUNK + 1
            last = min(self._grid.slots, first + _CHUNK)
            self._kept[number] = self._work_out(first, last)
        found: NDArray[np.int32] = self._kept[number][at]
        return found

    def _work_out(self, first: int, last: int) -> NDArray[np.int32]:
        size = last - first
        step = self._costs.step[first:last].reshape(size, -1)
        lead = leading_costs(self._hands, self._rules.weights, first, last)
        moves = step[:, self._chords]
        moves += lead.reshape(size, -1)[:, self._shapes]
        moves += self._rules.tables(self._grid, self._late, first, last)
        return moves


class _Rules:
    """Which states may follow one another, and what that costs, by metric weight."""

    def __init__(self, states: States, board: Board, weights: Weights) -> None:
        self.states, self.board, self.weights = states, board, weights
        self._tonic = _tonics(board)
        self._known: dict[tuple[int, int, bool], NDArray[np.int32]] = {}

    def tables(
        self, grid: Grid, late: NDArray[np.bool_], first: int, last: int
    ) -> NDArray[np.int32]:
        """Return the tables of the slots from first up to last, one after the other."""
        keys = list(
            zip(
                self.board.stretch[first:last].tolist(),
                grid.slot_weight[first:last].tolist(),
                late[first:last].tolist(),
                strict=True,
            )
        )
        known = {key: number for number, key in enumerate(dict.fromkeys(keys))}
        stack = np.stack([self.of(*key[:2], late=key[2]) for key in known])
        found: NDArray[np.int32] = stack[[known[key] for key in keys]]
        return found

    def of(self, stretch: int, weight: int, *, late: bool) -> NDArray[np.int32]:
        """Return the table for a stretch, a metric weight, near or far from the end."""
        key = (stretch, weight, late)
        if key not in self._known:
            self._known[key] = self._make(*key)
        return self._known[key]

    def _make(self, stretch: int, weight: int, late: bool) -> NDArray[np.int32]:  # noqa: FBT001
        s, w = self.states, self.weights
        new = s.column[:, None] != s.column
        before, here = s.strength[:, None], s.strength
        stays = np.where(before >= weight, before == here, here == weight)
        valid = np.where(new, here == weight, stays)
        table = np.where(new, w.change_at_bar if weight == 3 else w.change_inside, 0)
        table += np.where(~new & (before < weight), w.syncopation, 0)
        closing_before, closing = s.closing[:, None], s.closing
        enters = closing & ~closing_before
        tonic = self._tonic[stretch][s.column]
        valid &= ~closing_before | closing
        valid &= ~closing | tonic
        valid &= ~enters | ~tonic[:, None]
        table += np.where(enters, self._close(stretch)[s.column][:, None], 0)
        table += np.where(enters & late, w.late_dominant, 0)
        return np.where(valid, table, INVALID).astype(np.int32)

    def _close(self, stretch: int) -> Ints:
        """Return what closing costs after each chord."""
        key = self.board.keys[stretch]
        usual = {"V"} if key.mode.value in ("major", "minor") else {"VII", "v", "V"}
        costs = np.zeros(self.board.real.shape[1], np.int64)
        for column, offer in enumerate(self.board.offers[stretch]):
            if offer.family in usual:
                continue
            plagal = offer.family in ("IV", "iv")
            dear = self.weights.plagal if plagal else self.weights.other_close
            costs[column] = dear
        return costs
