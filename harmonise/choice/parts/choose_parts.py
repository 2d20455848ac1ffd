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
from harmonise.choice.costs import NEVER, ChordCosts
from harmonise.choice.grid import Flags, Grid
from harmonise.choice.moves import INVALID, States
from harmonise.choice.palette import Menu, Offer, chosen_menu, turned_menu
from harmonise.choice.parts.forms import (
    FURTHER,
    FURTHER_LEVEL,
    NONE,
    ChordForm,
    forms_of,
)
from harmonise.choice.parts.laws import Join
from harmonise.choice.parts.leading import leading_costs
from harmonise.choice.parts.lines import LineEnd, joins_of, line_ends
from harmonise.choice.parts.spots import (
    PartSlot,
    assert_room,
    part_slots,
    permitted_chords,
    spots_of,
)
from harmonise.choice.parts.voicings import Voicings, voicings
from harmonise.choice.path import Paths
from harmonise.choice.shapes import RightHandManner, play
from harmonise.choice.tied_path import cheapest_tied_path
from harmonise.choice.weights import PART_WEIGHTS, PLAIN_WEIGHTS, PartWeights, Weights
from harmonise.theory.arrangement import Style
from harmonise.theory.tune import Tune

CHORD_WEIGHTS = PLAIN_WEIGHTS._replace(retreat=4000)
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
        joins: Where in bar and line each slot follows the one before.
        moves: Moves between layers.
        first: Tick of the first chord.
    """

    grid: Grid
    menu: Menu
    costs: ChordCosts
    spots: tuple[PartSlot, ...]
    voicings: tuple[Voicings, ...]
    here: NDArray[np.int64]
    joins: tuple[Join, ...]
    moves: "PartMoves"
    first: int


class Parts(NamedTuple):
    """Four parts under a tune, with all that explains them.

    Attributes:
        choice: The chords, as the explainer and the remarks take them; voices left out.
        forms: The chord with its bass in each slot.
        notes: Shape (slots, 4): soprano, alto, tenor and bass at each slot's start.
        single: Each slot's own voicing, as the rules take it.
        joins: Where in bar and line each slot follows the one before.
        cost: What the whole costs, in thousandths.
    """

    choice: Choice
    forms: tuple[ChordForm, ...]
    notes: NDArray[np.int16]
    single: tuple[Voicings, ...]
    joins: tuple[Join, ...]
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
    tied = cheapest_tied_path(
        problem.here, problem.moves, _chords_of(problem), problem.grid.alike
    )
    paths = tied.paths._replace(detour=tied.priced(tied.paths.detour))
    single, forms = [], []
    rows = zip(problem.spots, problem.voicings, paths.states, strict=True)
    for spot, offered, state in rows:
        one = slice(state, state + 1)
        facts = ("form", "notes", "steps", "cost")
        chosen = {fact: getattr(offered, fact)[one] for fact in facts}
        single.append(offered._replace(**chosen))
        forms.append(spot.forms[int(offered.form[state])])
    notes = np.concatenate([voicing.notes for voicing in single])
    offers = [form.offer for form in forms]
    choice = _as_choice(problem, paths, offers, manner_of(style))
    choice = choice._replace(gap=tied.gap)
    return Parts(choice, tuple(forms), notes, tuple(single), problem.joins, paths.cost)


def _chords_of(problem: PartProblem) -> NDArray[np.int64]:
    """Return the number of each state's chord and bass, -1 where there is no state.

    Bars alike have equal basses too, as in hymnals.
    """
    numbers: dict[object, int] = {}
    labels = np.full(problem.here.shape, -1, np.int64)
    rows = zip(problem.spots, problem.voicings, strict=True)
    for slot, (spot, offered) in enumerate(rows):
        chords = (form.offer.chord for form in spot.forms)
        names = [numbers.setdefault(chord, len(numbers)) for chord in chords]
        labels[slot, : len(offered.form)] = np.array(names)[offered.form]
    return labels


def _as_choice(
    problem: PartProblem, paths: Paths, offers: list[Offer], manner: RightHandManner
) -> Choice:
    """Return the chords over their basses, each detour priced by its best voicing."""
    grid, width = problem.grid, problem.menu.real.shape[1]
    # Chords that no state has keep a price beyond every other.
    detour = np.full((grid.slots, width), INVALID + paths.cost, np.int64)
    chosen = []
    for slot, offered in enumerate(problem.voicings):
        column = offered.column
        np.minimum.at(detour[slot], column, paths.detour[slot, : len(column)])
        chosen.append(int(column[paths.states[slot]]))
    columns, zeros = np.array(chosen), np.zeros(width, np.int64)
    menu = turned_menu(problem.menu, columns, offers)
    return Choice(
        grid, menu, problem.costs, play(grid, chosen_menu(menu, columns), manner),
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
    further = FURTHER if style.level >= FURTHER_LEVEL else {}
    grid, menu, costs, first = pose_chords(tune, style, weights, part_slots, further)
    forms = tuple(
        forms_of(key, row, style.level)
        for key, row in zip(menu.keys, menu.offers, strict=True)
    )
    permitted = permitted_chords(grid, menu, costs.fits)
    barred = np.where(costs.fits & ~permitted, NEVER, 0)
    costs = costs._replace(here=costs.here + barred, fits=costs.fits & permitted)
    spots = spots_of(grid, menu, permitted, forms, style.span)
    # Places alike share their voicings, and so their tables of steps.
    known = {spot: voicings(spot, part_weights) for spot in dict.fromkeys(spots)}
    layers = tuple(known[spot] for spot in spots)
    here = np.full(
        (len(layers), max(len(layer.form) for layer in layers)), INVALID, np.int64
    )
    for slot, layer in enumerate(layers):
        here[slot, : len(layer.form)] = costs.here[slot, layer.column] + layer.cost
    ends = line_ends(tune, grid)
    joins = joins_of(tune, grid, ends)
    moves = PartMoves(layers, costs, joins, part_weights)
    problem = PartProblem(grid, menu, costs, spots, layers, here, joins, moves, first)
    _ask_of_ends(tune, problem, ends, part_weights)
    end_on_tonic(tune, menu, layers[-1].column, here, weights)
    return problem


class PartMoves:
    """The moves between layers; tables for places alike are worked out once."""

    def __init__(
        self,
        layers: tuple[Voicings, ...],
        costs: ChordCosts,
        joins: tuple[Join, ...],
        weights: PartWeights,
    ) -> None:
        """Keep what moves depend on; nothing is worked out yet."""
        self._layers, self._costs = layers, costs
        self._joins, self._weights = joins, weights
        self._width = max(len(voicing.form) for voicing in layers)
        self._known: dict[tuple[int, int, Join], NDArray[np.int32]] = {}
        self._bytes = 0

    def __call__(self, layer: int) -> NDArray[np.int32]:
        """Return the cost of every move into a layer from the one before."""
        before, here = self._layers[layer - 1], self._layers[layer]
        table = self._table(before, here, self._joins[layer])
        step = self._costs.step[layer]
        moves = np.full((self._width, self._width), INVALID, np.int32)
        inside = moves[: table.shape[0], : table.shape[1]]
        np.add(table, step[before.column][:, here.column], out=inside)
        return moves

    def _table(self, before: Voicings, here: Voicings, join: Join) -> NDArray[np.int32]:
        # Equal places hold the very same voicings, so their identity will do.
        key = (id(before), id(here), join)
        table = self._known.get(key)
        if table is None:
            table = leading_costs(before, here, join, self._weights)
            if self._bytes > _KEEP_BYTES:
                self._known.clear()
                self._bytes = 0
            self._known[key] = table
            self._bytes += table.nbytes
        return table


def _ask_of_ends(
    tune: Tune, problem: PartProblem, ends: tuple[LineEnd, ...], tastes: PartWeights
) -> None:
    """Ask for root positions where the tune begins and where its lines close.

    The pickup asks for I or V, and the first full bar for I in root position.
    """
    grid = problem.grid
    _charge_turned(problem, 0, tastes.start)
    for end in ends:
        final = end is ends[-1]
        if end.reached:
            way = tastes.last_but_one if final else tastes.open_close
            _charge_turned(problem, end.reached - 1, way)
        price = tastes.close if final else tastes.open_end
        for slot in range(end.struck, end.last + 1):
            _charge_turned(problem, slot, price, waits=slot < end.last)
        if end.reached < end.struck:
            _charge_turned(problem, end.reached, tastes.open_reach)
        seventh = problem.voicings[end.struck].facts.seventh
        sung = problem.spots[end.struck].entry % 12
        idle = (seventh != NONE) & (seventh != sung)
        _charge(problem, end.struck, idle, tastes.open_seventh)
    for slot, bar in enumerate(grid.slot_bar.tolist()):
        facts = problem.voicings[slot].facts
        if tune.bars[bar].number > 0:
            home = facts.tonic & (facts.inversion == 0)
            _charge(problem, slot, ~home, tastes.begin)
            break
        _charge(problem, slot, ~(facts.tonic | facts.dominant), tastes.pickup)


def _charge_turned(
    problem: PartProblem, slot: int, price: int, *, waits: bool = False
) -> None:
    """Put a price on the inversions of a slot.

    Where the last note of a line is held on, a cadential 6/4 may wait there for V.
    """
    facts = problem.voicings[slot].facts
    free = facts.tonic & (facts.inversion == 2) & waits
    _charge(problem, slot, (facts.inversion > 0) & ~free, price)


def _charge(problem: PartProblem, slot: int, forms: Flags, price: int) -> None:
    """Put a price on some forms of a slot."""
    form = problem.voicings[slot].form
    problem.here[slot, : len(form)] += np.where(forms[form], price, 0)
