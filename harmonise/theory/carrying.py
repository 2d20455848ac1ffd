"""Locked chords carried from a tune as it was to the same tune after a change.

A lock stays with its bar. The old bars and the new ones are laid against each other at
the least cost: for a bar that was put in or taken out, its length; for two bars that
are taken for one, twice the time in which they sound otherwise, once for what was and
once for what is. So bars that are the same are found wherever they went, and a bar
whose notes are all others is still the bar in that place. Where the bar lines alone
have moved, as by another time signature, locks keep their times.

A tune that has moved to another key takes its locks along. Heights are compared by
pitch classes, for a tune an octave lower has the same chords. Costs and pairs are
exact; of equally good ways the one is taken that pairs bars from the front.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from difflib import SequenceMatcher
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from harmonise.theory.key import major_fifths
from harmonise.theory.transposing import along_the_fifths
from harmonise.theory.tune import Bar, ChordAt, Tune, TuneNote

_MOST = 40_000
"""Most pairs of bars that are tried; in longer stretches equal bars are found first."""


class CarriedLocks(NamedTuple):
    """Locked chords after a change of the tune.

    Attributes:
        locks: As they are now, in order.
        lost: Those whose place is gone, as they were.
    """

    locks: tuple[ChordAt, ...]
    lost: tuple[ChordAt, ...] = ()


class _Sound(NamedTuple):
    """A note or rest as a bar has it: when it begins and ends in it, and its class.

    Times are whole parts of a crotchet from where the full bar begins.
    """

    start: int
    end: int
    sounds: int


class _Heard(NamedTuple):
    """What is heard in a bar, and where in the full bar it begins and ends."""

    start: int
    end: int
    sounds: tuple[_Sound, ...]


_REST = -1
_Pair = tuple[int, int]


def carried(before: Tune, after: Tune, locks: Sequence[ChordAt]) -> CarriedLocks:
    """Return the locked chords of a tune where they belong after a change of it.

    Args:
        before: The tune as the locks were made for it.
        after: The tune as it is now.
        locks: The chords, in order, in the key of the tune as it was.
    """
    parts = _parts(before, after)
    ways = (
        (cost, order, fifths, pairs)
        for order, fifths in enumerate(_moves(before, after))
        for cost, pairs in [_aligned(before, after, fifths, parts)]
    )
    _, _, fifths, pairs = min(ways)
    stays = _same_times(before, after, fifths)
    kept: list[ChordAt] = []
    lost: list[ChordAt] = []
    for lock in locks:
        moved = lock._replace(chord=along_the_fifths(lock.chord, fifths))
        if stays:
            found = [moved._replace(end=min(lock.end, after.end))]
            found = [one for one in found if one.onset < one.end]
        else:
            found = list(_laid(moved, before.bars, after.bars, pairs))
        kept += found
        lost += [] if found else [lock]
    return CarriedLocks(tuple(kept), tuple(lost))


def _moves(before: Tune, after: Tune) -> tuple[int, ...]:
    """Return by how many fifths the tune may have moved: none, or as its key did."""
    old, new = before.key, after.key
    keynotes = major_fifths(new.tonic) - major_fifths(old.tonic)
    return tuple(dict.fromkeys((0, keynotes, new.fifths - old.fifths)))


def _parts(*tunes: Tune) -> int:
    """Return into how many parts of a crotchet all times of the tunes are whole."""
    times: list[Fraction] = []
    for tune in tunes:
        times += [note.length for note in tune.notes]
        times += [time for bar in tune.bars for time in (bar.length, bar.offset)]
    return lcm(*{time.denominator for time in times})


def _onset(note: TuneNote) -> Fraction:
    return note.onset


def _class(note: TuneNote, fifths: int = 0) -> int:
    return _REST if note.pitch is None else (note.pitch.midi + 7 * fifths) % 12


def _same_times(before: Tune, after: Tune, fifths: int) -> bool:
    """Whether the notes are those of before and the bar lines alone have moved."""

    def heard(tune: Tune, moved: int) -> list[tuple[Fraction, int]]:
        return [(note.onset, _class(note, moved)) for note in tune.notes]

    if [bar.start for bar in before.bars] == [bar.start for bar in after.bars]:
        return False
    old, new = heard(before, fifths), heard(after, 0)
    # A time signature may want a rest at the end, or leave one out.
    short, long = sorted((old, new), key=len)
    rests = all(sounds == _REST for _, sounds in long[len(short) :])
    return rests and long[: len(short)] == short


def _heard(tune: Tune, fifths: int, parts: int) -> list[_Heard]:
    """Return what is heard in each bar of a tune."""
    found = []
    first = 0
    for bar in tune.bars:
        while tune.notes[first].end <= bar.start:
            first += 1
        origin = bar.start - bar.offset
        sounds = []
        last = bisect_left(tune.notes, bar.end, key=_onset)
        for note in tune.notes[first:last]:
            start = int((note.onset - origin) * parts)
            end = int((min(note.end, bar.end) - origin) * parts)
            sounds.append(_Sound(start, end, _class(note, fifths)))
        begins, ends = ((time - origin) * parts for time in (bar.start, bar.end))
        found.append(_Heard(int(begins), int(ends), tuple(sounds)))
    return found


def _aligned(
    before: Tune, after: Tune, fifths: int, parts: int
) -> tuple[int, tuple[_Pair, ...]]:
    """Return what the change costs at least, and which old bar is which new one."""
    old, new = _heard(before, fifths, parts), _heard(after, 0, parts)
    pairs = tuple(_pairs(old, new, 0, 0))
    paired = sum(_unlike(old[i], new[j]) for i, j in pairs)
    alone = sum(bar.end - bar.start for bar in (*old, *new))
    both = sum(old[i].end - old[i].start + new[j].end - new[j].start for i, j in pairs)
    return paired + alone - both, pairs


def _pairs(
    old: Sequence[_Heard], new: Sequence[_Heard], i: int, j: int
) -> Iterator[_Pair]:
    """Yield which bar is which, in order.

    Args:
        old: A stretch of the old bars.
        new: A stretch of the new ones.
        i: Number of the first old bar.
        j: Number of the first new one.
    """
    front = 0
    while front < min(len(old), len(new)) and old[front] == new[front]:
        yield i + front, j + front
        front += 1
    back = 0
    while back < min(len(old), len(new)) - front and old[-1 - back] == new[-1 - back]:
        back += 1
    ends = len(old) - back, len(new) - back
    inner = old[front : ends[0]], new[front : ends[1]]
    yield from _inner(*inner, i + front, j + front)
    for step in range(back):
        yield i + ends[0] + step, j + ends[1] + step


def _inner(
    old: Sequence[_Heard], new: Sequence[_Heard], i: int, j: int
) -> Iterator[_Pair]:
    if len(old) * len(new) <= _MOST:
        yield from ((i + a, j + b) for a, b in _cheapest(old, new))
        return
    match = SequenceMatcher(None, old, new, autojunk=False).find_longest_match()
    if not match.size:
        yield from ((i + at, j + at) for at in range(min(len(old), len(new))))
        return
    a, b = match.a, match.b
    yield from _pairs(old[:a], new[:b], i, j)
    yield from _pairs(old[a:], new[b:], i + a, j + b)


def _cheapest(old: Sequence[_Heard], new: Sequence[_Heard]) -> list[_Pair]:
    """Return the pairs of the cheapest alignment (Needleman and Wunsch, 1970)."""
    lasts = [bar.end - bar.start for bar in new]
    # From the back, so that the way is read off from the front.
    costs = [[0] * (len(new) + 1) for _ in range(len(old) + 1)]
    for b in reversed(range(len(new))):
        costs[-1][b] = costs[-1][b + 1] + lasts[b]
    for a in reversed(range(len(old))):
        gone = old[a].end - old[a].start
        costs[a][-1] = costs[a + 1][-1] + gone
        for b in reversed(range(len(new))):
            costs[a][b] = min(
                costs[a + 1][b + 1] + _unlike(old[a], new[b]),
                costs[a + 1][b] + gone,
                costs[a][b + 1] + lasts[b],
            )
    pairs: list[_Pair] = []
    a = b = 0
    while a < len(old) and b < len(new):
        if costs[a][b] == costs[a + 1][b + 1] + _unlike(old[a], new[b]):
            pairs.append((a, b))
            a, b = a + 1, b + 1
        elif costs[a][b] == costs[a + 1][b] + old[a].end - old[a].start:
            a += 1
        else:
            b += 1
    return pairs


def _unlike(one: _Heard, other: _Heard) -> int:
    """Return twice the time in which two bars sound otherwise, in parts of a crotchet.

    A note is the same if it begins at the same place of the bar, too.
    """
    if one == other:
        return 0
    there = {(sound.start, sound.sounds): sound for sound in other.sounds}
    alike = 0
    for sound in one.sounds:
        same = there.get((sound.start, sound.sounds))
        if same:
            from_ = max(sound.start, one.start, other.start)
            alike += max(0, min(sound.end, same.end) - from_)
    start, end = min(one.start, other.start), max(one.end, other.end)
    return 2 * (end - start - alike)


def _laid(
    lock: ChordAt, old: Sequence[Bar], new: Sequence[Bar], pairs: Sequence[_Pair]
) -> Iterator[ChordAt]:
    """Yield a lock where its bars are now; in one piece as far as they still join."""
    going: ChordAt | None = None
    for i, j in pairs:
        was, now = old[i], new[j]
        if was.end <= lock.onset or was.start >= lock.end:
            continue
        shift = now.start - now.offset - was.start + was.offset
        start = max(lock.onset, was.start) + shift
        end = min(lock.end, was.end) + shift
        # All of a bar that was filled is filled, however long it is now.
        start = now.start if lock.onset <= was.start else max(start, now.start)
        end = now.end if lock.end >= was.end else min(end, now.end)
        if start >= end:
            continue
        if going and going.end == start:
            going = going._replace(end=end)
            continue
        if going:
            yield going
        going = lock._replace(onset=start, end=end)
    if going:
        yield going
