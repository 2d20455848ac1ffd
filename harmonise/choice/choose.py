"""Chords and voicings in one optimum.

A *state* of a slot is a chord, how strong the beat was on which it began, and one of
its right-hand shapes. One exact cheapest path over these states decides everything at
once. Ties go to the chord that stands earlier in the level's palette, then to the
complete shape.
"""

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.costs import ChordCosts, chord_costs
from harmonise.choice.grid import (
    Flags,
    Grid,
    Ints,
    SlotStart,
    chord_slots,
    cut,
    ticks_per_crotchet,
)
from harmonise.choice.moves import ChordMoves, States, costs_of_states, states_of
from harmonise.choice.nonchord import name_parts, trace
from harmonise.choice.only_way import MOST_LEVEL, with_only_way
from harmonise.choice.palette import Menu, chosen_menu, lay_out, member_of_parts
from harmonise.choice.path import Paths
from harmonise.choice.shapes import FULL_FROM, HandNotes, RightHandManner, play
from harmonise.choice.shared_costs import alike_slots, kept_alike
from harmonise.choice.tied_path import cheapest_tied_path
from harmonise.choice.weights import PLAIN_WEIGHTS, Weights
from harmonise.left_hand.strokes import LeftSlot
from harmonise.rules.players import PLAYERS, changes_allowed
from harmonise.theory.alike import alike_bars
from harmonise.theory.arrangement import HarmonicRhythm, Style, Texture
from harmonise.theory.key import Mode
from harmonise.theory.numerals import Role
from harmonise.theory.tune import ChordAt, Tune

SlotsOf = Callable[
    [Tune, HarmonicRhythm, int, tuple[ChordAt, ...], Sequence[int]],
    tuple[tuple[SlotStart, ...], int],
]
"""Finds the slots of a tune, and the tick of its first chord."""


class Choice(NamedTuple):
    """What was chosen, with all that explains it.

    Attributes:
        grid: Parts and slots.
        menu: What was on offer.
        costs: What the chords cost.
        hands: What the chosen chords play, in the one column that they have.
        states: The states.
        paths: The cheapest path and the price of every detour.
        columns: Chosen column of each slot.
        kinds: Chosen kind of shape of each slot.
        first: Tick of the first chord.
        left: What the left hand plays in each slot where it does more than hold the
            bass; () where it holds it throughout.
        gap: By how much other chords that are equal under bars alike may be cheaper at
            most, in thousandths; 0 where none are.
    """

    grid: Grid
    menu: Menu
    costs: ChordCosts
    hands: HandNotes
    states: States
    paths: Paths
    columns: Ints
    kinds: Ints
    first: int
    left: tuple[LeftSlot, ...] = ()
    gap: int = 0

    def detours(self) -> Ints:
        """Return, shape (slots, C), the extra cost of the best path with each chord."""
        # Of all states with a chord the cheapest counts: one shape, one first beat.
        detour = self.paths.detour - self.paths.cost
        width = self.menu.real.shape[1]
        columns = [detour[:, self.states.column == c].min(axis=1) for c in range(width)]
        return np.stack(columns, axis=1)

    def names(self) -> NDArray[np.int8]:
        """Return the `Name` of each part under the chosen chords."""
        # The notes before and after a part are judged under their own chords.
        column = self.columns[self.grid.slot]
        rows = np.arange(len(column))
        member = member_of_parts(self.grid, self.menu)[rows, column][:, None]
        before, after = np.zeros_like(member), np.zeros_like(member)
        before[1:], after[:-1] = member[:-1], member[1:]
        contour = trace(self.grid)
        return name_parts(self.grid, contour, member, before, after)[:, 0]


class Problem(NamedTuple):
    """A tune as layers of states, ready for the cheapest path.

    Attributes:
        grid: Parts and slots.
        menu: What is on offer.
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
    menu: Menu
    costs: ChordCosts
    hands: HandNotes
    manner: RightHandManner
    raised: bool
    states: States
    here: NDArray[np.int64]
    moves: ChordMoves
    first: int


def choose(tune: Tune, style: Style, weights: Weights = PLAIN_WEIGHTS) -> Choice:
    """Return the cheapest chords and voicings under a tune.

    Args:
        tune: The tune, with at least one sounding note.
        style: What is asked for; harmonic rhythm and texture settled.
        weights: The table of weights.
    """
    return solved(tune, pose(tune, style, weights))


def solved(tune: Tune, problem: Problem) -> Choice:
    """Return the cheapest path through a tune's problem, with all that explains it."""
    states = problem.states
    labels = np.broadcast_to(states.column, problem.here.shape)
    tied = cheapest_tied_path(problem.here, problem.moves, labels, problem.grid.alike)
    chosen = np.array(tied.paths.states)
    columns = states.column[chosen]
    hands = _chosen_hands(problem, columns)
    kinds = _with_left_hand(hands, states.kind[chosen])
    choice = Choice(
        problem.grid, problem.menu, problem.costs, hands, states, tied.paths,
        columns, kinds, problem.first, gap=tied.gap,
    )  # fmt: skip
    kept = _kept(choice)
    if not kept.all():
        choice = _without_spare(tune, choice, problem, kept)
    detour = tied.priced(choice.paths.detour, kept)
    return choice._replace(paths=choice.paths._replace(detour=detour))


def _kept(choice: Choice) -> Flags:
    """Return which slots stay: not spare ones in which the chord before carries on."""
    rows = np.stack((choice.menu.stretch, choice.columns))
    stays = np.append(False, (rows[:, 1:] == rows[:, :-1]).all(axis=0))
    kept: Flags = ~(choice.grid.slot_spare & stays)
    return kept


def _without_spare(tune: Tune, choice: Choice, problem: Problem, kept: Flags) -> Choice:
    """Return a choice without the slots that do not stay."""
    grid, menu, columns = choice.grid, choice.menu, choice.columns
    starts = tuple(start for start, keep in zip(grid.starts, kept, strict=True) if keep)
    fewer = cut(tune, starts, grid.ticks)
    fewer = fewer._replace(alike=kept_alike(grid.alike, kept))
    slots = {
        fact: getattr(menu, fact)[kept] for fact in ("stretch", "allowed", "locked")
    }
    menu = menu._replace(**slots)
    column, kinds = choice.states.column, choice.kinds[kept]
    alike = column[:, None] == column
    hands = play(fewer, chosen_menu(menu, columns[kept]), problem.manner)
    return choice._replace(
        grid=fewer,
        menu=menu,
        costs=choice.costs.joined(kept),
        hands=hands,
        paths=choice.paths.joined(kept, problem.here, problem.moves, alike),
        columns=columns[kept],
        kinds=_with_left_hand(hands, kinds),
    )


def _chosen_hands(problem: Problem, columns: Ints) -> HandNotes:
    """Return what the chosen chords play where the tune lies."""
    if problem.raised:
        one_column = chosen_menu(problem.menu, columns)
        return play(problem.grid, one_column, problem.manner)
    # Every chord was played already: the chosen column of each slot is kept.
    at = (np.arange(len(columns)), columns)
    facts = ("inner", "struck", "bass", "entry", "leave")
    chosen = {fact: getattr(problem.hands, fact)[at][:, None] for fact in facts}
    return problem.hands._replace(**chosen)


def pose(tune: Tune, style: Style, weights: Weights) -> Problem:
    """Return the tune as layers of states with their costs."""
    return posed(tune, style, weights, pose_chords(tune, style, weights))


Chords = tuple[Grid, Menu, ChordCosts, int]
"""The slots, their chords on offer with costs, and the first chord's tick."""


def posed(tune: Tune, style: Style, weights: Weights, chords: Chords) -> Problem:
    """Return the tune as layers of states with their costs, its chords laid out."""
    grid, menu, costs, first = chords
    manner = manner_of(style)
    raised = _raised(grid)
    hands = play(raised, menu, manner)
    states = states_of(grid, hands)
    here = costs_of_states(grid, costs, hands, states, weights)
    end_on_tonic(tune, menu, states.column, here, weights)
    moves = ChordMoves(grid, costs, hands, states, weights)
    return Problem(
        grid, menu, costs, hands, manner, raised is not grid, states, here, moves,
        first,
    )  # fmt: skip


def pose_chords(
    tune: Tune,
    style: Style,
    weights: Weights,
    slots: SlotsOf = chord_slots,
    further: Mapping[Mode, tuple[str, ...]] = MappingProxyType({}),
) -> Chords:
    """Return the slots, their chords on offer with costs, and the first chord's tick.

    Args:
        tune: The tune.
        style: What is asked for, settled.
        weights: The table of weights.
        slots: Finds the slots.
        further: Numerals of chords on offer besides those of the level, by mode.
    """
    ticks = ticks_per_crotchet(tune, style.locks)
    alike = alike_bars(tune)
    starts, first = slots(tune, style.harmonic_rhythm, ticks, style.locks, alike)
    if not _has_room(tune, style):
        starts = tuple(start for start in starts if not start.spare)
    grid = cut(tune, starts, ticks)
    menu = lay_out(tune, grid, style.level, style.locks, further)
    grid = grid._replace(alike=alike_slots(tune, grid, alike, menu.locked))
    if style.level <= MOST_LEVEL:
        menu = with_only_way(grid, menu)
    every_beat = style.harmonic_rhythm is HarmonicRhythm.BEAT
    costs = chord_costs(tune, grid, menu, weights, every_beat=every_beat)
    return grid, menu, costs, first


def _has_room(tune: Tune, style: Style) -> bool:
    """Whether what a player was promised leaves room for a chord on any beat."""
    if style.player is None:
        return True
    most = changes_allowed(tune, PLAYERS[style.player].changes)
    return all(len(bar.time.beat_starts) <= most for bar in tune.bars)


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
    if hands.bass.shape[2] == 1:
        return kinds
    # The lighter shape lies higher, so that under a low tune it alone has room.
    slots = np.arange(len(kinds))
    here = hands.bass[slots, 0, kinds] >= 0
    other = hands.bass[slots, 0, 1 - kinds] >= 0
    return np.where(~here & other, 1 - kinds, kinds)


def manner_of(style: Style) -> RightHandManner:
    """Return how the right hand goes along in a settled style."""
    block, whole = style.texture is Texture.BLOCK, style.level <= MOST_LEVEL
    return RightHandManner(block, style.span, whole=whole)


def end_on_tonic(
    tune: Tune, menu: Menu, columns: Ints, here: Ints, weights: Weights
) -> None:
    """Ask for the tonic at the end of a tune that ends on 1 or 3 (common practice).

    Args:
        tune: The tune.
        menu: What is on offer.
        columns: Column of each state of the last slot.
        here: Costs of the states, which are changed in place.
        weights: The table of weights.
    """
    pitch, last = tune.sounding[-1].pitch, int(menu.stretch[-1])
    if pitch and menu.keys[last].degree(pitch.name) in ((1, 0), (3, 0)):
        tonic = menu.each(lambda offer: offer.is_triad(Role.TONIC))[last]
        dear = np.where(tonic[columns], 0, weights.not_tonic_last)
        here[-1, : len(columns)] += dear
