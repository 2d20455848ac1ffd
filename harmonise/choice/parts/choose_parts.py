"""Chords, inversions and four voices in one optimum.

A *state* of a slot is a chord, the member in its bass and one setting of alto, tenor
and bass under the tune. One exact cheapest path over these states decides everything
at once; states are left out only where hard rules forbid them. Ties go to the chord
that stands earlier in the level's palette, then to the lower voicing.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.choose import Choice, end_on_tonic, manner_of, pose_chords
from harmonise.choice.costs import ChordCosts
from harmonise.choice.grid import Grid, in_ticks
from harmonise.choice.moves import INVALID, States
from harmonise.choice.palette import Menu, Offer, chosen_menu
from harmonise.choice.parts.forms import (
    ChordForm,
    PartSlot,
    assert_room,
    forms_of,
    part_slots,
    spots_of,
)
from harmonise.choice.parts.leading import (
    BAR_LINE,
    CLOSES,
    FALLS,
    LEVEL,
    RISES,
    leading_costs,
    metric_costs,
)
from harmonise.choice.parts.voicings import Voicings, voicings
from harmonise.choice.path import Paths, cheapest_path
from harmonise.choice.shapes import play
from harmonise.choice.weights import PART_WEIGHTS, PLAIN_WEIGHTS, PartWeights, Weights
from harmonise.theory.arrangement import Style
from harmonise.theory.tune import Tune

CHORD_WEIGHTS = PLAIN_WEIGHTS._replace(retreat=2400)
"""The weights of the chords; four-part writing is stricter on V to IV (H12)."""
_KEEP_BYTES = 64_000_000
"""Tables of steps are kept for places alike while they fit in so much memory."""


class PartProblem(NamedTuple):
    """A tune as layers of four-part states, ready for the cheapest path.

    Attributes:
        grid: Parts and slots.
        menu: The chords on offer.
        costs: What the chords cost.
        spots: What the tune does in each slot.
        voicings: The states of each slot.
        here: Shape (slots, most states): cost of each state; `INVALID` where the slot
            has no such state.
        moves: Moves between layers.
        first: Tick of the first chord.
    """

    grid: Grid
    menu: Menu
    costs: ChordCosts
    spots: tuple[PartSlot, ...]
    voicings: tuple[Voicings, ...]
    here: NDArray[np.int64]
    moves: "PartMoves"
    first: int


class Parts(NamedTuple):
    """Four parts under a tune, with all that explains them.

    Attributes:
        choice: The chords, as the explainer and the remarks take them; inversions and
            voices left out.
        forms: The chord with its bass in each slot.
        notes: Shape (slots, 4): soprano, alto, tenor and bass at each slot's start.
        single: Each slot's own voicing, as the rules take it.
        cost: What the whole costs, in thousandths.
    """

    choice: Choice
    forms: tuple[ChordForm, ...]
    notes: NDArray[np.int16]
    single: tuple[Voicings, ...]
    cost: int

    @property
    def offers(self) -> tuple[Offer, ...]:
        """The chord of each slot with its bass and its numeral."""
        return tuple(form.offer for form in self.forms)


def choose_parts(
    tune: Tune,
    style: Style,
    weights: Weights = CHORD_WEIGHTS,
    part_weights: PartWeights = PART_WEIGHTS,
) -> Parts:
    """Return the cheapest chords, inversions and voices under a tune.

    Args:
        tune: The tune, with at least one sounding note.
        style: What is asked for; harmonic rhythm settled, best a chord a beat.
        weights: The weights of the chords.
        part_weights: The tastes of four-part writing.

    Raises:
        NoHarmonyError: If the tune lies so low that no three voices fit under it.
    """
    problem = pose_parts(tune, style, weights, part_weights)
    paths = cheapest_path(problem.here, problem.moves)
    single, forms = [], []
    rows = zip(problem.spots, problem.voicings, paths.states, strict=True)
    for spot, offered, state in rows:
        one = slice(state, state + 1)
        facts = ("form", "notes", "steps", "cost")
        chosen = {fact: getattr(offered, fact)[one] for fact in facts}
        single.append(offered._replace(**chosen))
        forms.append(spot.forms[int(offered.form[state])])
    notes = np.concatenate([voicing.notes for voicing in single])
    choice = _as_choice(problem, paths, tune, style)
    return Parts(choice, tuple(forms), notes, tuple(single), paths.cost)


def _as_choice(problem: PartProblem, paths: Paths, tune: Tune, style: Style) -> Choice:
    """Return the chords alone, each detour priced by its cheapest voicing."""
    grid, menu = problem.grid, problem.menu
    width = menu.real.shape[1]
    # Chords that no state has keep a price beyond every other.
    detour = np.full((grid.slots, width), INVALID + paths.cost, np.int64)
    chosen = []
    for slot, offered in enumerate(problem.voicings):
        column = offered.column
        np.minimum.at(detour[slot], column, paths.detour[slot, : len(column)])
        chosen.append(int(column[paths.states[slot]]))
    columns, zeros = np.array(chosen), np.zeros(width, np.int64)
    return Choice(
        grid, menu, problem.costs,
        play(grid, chosen_menu(menu, columns), manner_of(tune, style)),
        States(np.arange(width), zeros, zeros),
        Paths(tuple(chosen), paths.cost, detour, np.zeros_like(detour)),
        columns, np.zeros(grid.slots, np.int64), problem.first,
    )  # fmt: skip


def pose_parts(
    tune: Tune, style: Style, weights: Weights, part_weights: PartWeights
) -> PartProblem:
    """Return the tune as layers of four-part states with their costs.

    Raises:
        NoHarmonyError: If the tune lies so low that no three voices fit under it.
    """
    assert_room(tune)
    grid, menu, costs, first = pose_chords(tune, style, weights, part_slots)
    forms = tuple(
        forms_of(key, row, style.level)
        for key, row in zip(menu.keys, menu.offers, strict=True)
    )
    spots = spots_of(grid, menu, costs, forms, style.span)
    # Places alike share their voicings, and so their tables of steps.
    known = {spot: voicings(spot, part_weights) for spot in dict.fromkeys(spots)}
    layers = tuple(known[spot] for spot in spots)
    here = np.full(
        (len(layers), max(len(layer.form) for layer in layers)), INVALID, np.int64
    )
    for slot, layer in enumerate(layers):
        here[slot, : len(layer.form)] = costs.here[slot, layer.column] + layer.cost
    moves = PartMoves(layers, costs, metric_steps(tune, grid), part_weights)
    problem = PartProblem(grid, menu, costs, spots, layers, here, moves, first)
    _ask_of_ends(tune, problem, part_weights)
    end_on_tonic(tune, menu, layers[-1].column, here, weights)
    return problem


class PartMoves:
    """The moves between layers; tables for places alike are worked out once."""

    def __init__(
        self,
        layers: tuple[Voicings, ...],
        costs: ChordCosts,
        metric: list[int],
        weights: PartWeights,
    ) -> None:
        """Keep what moves depend on; nothing is worked out yet."""
        self._layers, self._costs = layers, costs
        self._metric, self._weights = metric, weights
        self._width = max(len(voicing.form) for voicing in layers)
        self._known: dict[tuple[int, int, int], NDArray[np.int32]] = {}
        self._bytes = 0

    def __call__(self, layer: int) -> NDArray[np.int32]:
        """Return the cost of every move into a layer from the one before."""
        before, here = self._layers[layer - 1], self._layers[layer]
        table = self._table(before, here, self._metric[layer])
        step = self._costs.step[layer]
        moves = np.full((self._width, self._width), INVALID, np.int32)
        inside = moves[: table.shape[0], : table.shape[1]]
        np.add(table, step[before.column][:, here.column], out=inside)
        return moves

    def _table(
        self, before: Voicings, here: Voicings, weight: int
    ) -> NDArray[np.int32]:
        # Equal places hold the very same voicings, so their identity will do.
        key = (id(before), id(here), weight)
        table = self._known.get(key)
        if table is None:
            table = leading_costs(before, here, self._weights)
            table += metric_costs(before, here, weight, self._weights)
            if self._bytes > _KEEP_BYTES:
                self._known.clear()
                self._bytes = 0
            self._known[key] = table
            self._bytes += table.nbytes
        return table


def _ask_of_ends(tune: Tune, problem: PartProblem, tastes: PartWeights) -> None:
    """Ask for root positions where the tune begins and where its lines close.

    The pickup asks for I or V, and the first full bar for I in root position.
    """
    grid, here = problem.grid, problem.here
    prices = {0: tastes.start}
    last = grid.slots - 1
    for slot in _line_ends(tune, grid):
        prices[slot] = tastes.open_end
        prices.setdefault(slot - 1, tastes.open_close)
    prices |= {last: tastes.close, last - 1: tastes.last_but_one}
    for slot, price in prices.items():
        if slot < 0:
            continue
        voicing = problem.voicings[slot]
        turned = voicing.facts.inversion[voicing.form] > 0
        here[slot, : len(turned)] += np.where(turned, price, 0)
    for slot, bar in enumerate(grid.slot_bar.tolist()):
        facts, form = problem.voicings[slot].facts, problem.voicings[slot].form
        if tune.bars[bar].number > 0:
            home = facts.tonic[form] & (facts.inversion[form] == 0)
            here[slot, : len(form)] += np.where(home, 0, tastes.begin)
            break
        home = facts.tonic[form] | facts.dominant[form]
        here[slot, : len(form)] += np.where(home, 0, tastes.pickup)


def _line_ends(tune: Tune, grid: Grid) -> list[int]:
    """Return the last slot of every line, the last line too."""
    ends = [in_ticks(end, grid.ticks) for end in tune.phrases] or [int(grid.start[-1])]
    slots = np.searchsorted(grid.slot_start, ends, side="left") - 1
    return sorted({max(0, slot) for slot in slots.tolist()})


def metric_steps(tune: Tune, grid: Grid) -> list[int]:
    """Return how metric weight goes on into each slot.

    Where a line begins, and after the first pickup, a chord may be said again.
    """
    lines = {in_ticks(end, grid.ticks) for end in tune.phrases}
    ends = _line_ends(tune, grid)
    closes = {slot - back for slot in ends for back in (0, 1)}
    weight, bar = grid.slot_weight.tolist(), grid.slot_bar.tolist()
    steps = [LEVEL]
    for slot in range(1, grid.slots):
        if weight[slot] < weight[slot - 1]:
            steps.append(CLOSES if slot in closes else FALLS)
        elif int(grid.slot_start[slot]) in lines or tune.bars[bar[slot - 1]].number < 1:
            steps.append(LEVEL)
        elif bar[slot] != bar[slot - 1]:
            steps.append(BAR_LINE)
        else:
            steps.append(RISES if weight[slot] > weight[slot - 1] else LEVEL)
    return steps
