"""Where chords may change, and the tune cut there: one array a fact.

The slots of each metre are common practice: two a bar in 4/4, 6/8, 2/2 and 2/4, one
in 3/4, every beat in hymns. No slot begins after the last note, nor on a rest that
lasts until the next slot; a pickup of one beat or less goes without a chord.

A *part* is a stretch of one tune note (or rest) inside one slot. Times are whole ticks;
notes are MIDI numbers. Parts before the first slot (a pickup that goes alone) are left
out.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.theory.arrangement import HarmonicRhythm
from harmonise.theory.metre import TimeSignature, half_bar_starts
from harmonise.theory.phrases import closing_beats
from harmonise.theory.tune import Bar, ChordAt, Tune

SLOW = 84
"""Counted beats a minute up to which a tune that moves in beats goes like a hymn."""
QUICKEST = 120
"""Chord changes a minute that a player still follows at sight."""


class SlotStart(NamedTuple):
    """The start of a slot.

    Attributes:
        onset: In ticks.
        weight: Metric weight, 1 to 3.
        bar: Index of the bar in the tune.
        spare: Whether the metre has no slot here, only a close may need one.
    """

    onset: int
    weight: int
    bar: int
    spare: bool = False


def in_ticks(time: Fraction, ticks: int) -> int:
    """Return a time in ticks; the ticks divide it without rest."""
    return time.numerator * (ticks // time.denominator)


def ticks_per_crotchet(tune: Tune, locks: tuple[ChordAt, ...] = ()) -> int:
    """Return the coarsest whole grid on which all onsets and beats of a tune fall."""
    parts = {bar.time.beat.denominator for bar in tune.bars}
    parts |= {bar.length.denominator for bar in tune.bars}
    parts |= {note.length.denominator for note in tune.notes}
    parts |= {note.onset.denominator for note in tune.notes}
    parts |= {lock.onset.denominator for lock in locks}
    parts |= {lock.end.denominator for lock in locks}
    return lcm(2, *parts)


def settle_rhythm(tune: Tune, asked: HarmonicRhythm) -> HarmonicRhythm:
    """Return the harmonic rhythm to use; "auto" looks at metre, tempo and notes.

    A hymn has a chord a beat. Otherwise chords may change twice in a bar of even time,
    unless that were quicker than two changes a second; and once in a bar of triple
    time. Common practice.
    """
    if asked is not HarmonicRhythm.AUTO:
        return asked
    time, pace = tune.bars[0].time, pace_of(tune)
    if is_hymn(tune):
        return HarmonicRhythm.BEAT
    halves = len(half_bar_starts(time))
    if halves == 1 or pace * halves > QUICKEST * time.bar_length / time.beat:
        return HarmonicRhythm.BAR
    return HarmonicRhythm.HALF_BAR


def is_hymn(tune: Tune) -> bool:
    """Return whether most notes of a tune last a beat, and a sign tells of a hymn.

    The signs are fermatas at the ends of lines, a slow tempo, or a tune that goes on by
    step from strong beats through four lines, so that no chord can last for two. Words
    are none, for many songs go in crotchets (common practice).
    """
    pace = pace_of(tune)
    if pace > QUICKEST:
        return False
    holds = sum(note.fermata for note in tune.sounding)
    # The more lines are held, the more passing notes a hymn may have between beats.
    quick = Fraction(min(holds, 5), 10) if holds > 1 else Fraction(1, 10)
    if holds > 1 or 0 < pace <= SLOW:
        return _moves_in_beats(tune, quick)
    return _moves_in_beats(tune, Fraction(1, 20)) and _walks(tune)


def _walks(tune: Tune) -> bool:
    """Whether a tune of four lines and more goes by step from many strong beats."""
    if len(tune.phrases) < _LINES:
        return False
    onsets = {note.onset: note.pitch for note in tune.sounding}
    steps = halves = 0
    for bar in tune.bars:
        beat, starts = bar.time.beat, half_bar_starts(bar.time)
        if bar.length < bar.time.bar_length or len(starts) * 2 != bar.time.beats:
            continue
        for start in starts:
            here, after = (onsets.get(bar.start + start + at) for at in (0, beat))
            halves += 1
            if here and after:
                steps += abs(here.midi - after.midi) in (1, 2)
    # Lines that all begin with an upbeat are a verse: there it takes fewer steps.
    share = Fraction(1, 4) if _has_upbeats(tune) else Fraction(2, 5)
    return steps >= share * halves > 0


def _has_upbeats(tune: Tune) -> bool:
    """Whether every line begins on the last beat of a bar."""
    for start in (Fraction(0), *tune.phrases[:-1]):
        bar = tune.bar_at(start)
        if start != bar.end - bar.time.beat:
            return False
    return True


_LINES = 4
"""Lines of a hymn's verse, at the least."""


def _moves_in_beats(tune: Tune, quick: Fraction) -> bool:
    """Whether at most such a share of notes is shorter, and most beats have a note."""
    notes = tune.sounding
    short = sum(note.length < tune.bar_at(note.onset).time.beat for note in notes)
    beats = sum(bar.length / bar.time.beat for bar in tune.bars)
    return short <= quick * len(notes) and 2 * len(notes) > beats


def pace_of(tune: Tune) -> Fraction:
    """Return the counted beats a minute; 0 where no tempo is given."""
    return tune.pace / tune.bars[0].time.beat


def chord_slots(
    tune: Tune,
    rhythm: HarmonicRhythm,
    ticks: int,
    locks: tuple[ChordAt, ...],
    alike: Sequence[int],
) -> tuple[tuple[SlotStart, ...], int]:
    """Return the places where the chord may change, and where the chords begin.

    Args:
        tune: The tune.
        rhythm: Settled harmonic rhythm, not "auto".
        ticks: Ticks per crotchet.
        locks: Locked chords; each begins a slot of its own.
        alike: For each bar the first one whose chords it must have.

    Returns:
        Slot starts in order, at least one, and the first tick that has a chord.
    """
    edges = sorted({int(t * ticks) for lock in locks for t in (lock.onset, lock.end)})
    if rhythm is HarmonicRhythm.BEAT:
        passing = _passing(tune, ticks).difference(edges)
    else:
        passing = set()
    first = min([_first_chord(tune, ticks), *edges[:1]])
    last = in_ticks(tune.sounding[-1].onset, ticks)
    starts = [
        start
        for index, bar in enumerate(tune.bars)
        for start in _bar_slots(index, bar, rhythm, ticks)
        if first <= start.onset <= last
    ]
    starts = [
        start._replace(spare=start.weight == 1 and start.onset in passing)
        for start in starts
    ]
    if not starts or starts[0].onset > first:
        index = tune.bars.index(tune.bar_at(Fraction(first, ticks)))
        starts.insert(0, SlotStart(first, 3, index))
    # A lock may begin or end where no slot of the metre does, and a close needs room:
    # then one begins there.
    known, begin = {start.onset for start in starts}, starts[0].onset
    begins, end = [in_ticks(bar.start, ticks) for bar in tune.bars], tune.end * ticks
    room = set[int]()
    if rhythm is not HarmonicRhythm.BEAT:
        room = {in_ticks(onset, ticks) for onset in closing_beats(tune, alike)}
        room = {at for at in room if at <= last}.difference(edges)
    for edge in (*edges, *room):
        if edge not in known and begin < edge < end:
            index = bisect_right(begins, edge) - 1
            bar = tune.bars[index]
            inside = Fraction(edge - begins[index], ticks)
            weight = max(1, bar.time.weight(inside + bar.offset))
            starts.append(SlotStart(edge, weight, index, edge in room))
    return _without_silent(tune, sorted(starts), ticks), first


def _passing(tune: Tune, ticks: int) -> set[int]:
    """Return the ticks of notes of a beat or less that are come to and left by step.

    On a weak beat such a note may pass over the chord before (common practice).
    """
    found = set()
    for before, note, after in zip(
        tune.notes, tune.notes[1:], tune.notes[2:], strict=False
    ):
        if before.pitch and note.pitch and after.pitch:
            ways = (
                note.pitch.midi - before.pitch.midi,
                after.pitch.midi - note.pitch.midi,
            )
            short = note.length <= tune.bar_at(note.onset).time.beat
            if short and all(abs(way) in (1, 2) for way in ways):
                found.add(in_ticks(note.onset, ticks))
    return found


def _bar_slots(
    index: int, bar: Bar, rhythm: HarmonicRhythm, ticks: int
) -> Iterator[SlotStart]:
    """Yield the slots of one bar; the opening of a pickup is always one."""
    begin, skipped = in_ticks(bar.start, ticks), in_ticks(bar.offset, ticks)
    end = skipped + in_ticks(bar.length, ticks)
    inside = _slots_to_the_end(bar.time, rhythm, ticks, skipped, end)
    if bar.number == 0 and not (inside and inside[0][0] == 0):
        inside = ((0, 1), *inside)
    return (SlotStart(begin + at, weight, index) for at, weight in inside)


@lru_cache(maxsize=256)
def _slots_to_the_end(
    time: TimeSignature, rhythm: HarmonicRhythm, ticks: int, skipped: int, end: int
) -> tuple[tuple[int, int], ...]:
    """Return slots of a full bar, again and again where a bar is longer than that.

    A psalm tone, or a hymn without metre, has bars longer than its signature.

    Args:
        time: The time signature.
        rhythm: Settled harmonic rhythm.
        ticks: Ticks per crotchet.
        skipped: What the bar lacks at its beginning, in ticks.
        end: Where it ends, in ticks from where its bar line would be.

    Returns:
        Ticks from the beginning of the bar, and metric weights.
    """
    full = [
        (in_ticks(offset, ticks), time.weight(offset))
        for offset in slot_offsets(time, rhythm)
    ]
    return tuple(
        (line + at - skipped, weight)
        for line in range(0, end, in_ticks(time.bar_length, ticks))
        for at, weight in full
        if skipped <= line + at < end
    )


def slot_offsets(time: TimeSignature, rhythm: HarmonicRhythm) -> tuple[Fraction, ...]:
    """Return the slots of a full bar, in crotchets from the bar line.

    Source: common practice.

    >>> from harmonise.theory.metre import TimeSignature
    >>> [str(at) for at in slot_offsets(TimeSignature(6, 8), HarmonicRhythm.HALF_BAR)]
    ['0', '3/2']
    """
    if rhythm is HarmonicRhythm.BEAT:
        return time.beat_starts
    if rhythm is HarmonicRhythm.BAR:
        return (Fraction(0),)
    return half_bar_starts(time)


def _first_chord(tune: Tune, ticks: int) -> int:
    """Return the tick of the first chord: after a short pickup and leading rests."""
    bar = tune.bars[0]
    start = Fraction(0)
    # A pickup after which nothing sounds is the whole tune, and has the chord itself.
    short = bar.number == 0 and bar.length <= bar.time.beat
    if short and tune.sounding[-1].end > bar.end:
        start = bar.end
    onset = next(note.onset for note in tune.sounding if note.end > start)
    bar = tune.bar_at(onset)
    return int(max(bar.start, start) * ticks)


def _without_silent(
    tune: Tune, starts: list[SlotStart], ticks: int
) -> tuple[SlotStart, ...]:
    """Leave out the slots in which the tune only rests: the chord before carries on."""
    notes = tune.sounding
    onsets = _all_in_ticks([note.onset for note in notes], ticks)
    ends = onsets + _all_in_ticks([note.length for note in notes], ticks)
    begins = np.array([start.onset for start in starts])
    # The last note begun before a slot ends: if it is over already, all is silent.
    last = np.searchsorted(onsets, np.append(begins[1:], int(tune.end * ticks))) - 1
    sounds = (last >= 0) & (ends[last] > begins)
    sounds[0] = True
    return tuple(start for start, heard in zip(starts, sounds, strict=True) if heard)


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
        order: Number of the part in its slot, from 0.
        slot_start: Onset of each slot, in ticks; one more entry for the end.
        slot_weight: Metric weight of each slot's start, 1 to 3.
        slot_bar: Index of the bar of each slot's start.
        slot_spare: Whether each slot is there only because a close may need it.
        beat: Length of the counted beat in ticks, for each part.
        on_beat: Whether each part starts on a counted beat.
        note_onset: Onset of each tune note, in ticks.
        note_midi: MIDI number of each tune note; -1 for a rest.
        alike: For each slot the first one whose chord it must have, itself if none.
    """

    ticks: int
    slot: Ints
    note: Ints
    start: Ints
    length: Ints
    midi: Ints
    step: Ints
    held: Flags
    order: Ints
    slot_start: Ints
    slot_weight: Ints
    slot_bar: Ints
    slot_spare: Flags
    beat: Ints
    on_beat: Flags
    note_onset: Ints
    note_midi: Ints
    alike: Ints

    @property
    def slots(self) -> int:
        """Number of slots."""
        return len(self.slot_weight)

    @property
    def starts(self) -> Iterator[SlotStart]:
        """The start of each slot."""
        rows = (self.slot_start, self.slot_weight, self.slot_bar, self.slot_spare)
        return map(SlotStart, *(row.tolist()[: self.slots] for row in rows))


def cut(tune: Tune, starts: tuple[SlotStart, ...], ticks: int) -> Grid:
    """Return the parts of a tune under the given slots."""
    notes = tune.notes
    onsets = _all_in_ticks([note.onset for note in notes], ticks)
    end = int(tune.end * ticks)
    slot_start = np.array([start.onset for start in starts] + [end])
    # A part begins wherever a note or a slot does.
    # (np.unique would load numpy.ma, which takes as long as all else here.)
    edges = np.array(sorted({*onsets.tolist(), *slot_start.tolist()}))
    edges = edges[(edges >= slot_start[0]) & (edges <= end)]
    start, length = edges[:-1], np.diff(edges)
    # Each part belongs to the last note, and to the last slot, begun by then.
    note = np.searchsorted(onsets, start, side="right") - 1
    slot = np.searchsorted(slot_start, start, side="right") - 1
    note_midi = np.array([n.pitch.midi if n.pitch else -1 for n in notes])
    step = np.array([n.pitch.staff_step if n.pitch else -1 for n in notes])[note]
    midi = note_midi[note]
    first = np.searchsorted(slot, np.arange(len(starts)))
    beat, on_beat = _beats(tune, start, ticks)
    held = (start > onsets[note]) & (midi >= 0)
    return Grid(
        ticks, slot, note, start, length, midi, step, held,
        np.arange(len(slot)) - first[slot], slot_start,
        np.array([start.weight for start in starts]),
        np.array([start.bar for start in starts]),
        np.array([start.spare for start in starts]), beat, on_beat, onsets, note_midi,
        np.arange(len(starts)),
    )  # fmt: skip


def _all_in_ticks(times: list[Fraction], ticks: int) -> Ints:
    return np.array([t.numerator * (ticks // t.denominator) for t in times], np.int64)


def _beats(tune: Tune, start: Ints, ticks: int) -> tuple[Ints, Flags]:
    """Return the beat length at each onset and whether a beat starts there."""
    bars = tune.bars
    begins = _all_in_ticks([bar.start for bar in bars], ticks)
    offsets = _all_in_ticks([bar.offset for bar in bars], ticks)
    beat_of = {time: in_ticks(time.beat, ticks) for time in {bar.time for bar in bars}}
    beats = np.array([beat_of[bar.time] for bar in bars])
    bar = np.searchsorted(begins, start, side="right") - 1
    inside = start - begins[bar] + offsets[bar]
    return beats[bar], inside % beats[bar] == 0
