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
    Floats,
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
from harmonise.theory.phrases import sections_of
from harmonise.theory.tune import Tune


class View(NamedTuple):
    """A tune seen by the table.

    Attributes:
        sight: The tune on the table's places.
        group: Chord slot of each place.
        first: First place of each chord slot.
        share: How much of a place of the metre each place is; less than 1 where a
            chord slot cuts one.
    """

    sight: Sight
    group: Ints
    first: Ints
    share: Floats


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
    starts, bars, places, whole_place = _places(tune, grid, rhythm)
    group = np.searchsorted(grid.slot_start, starts, side="right") - 1
    first = np.searchsorted(starts, grid.slot_start[:-1])
    ends = np.append(starts[1:], grid.slot_start[-1])
    whole, section = _whole_bars(tune), np.array(sections_of(tune))
    chosen = [keys[number] for number in stretch[group].tolist()]
    slots = Slots(
        start=starts,
        length=ends - starts,
        place=places,
        bar=whole[bars],
        section=section[bars],
        tonic=np.array([key.tonic.pitch_class for key in chosen]),
        minor=np.array([key.mode.is_minor for key in chosen]),
        metre=_metre(tune.bars[int(bars[0])].time),
        crotchet=grid.ticks,
    )
    onset = grid.note_onset
    length = np.append(onset[1:], in_ticks(tune.end, grid.ticks)) - onset
    notes = Notes(onset, length, grid.note_midi)
    # The pieces of a place that is cut weigh as much together as it does whole.
    together = np.bincount(whole_place, slots.length)[whole_place]
    return View(look(slots, notes), group, first, slots.length / together)


def _places(
    tune: Tune, grid: Grid, rhythm: HarmonicRhythm
) -> tuple[Ints, Ints, Ints, Ints]:
    """Return start, bar, kind, and number of the metre's place, of every place."""
    opening = int(grid.slot_start[0])
    # What a bar lacks at its beginning (a pickup, or the rest of a split bar) is
    # skipped, so that its places keep their kinds.
    places: dict[int, tuple[int, int]] = {}
    for index, bar in enumerate(tune.bars):
        begin, end = in_ticks(bar.start, grid.ticks), in_ticks(bar.end, grid.ticks)
        first = begin - in_ticks(bar.offset, grid.ticks)
        # A bar longer than its signature has the places of the metre again.
        metre = in_ticks(bar.time.bar_length, grid.ticks)
        for line in range(first, end, metre):
            for offset, kind in _bar_places(bar.time, rhythm, grid.ticks):
                if max(begin, opening) <= line + offset < end:
                    places[line + offset] = (index, kind)
    # A chord slot that begins at none of them (a lock's, say) makes a place of its own.
    regular = set(places)
    edges = zip(grid.slot_start[:-1].tolist(), grid.slot_bar.tolist(), strict=True)
    for start, index in edges:
        places.setdefault(start, (index, WEAK))
    rows = np.array([(start, *places[start]) for start in sorted(places)])
    number = np.cumsum([start in regular for start in rows[:, 0].tolist()])
    return rows[:, 0], rows[:, 1], rows[:, 2], number


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
    """Number, for each bar, the whole bar that it is part of.

    A later part of a split bar belongs to the one before.
    """
    begins = [not bar.offset for bar in tune.bars[1:]]
    return np.cumsum([0, *begins])
