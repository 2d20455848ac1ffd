"""What the tune does in each slot, and which chords may stand under it.

Where lines begin and close, and what is asked of the chords there.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.choose import States, end_on_tonic
from harmonise.choice.costs import ChordCosts
from harmonise.choice.grid import Grid, SlotStart, chord_slots, in_ticks
from harmonise.choice.palette import Board, Offer
from harmonise.choice.parts.forms import ChordForm
from harmonise.choice.parts.leading import BAR_LINE, CLOSES, FALLS, LEVEL, RISES
from harmonise.choice.parts.voicings import LOWEST_TUNE, PartSlot, Voicings
from harmonise.choice.weights import PartWeights, Weights
from harmonise.errors import NoHarmonyError
from harmonise.theory.arrangement import Style
from harmonise.theory.tune import Tune


def assert_room(tune: Tune) -> None:
    """Refuse a tune under which no three voices fit."""
    for note in tune.sounding:
        if note.pitch is not None and note.pitch.midi < LOWEST_TUNE:
            raise NoHarmonyError(
                f"{note.pitch} is too low for three voices under it.",
                tune.place(note.onset),
                "Move the tune up an octave.",
            )


def part_slots(
    tune: Tune, style: Style, ticks: int
) -> tuple[tuple[SlotStart, ...], int]:
    """Return the places where chords may change, a short pickup included.

    In hymns the pickup is sung in four parts too (common practice).
    """
    starts, first = chord_slots(tune, style.harmonic_rhythm, ticks, style.locks)
    onset = in_ticks(tune.sounding[0].onset, ticks)
    if onset < first:
        return (SlotStart(onset, 1, 0), *starts), onset
    return starts, first


def spots_of(
    grid: Grid,
    board: Board,
    costs: ChordCosts,
    forms: tuple[tuple[ChordForm, ...], ...],
    span: int,
) -> tuple[PartSlot, ...]:
    """Return what the tune does in each slot, and which forms may stand there."""
    sounding = np.flatnonzero(grid.midi >= 0)
    slot_of = grid.slot[sounding]
    found = []
    for slot in range(grid.slots):
        low, high = np.searchsorted(slot_of, [slot, slot + 1]).tolist()
        if low == high:  # The tune rests: the parts wait where they were.
            low = max(0, low - 1)
            high = low + 1
        own = sounding[low:high]
        midi, step = grid.midi[own].tolist(), grid.step[own].tolist()
        stretch = int(board.stretch[slot])
        fits = costs.fits[slot] & board.allowed[slot] & board.real[stretch]
        if not fits.any():
            fits = board.allowed[slot] & board.real[stretch]
        permitted = _permitted(
            forms[stretch], board.offers[stretch], tuple(fits.tolist()),
            bool(board.locked[slot]),
        )  # fmt: skip
        ends = (midi[0], midi[-1], min(midi), max(midi))
        found.append(PartSlot(*ends, span, step[0], step[-1], permitted))
    return tuple(found)


@lru_cache(maxsize=4096)
def _permitted(
    forms: tuple[ChordForm, ...],
    offers: tuple[Offer, ...],
    fits: tuple[bool, ...],
    locked: bool,  # noqa: FBT001 (cached)
) -> tuple[ChordForm, ...]:
    """Return the forms that a slot may take.

    A lock keeps its bass. Elsewhere every chord on offer comes with the basses that
    four-part style gives it, so those that the palette turns itself are left out.
    """
    return tuple(
        form
        for form in forms
        if fits[form.column]
        and (
            form.offer.chord == offers[form.column].chord
            if locked
            else not offers[form.column].chord.inversion
        )
    )


class Layers(NamedTuple):
    """The states of all slots with their costs.

    Attributes:
        grid: Parts and slots.
        board: The chords on offer.
        found: The states of each slot.
        here: Shape (slots, most states): their costs.
    """

    grid: Grid
    board: Board
    found: tuple[Voicings, ...]
    here: NDArray[np.int64]


def ask_of_ends(
    tune: Tune, layers: Layers, weights: Weights, tastes: PartWeights
) -> None:
    """Ask for root positions where the tune begins and where its lines close."""
    prices = {0: tastes.start}
    last = layers.grid.slots - 1
    for slot in _line_ends(tune, layers.grid):
        prices[slot] = tastes.open_end
        prices.setdefault(slot - 1, tastes.open_close)
    prices |= {last: tastes.close, last - 1: tastes.last_but_one}
    for slot, price in prices.items():
        if slot < 0:
            continue
        own = layers.found[slot]
        turned = own.facts.inversion[own.form] > 0
        layers.here[slot, : len(turned)] += np.where(turned, price, 0)
    _ask_of_start(tune, layers, tastes)
    own = layers.found[last]
    zeros = np.zeros(len(own.form), np.int64)
    states = States(own.column, zeros, zeros)
    end_on_tonic(tune, layers.board, states, layers.here[:, : len(zeros)], weights)


def _ask_of_start(tune: Tune, layers: Layers, tastes: PartWeights) -> None:
    """Ask for I or V in the pickup, and for I in root position in the first bar."""
    for slot, bar in enumerate(layers.grid.slot_bar.tolist()):
        own = layers.found[slot]
        facts, form = own.facts, own.form
        home = facts.tonic[form] & (facts.inversion[form] == 0)
        pickup = tune.bars[bar].number == 0
        if pickup:
            home = facts.tonic[form] | facts.dominant[form]
        price = tastes.pickup if pickup else tastes.begin
        layers.here[slot, : len(form)] += np.where(home, 0, price)
        if not pickup:
            return


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
    found = [LEVEL]
    for slot in range(1, grid.slots):
        if weight[slot] < weight[slot - 1]:
            found.append(CLOSES if slot in closes else FALLS)
        elif int(grid.slot_start[slot]) in lines or tune.bars[bar[slot - 1]].number < 1:
            found.append(LEVEL)
        elif bar[slot] != bar[slot - 1]:
            found.append(BAR_LINE)
        else:
            found.append(RISES if weight[slot] > weight[slot - 1] else LEVEL)
    return found
