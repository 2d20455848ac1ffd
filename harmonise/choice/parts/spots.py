"""What the tune does in each slot of four parts, and which chords may stand there."""

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from harmonise.choice.foreign import misspelled
from harmonise.choice.grid import Flags, Grid, SlotStart, chord_slots, in_ticks
from harmonise.choice.palette import Menu, Offer
from harmonise.choice.parts.forms import FURTHER, ChordForm
from harmonise.errors import NoHarmonyError
from harmonise.theory.arrangement import HarmonicRhythm
from harmonise.theory.tune import ChordAt, Tune


class PartSlot(NamedTuple):
    """What the tune does in a slot, and what may stand under it.

    Attributes:
        entry: Its first note.
        leave: Its last note.
        low: Its lowest note.
        high: Its highest note.
        span: Widest reach of the right hand in semitones.
        entry_step: Staff place of the first note.
        forms: The forms that may stand there.
    """

    entry: int
    leave: int
    low: int
    high: int
    span: int
    entry_step: int
    forms: tuple[ChordForm, ...]


LOWEST_TUNE = 48
"""C3: under a lower tune there is no room for three voices."""


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
    tune: Tune,
    rhythm: HarmonicRhythm,
    ticks: int,
    locks: tuple[ChordAt, ...],
    alike: Sequence[int],
) -> tuple[tuple[SlotStart, ...], int]:
    """Return the places where chords may change, a short pickup included.

    In hymns the pickup is sung in four parts too (common practice).
    """
    starts, first = chord_slots(tune, rhythm, ticks, locks, alike)
    if rhythm is HarmonicRhythm.BEAT:
        # Four voices sing a chord to every note.
        starts = tuple(start._replace(spare=False) for start in starts)
    starts = tuple(start for start in starts if not start.spare)
    onset = in_ticks(tune.sounding[0].onset, ticks)
    if onset < first:
        return (SlotStart(onset, 1, 0), *starts), onset
    return starts, first


def permitted_chords(grid: Grid, menu: Menu, fits: Flags) -> Flags:
    """Return, shape (slots, C), which chords may stand in each slot, some in each.

    In four parts no chord sounds that has the letter of a tune note of half a beat or
    more with another accidental, nor one that has the note by another name, while the
    level has a better one (common practice).

    Args:
        grid: The parts.
        menu: What is on offer.
        fits: Whether the hard rules between tune and chord allow each chord.
    """
    clash, renamed = misspelled(grid, menu)
    on_offer = menu.allowed & menu.real[menu.stretch]
    found = np.zeros_like(fits)
    for step in (fits & ~clash & ~renamed, fits & ~clash, ~clash, fits, on_offer):
        bare = ~found.any(axis=1, keepdims=True)
        found |= bare & step & on_offer
    return found


def spots_of(
    grid: Grid,
    menu: Menu,
    permitted: Flags,
    forms: tuple[tuple[ChordForm, ...], ...],
    span: int,
) -> tuple[PartSlot, ...]:
    """Return what the tune does in each slot, and which forms may stand there."""
    sounding = np.flatnonzero(grid.midi >= 0)
    slot_of = grid.slot[sounding]
    spots = []
    for slot in range(grid.slots):
        low, high = np.searchsorted(slot_of, [slot, slot + 1]).tolist()
        if low == high:  # The tune rests: the parts wait where they were.
            low = max(0, low - 1)
            high = low + 1
        inside = sounding[low:high]
        midi, step = grid.midi[inside].tolist(), grid.step[inside].tolist()
        stretch = int(menu.stretch[slot])
        there = _permitted_forms(
            forms[stretch], menu.offers[stretch], tuple(permitted[slot].tolist()),
            bool(menu.locked[slot]),
        )  # fmt: skip
        ends = (midi[0], midi[-1], min(midi), max(midi))
        spots.append(PartSlot(*ends, span, step[0], there))
    return tuple(spots)


_ONE_BASS = frozenset(name for names in FURTHER.values() for name in names)


@lru_cache(maxsize=4096)
def _permitted_forms(
    forms: tuple[ChordForm, ...],
    offers: tuple[Offer, ...],
    permitted: tuple[bool, ...],
    locked: bool,  # noqa: FBT001 (cached)
) -> tuple[ChordForm, ...]:
    """Return the forms that a slot may take.

    A lock keeps its bass. Elsewhere every chord on offer comes with the basses that
    four-part style gives it, so those that the palette turns itself are left out; but
    chords that four parts have beside come in one bass alone.
    """
    return tuple(
        form
        for form in forms
        if permitted[form.column]
        and (
            form.offer.chord == offers[form.column].chord
            if locked
            else not offers[form.column].chord.inversion
            or form.offer.numeral in _ONE_BASS
        )
    )
