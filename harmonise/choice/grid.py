"""A tune cut into parts, one array a fact, for the vectorised costs.

A *part* is a stretch of one tune note (or rest) inside one slot. Times are whole ticks;
notes are MIDI numbers. Parts before the first slot (a pickup that goes alone) are left
out.
"""

from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.rhythm import SlotStart
from harmonise.theory.tune import Tune

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Grid(NamedTuple):
    """Parts and slots of a tune.

    Attributes:
        ticks: Ticks per crotchet.
        slot: Index of the slot of each part.
        note: Index of the tune note of each part.
        start: Onset of each part, in ticks.
        length: Length of each part, in ticks.
        midi: MIDI number of each part; -1 for a rest.
        step: Staff place of each part, in letters above C0; -1 for a rest.
        held: Whether the part goes on a note struck in an earlier slot.
        goes_on: Whether the note of the part goes on into the next slot.
        order: Number of the part in its slot, from 0.
        slot_start: Onset of each slot, in ticks; one more entry for the end.
        slot_weight: Metric weight of each slot's start, 1 to 3.
        slot_bar: Index of the bar of each slot's start.
        beat: Length of the counted beat in ticks, for each part.
        on_beat: Whether each part starts on a counted beat.
        note_onset: Onset of each tune note, in ticks.
        note_midi: MIDI number of each tune note; -1 for a rest.
    """

    ticks: int
    slot: Ints
    note: Ints
    start: Ints
    length: Ints
    midi: Ints
    step: Ints
    held: Flags
    goes_on: Flags
    order: Ints
    slot_start: Ints
    slot_weight: Ints
    slot_bar: Ints
    beat: Ints
    on_beat: Flags
    note_onset: Ints
    note_midi: Ints

    @property
    def slots(self) -> int:
        """Number of slots."""
        return len(self.slot_weight)


def cut(tune: Tune, starts: tuple[SlotStart, ...], ticks: int) -> Grid:
    """Return the parts of a tune under the given slots."""
    notes = tune.notes
    onsets = _ticks_of([note.onset for note in notes], ticks)
    end = int(tune.end * ticks)
    slot_start = np.array([start.onset for start in starts] + [end])
    edges = np.sort(np.concatenate((onsets, slot_start)))
    edges = edges[np.append(True, np.diff(edges) > 0)]
    edges = edges[(edges >= slot_start[0]) & (edges <= end)]
    start, length = edges[:-1], np.diff(edges)
    note = np.searchsorted(onsets, start, side="right") - 1
    slot = np.searchsorted(slot_start, start, side="right") - 1
    note_midi = np.array([n.pitch.midi if n.pitch else -1 for n in notes])
    step = np.array([n.pitch.staff_step if n.pitch else -1 for n in notes])[note]
    midi = note_midi[note]
    first = np.searchsorted(slot, np.arange(len(starts)))
    beat, on_beat = _beats(tune, start, ticks)
    struck = start == onsets[note]
    goes_on = np.append(note[1:] == note[:-1], False)
    return Grid(
        ticks, slot, note, start, length, midi, step, ~struck & (midi >= 0),
        goes_on & (midi >= 0), np.arange(len(slot)) - first[slot], slot_start,
        np.array([start.weight for start in starts]),
        np.array([start.bar for start in starts]), beat, on_beat, onsets, note_midi,
    )  # fmt: skip


def _ticks_of(times: list[Fraction], ticks: int) -> Ints:
    return np.array([t.numerator * (ticks // t.denominator) for t in times], np.int64)


def _beats(tune: Tune, start: Ints, ticks: int) -> tuple[Ints, Flags]:
    """Return the beat length at each onset and whether a beat starts there."""
    bars = tune.bars
    begins = _ticks_of([bar.start for bar in bars], ticks)
    offsets = _ticks_of([bar.offset for bar in bars], ticks)
    beats = _ticks_of([bar.time.beat for bar in bars], ticks)
    bar = np.searchsorted(begins, start, side="right") - 1
    inside = start - begins[bar] + offsets[bar]
    return beats[bar], inside % beats[bar] == 0
