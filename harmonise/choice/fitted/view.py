"""The tune as the fitted table sees it, and which of its slots each chord slot holds.

The table was fitted on every place where human arrangers change chord (half-bars, or
every beat in hymns). The chord slots of a job may be longer (a chord a bar, a long last
note) or begin elsewhere (a lock). So the tune is weighed on the table's own places and
on all chord slots' edges; a chord slot then costs the sum over the places it holds,
which is exactly the table's cost of a path that changes at chord slots only.
"""

from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.words import (
    BAR_START,
    COMPOUND,
    HALF_BAR,
    SIMPLE,
    TRIPLE,
    WEAK,
    Ints,
    Notes,
    Sight,
    Slots,
    look,
)
from harmonise.choice.grid import Grid, in_ticks, slot_offsets
from harmonise.theory.arrangement import HarmonicRhythm
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tune

SECTION = 8
"""Bars from which on a line end also ends a section, where no sign does (most folk
tunes have sections of eight bars: common practice)."""


class View(NamedTuple):
    """A tune seen by the table.

    Attributes:
        sight: The tune on the table's places.
        group: Chord slot of each place.
        first: First place of each chord slot.
    """

    sight: Sight
    group: Ints
    first: Ints


def view(
    tune: Tune, grid: Grid, keys: tuple[Key, ...], stretch: Ints, *, every_beat: bool
) -> View:
    """Return the tune as the table sees it.

    Args:
        tune: The tune.
        grid: Its chord slots.
        keys: Key of each stretch of the tune.
        stretch: Stretch of each chord slot.
        every_beat: Whether the table knows chords on every beat (hymns).
    """
    rhythm = HarmonicRhythm.BEAT if every_beat else HarmonicRhythm.HALF_BAR
    starts, bars, places = _places(tune, grid, rhythm)
    group = np.searchsorted(grid.slot_start, starts, side="right") - 1
    first = np.searchsorted(starts, grid.slot_start[:-1])
    own = stretch[group]
    tonic = np.array([key.tonic.pitch_class for key in keys])
    minor = np.array([key.mode.is_minor for key in keys])
    ends = np.append(starts[1:], grid.slot_start[-1])
    slots = Slots(
        start=starts,
        length=ends - starts,
        place=places,
        bar=_whole_bars(tune)[bars],
        section=_sections(tune)[bars],
        tonic=tonic[own],
        minor=minor[own],
        metre=_metre(tune.bars[int(bars[0])].time),
        crotchet=grid.ticks,
    )
    return View(look(slots, _notes(tune, grid)), group, first)


def _notes(tune: Tune, grid: Grid) -> Notes:
    onset = grid.note_onset
    length = np.append(onset[1:], in_ticks(tune.end, grid.ticks)) - onset
    return Notes(onset, length, grid.note_midi)


def _places(tune: Tune, grid: Grid, rhythm: HarmonicRhythm) -> tuple[Ints, Ints, Ints]:
    """Return start, index of the bar and kind of every place."""
    ticks, bars = grid.ticks, tune.bars
    begins = np.array([in_ticks(bar.start, ticks) for bar in bars])
    lacks = np.array([in_ticks(bar.offset, ticks) if bar.offset else 0 for bar in bars])
    ends = np.append(begins[1:], grid.slot_start[-1])
    times = dict.fromkeys(bar.time for bar in bars)
    known = {time: number for number, time in enumerate(times)}
    which = np.array([known[bar.time] for bar in bars])
    rows = []
    for time, number in known.items():
        own = np.flatnonzero(which == number)
        offsets, kinds = np.array(_bar_places(time, rhythm, ticks)).T
        starts = (begins - lacks)[own][:, None] + offsets
        inside = (starts >= np.maximum(begins[own], grid.slot_start[0])[:, None]) & (
            starts < ends[own][:, None]
        )
        at, column = np.nonzero(inside)
        rows.append((starts[inside], own[at], kinds[column]))
    edges = grid.slot_start[:-1]
    rows.append((edges, grid.slot_bar, np.full(len(edges), WEAK)))
    starts, index, kinds = map(np.concatenate, zip(*rows, strict=True))
    starts, first = np.unique(starts, return_index=True)
    return starts, index[first], kinds[first]


@lru_cache(maxsize=64)
def _bar_places(
    time: TimeSignature, rhythm: HarmonicRhythm, ticks: int
) -> tuple[tuple[int, int], ...]:
    """Return (ticks from the bar line, kind) of the places of a full bar."""
    half = time.bar_length / 2
    even = (time.bar_length / time.beat) % 2 == 0
    kinds = {Fraction(0): BAR_START, **({half: HALF_BAR} if even else {})}
    return tuple(
        (in_ticks(offset, ticks), kinds.get(offset, WEAK))
        for offset in slot_offsets(time, rhythm)
    )


def _metre(time: TimeSignature) -> int:
    if time.is_compound:
        return COMPOUND
    return SIMPLE if time.beats in (2, 4) else TRIPLE


def _whole_bars(tune: Tune) -> Ints:
    """Number the whole bars: a later part of a split bar belongs to the one before."""
    parts = [number > 0 and bar.offset > 0 for number, bar in enumerate(tune.bars)]
    return np.cumsum(~np.array(parts))


def _sections(tune: Tune) -> Ints:
    """Number the section of each bar."""
    lines = frozenset(tune.phrases)
    number, length, found = 0, 0, []
    for bar, after in zip(tune.bars, (*tune.bars[1:], None), strict=True):
        found.append(number)
        length += 1
        if _closes(bar, after) or (
            length >= SECTION and after and after.start in lines
        ):
            number, length = number + 1, 0
    return np.array(found)


def _closes(bar: Bar, after: Bar | None) -> bool:
    """Whether a sign on the page ends a section after a bar."""
    if bar.double or bar.repeat_end > 1:
        return True
    return after is not None and (after.repeat_start or bool(after.section))
