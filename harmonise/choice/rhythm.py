"""Where chords may change.

The slots of each metre are common practice: two a bar in 4/4, 6/8, 2/2 and 2/4, one
in 3/4, every beat in hymns. No slot begins after the last note, nor on a rest that
lasts until the next slot; a pickup of one beat or less goes without a chord.
"""

from fractions import Fraction
from functools import lru_cache
from math import lcm
from typing import NamedTuple

from harmonise.theory.arrangement import HarmonicRhythm
from harmonise.theory.metre import TimeSignature, half_bar_starts
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
    """

    onset: int
    weight: int
    bar: int


def in_ticks(time: Fraction, ticks: int) -> int:
    """Return a time in ticks; the ticks divide it without rest."""
    return time.numerator * (ticks // time.denominator)


def ticks_per_crotchet(tune: Tune, locks: tuple[ChordAt, ...] = ()) -> int:
    """Return the coarsest whole grid on which all onsets and beats of a tune fall."""
    found = {bar.time.beat.denominator for bar in tune.bars}
    found |= {bar.length.denominator for bar in tune.bars}
    found |= {note.length.denominator for note in tune.notes}
    found |= {note.onset.denominator for note in tune.notes}
    found |= {lock.onset.denominator for lock in locks}
    found |= {lock.end.denominator for lock in locks}
    return lcm(2, *found)


def settle_rhythm(tune: Tune, asked: HarmonicRhythm) -> HarmonicRhythm:
    """Return the harmonic rhythm to use; "auto" looks at metre, tempo and notes.

    A slow tune that moves in beats goes like a hymn, a chord a beat. Otherwise chords
    may change twice in a bar of even time, unless that were quicker than two changes a
    second; and once in a bar of triple time. Common practice.
    """
    if asked is not HarmonicRhythm.AUTO:
        return asked
    time, pace = tune.bars[0].time, pace_of(tune)
    if 0 < pace <= SLOW and _moves_in_beats(tune):
        return HarmonicRhythm.BEAT
    halves = len(half_bar_starts(time))
    if halves == 1 or pace * halves > QUICKEST * time.bar_length / time.beat:
        return HarmonicRhythm.BAR
    return HarmonicRhythm.HALF_BAR


def _moves_in_beats(tune: Tune) -> bool:
    """Whether nearly all notes last a beat or longer, and most beats have a note."""
    beats = [tune.bar_at(note.onset).time.beat for note in tune.sounding]
    pairs = list(zip(tune.sounding, beats, strict=True))
    short = sum(note.length < beat for note, beat in pairs)
    whole = sum(bar.length / bar.time.beat for bar in tune.bars)
    return 10 * short <= len(pairs) and 2 * len(pairs) > whole


def pace_of(tune: Tune) -> Fraction:
    """Return the counted beats a minute; 0 where no tempo is given."""
    if not tune.tempos:
        return Fraction(0)
    mark = tune.tempos[0]
    return mark.per_minute * mark.beat / tune.bars[0].time.beat


def chord_slots(
    tune: Tune,
    rhythm: HarmonicRhythm,
    ticks: int,
    locks: tuple[ChordAt, ...] = (),
) -> tuple[tuple[SlotStart, ...], int]:
    """Return the places where the chord may change, and where the chords begin.

    Args:
        tune: The tune.
        rhythm: Settled harmonic rhythm, not "auto".
        ticks: Ticks per crotchet.
        locks: Locked chords; each begins a slot of its own.

    Returns:
        Slot starts in order, at least one, and the first tick that has a chord.
    """
    edges = sorted({int(t * ticks) for lock in locks for t in (lock.onset, lock.end)})
    first = min([_first_chord(tune, ticks), *edges[:1]])
    last = _last_onset(tune, ticks)
    found: list[SlotStart] = []
    for index, bar in enumerate(tune.bars):
        begin = in_ticks(bar.start, ticks)
        for offset, weight in _bar_slots(bar, rhythm, ticks):
            onset = begin + offset
            if first <= onset <= last:
                found.append(SlotStart(onset, weight, index))
    if not found or found[0].onset > first:
        index = tune.bars.index(tune.bar_at(Fraction(first, ticks)))
        found.insert(0, SlotStart(first, 3, index))
    found = _with_edges(tune, found, edges, ticks)
    return _without_silent(tune, found, ticks), first


def _with_edges(
    tune: Tune, starts: list[SlotStart], edges: list[int], ticks: int
) -> list[SlotStart]:
    """Add a slot at every edge of a lock that no slot begins at."""
    known = {start.onset for start in starts}
    for edge in edges:
        if edge not in known and starts[0].onset < edge < int(tune.end * ticks):
            onset = Fraction(edge, ticks)
            bar = tune.bar_at(onset)
            weight = max(1, bar.time.weight(onset - bar.start + bar.offset))
            starts.append(SlotStart(edge, weight, tune.bars.index(bar)))
    return sorted(starts)


def _bar_slots(bar: Bar, rhythm: HarmonicRhythm, ticks: int) -> list[tuple[int, int]]:
    """Return (ticks from the bar's start, weight) of the slots in one bar."""
    skipped = in_ticks(bar.offset, ticks)
    length = in_ticks(bar.length, ticks)
    inside = [
        (at - skipped, weight)
        for at, weight in _full_bar_slots(bar.time, rhythm, ticks)
        if 0 <= at - skipped < length
    ]
    if bar.number == 0 and not (inside and inside[0][0] == 0):
        inside.insert(0, (0, 1))
    return inside


@lru_cache(maxsize=64)
def _full_bar_slots(
    time: TimeSignature, rhythm: HarmonicRhythm, ticks: int
) -> tuple[tuple[int, int], ...]:
    return tuple(
        (in_ticks(offset, ticks), time.weight(offset))
        for offset in slot_offsets(time, rhythm)
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
    if bar.number == 0 and len(tune.bars) > 1 and bar.length <= bar.time.beat:
        start = bar.end
    onset = next((n.onset for n in tune.sounding if n.end > start), start)
    bar = tune.bar_at(onset)
    return int(max(bar.start, start) * ticks)


def _last_onset(tune: Tune, ticks: int) -> int:
    return in_ticks(tune.sounding[-1].onset, ticks)


def _without_silent(
    tune: Tune, starts: list[SlotStart], ticks: int
) -> tuple[SlotStart, ...]:
    """Leave out the slots in which the tune only rests: the chord before carries on."""
    rests = _rests(tune, ticks)
    if not rests:
        return tuple(starts)
    ends = [start.onset for start in starts[1:]] + [int(tune.end * ticks)]
    kept: list[SlotStart] = []
    at = 0
    for start, end in zip(starts, ends, strict=True):
        while at < len(rests) and rests[at][1] < end:
            at += 1
        silent = at < len(rests) and rests[at][0] <= start.onset
        if not (kept and silent):
            kept.append(start)
    return tuple(kept)


def _rests(tune: Tune, ticks: int) -> list[tuple[int, int]]:
    """Return start and end of each silence; rests that follow one another are one."""
    found: list[tuple[int, int]] = []
    for note in tune.notes:
        if note.pitch is None:
            onset, end = in_ticks(note.onset, ticks), in_ticks(note.end, ticks)
            joins = bool(found) and found[-1][1] == onset
            found[-1:] = [(found[-1][0], end)] if joins else [*found[-1:], (onset, end)]
    return found
