"""What the tune does in each slot, and which chords may stand under it."""

from functools import lru_cache

import numpy as np

from harmonise.choice.board import Board
from harmonise.choice.costs import ChordCosts
from harmonise.choice.grid import Grid
from harmonise.choice.palette import Offer
from harmonise.choice.parts.forms import Form
from harmonise.choice.parts.ranges import LOWEST_TUNE
from harmonise.choice.parts.voicings import Spot
from harmonise.choice.rhythm import SlotStart, chord_slots, in_ticks
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
    forms: tuple[tuple[Form, ...], ...],
    span: int,
) -> tuple[Spot, ...]:
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
        found.append(Spot(*ends, span, step[0], step[-1], permitted))
    return tuple(found)


@lru_cache(maxsize=4096)
def _permitted(
    forms: tuple[Form, ...],
    offers: tuple[Offer, ...],
    fits: tuple[bool, ...],
    locked: bool,  # noqa: FBT001 (cached)
) -> tuple[Form, ...]:
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
