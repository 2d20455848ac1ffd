"""What is heard where: the tune cut at slots, counted by degree, slot and bar."""

from typing import NamedTuple

import numpy as np

from harmonise.choice.fitted.words import (
    Flags,
    Floats,
    Ints,
    Notes,
    Pieces,
    Slots,
    Standing,
    grain,
)


def cut(slots: Slots, notes: Notes) -> Pieces:
    """Cut the notes at slot boundaries."""
    end, off = slots.start + slots.length, notes.onset + notes.length
    begin = np.searchsorted(end, notes.onset, side="right")
    count = np.maximum(np.searchsorted(slots.start, off, side="left") - begin, 0)
    note = np.repeat(np.arange(len(off)), count)
    slot = (
        np.arange(len(note))
        - np.repeat(np.cumsum(count) - count, count)
        + np.repeat(begin, count)
    )
    start, stop = (
        np.maximum(notes.onset[note], slots.start[slot]),
        np.minimum(off[note], end[slot]),
    )
    keep = stop > start
    note, slot = note[keep], slot[keep]
    midi = notes.midi[note]
    degree = np.where(midi < 0, -1, (midi - slots.tonic[slot]) % 12)
    return Pieces(note, slot, start[keep], stop[keep], degree)


def place_in_sections(slots: Slots) -> Standing:
    """Number the bars and count them from and to the ends of their sections."""
    first = np.flatnonzero(np.r_[True, slots.bar[1:] != slots.bar[:-1]])
    bar = np.cumsum(np.r_[False, slots.bar[1:] != slots.bar[:-1]])
    section = slots.section[first]
    part = np.cumsum(np.r_[False, section[1:] != section[:-1]])
    opening = np.flatnonzero(np.r_[True, section[1:] != section[:-1]])
    closing = np.r_[opening[1:], len(first)] - 1
    number = np.arange(len(first))
    return Standing(
        bar,
        first,
        (number - opening[part])[bar],
        (closing[part] - number)[bar],
        part[bar],
    )


def count_degrees(
    pieces: Pieces, chosen: Flags, weight: Floats | None, size: int
) -> Floats:
    """Add up pieces by slot and degree, leaving out rests."""
    keep = chosen & (pieces.degree >= 0)
    cells = pieces.slot[keep] * 12 + pieces.degree[keep]
    return (
        np.bincount(cells, None if weight is None else weight[keep], size * 12)
        .astype(float)
        .reshape(size, 12)
    )


def longest_note(pieces: Pieces, size: int) -> Floats:
    """Mark the longest note of each slot (the first of equals)."""
    order = np.lexsort(
        (-np.arange(len(pieces.slot)), pieces.end - pieces.start, pieces.slot)
    )
    slot = pieces.slot[order]
    last = order[np.r_[slot[1:] != slot[:-1], True]] if len(order) else order
    chosen = np.zeros(len(pieces.slot), bool)
    chosen[last] = True
    return count_degrees(pieces, chosen, None, size)


def extreme_degrees(notes: Notes, pieces: Pieces, group: Ints, sign: int) -> Ints:
    """Return the degree of the lowest note of each slot's group; of the highest for -1.

    Args:
        notes: The tune.
        pieces: Its pieces.
        group: Group of each slot, in rising order.
        sign: 1 for the lowest note, -1 for the highest.

    Returns:
        Degrees by slot, -1 where the group has no note.
    """
    sounding = np.flatnonzero(pieces.degree >= 0)
    home, midi = group[pieces.slot[sounding]], notes.midi[pieces.note[sounding]]
    # The last to be written stays: the most extreme of each group.
    order = np.lexsort((-sign * midi, home))
    out = np.full(int(group[-1]) + 1, -1)
    out[home[order]] = pieces.degree[sounding][order]
    return out[group]


def opening_degrees(pieces: Pieces, group: Ints, size: int) -> Ints:
    """Return the first degree of each group of slots, -1 where none sounds."""
    out = np.full(size, -1)
    sounding = np.flatnonzero(pieces.degree >= 0)[::-1]
    out[group[pieces.slot[sounding]]] = pieces.degree[sounding]
    return out


def closing_degrees(pieces: Pieces, group: Ints, size: int) -> Ints:
    """Return the last degree of each group of slots, -1 where none sounds."""
    out = np.full(size, -1)
    sounding = pieces.degree >= 0
    out[group[pieces.slot[sounding]]] = pieces.degree[sounding]
    return out


class Degrees(NamedTuple):
    """Degrees by slot and bar: rows of 12 columns.

    Attributes:
        share: Share of each slot in which each degree sounds.
        first: Degree that sounds at the start of each slot.
        middle: Degree that sounds in the middle of each slot.
        last: Degree that sounds up to the end of each slot.
        longest: Degree of the longest note of each slot.
        bars: Share of each bar in which each degree sounds.
        low: Lowest degree of each slot as a number, -1 where none sounds.
        high: Highest degree of each slot, likewise.
    """

    share: Floats
    first: Floats
    middle: Floats
    last: Floats
    longest: Floats
    bars: Floats
    low: Ints
    high: Ints


def degrees(slots: Slots, notes: Notes, pieces: Pieces, frame: Standing) -> Degrees:
    """Sum up the degrees heard in each slot and bar."""
    size, every = len(slots.start), np.ones(len(pieces.slot), bool)
    ticks = count_degrees(
        pieces, every, (pieces.end - pieces.start).astype(float), size
    )
    start, end = slots.start[pieces.slot], (slots.start + slots.length)[pieces.slot]
    half = start + (end - start) // 2
    length, slot = np.add.reduceat(slots.length, frame.first), np.arange(size)
    return Degrees(
        grain(ticks / slots.length[:, None]),
        count_degrees(pieces, pieces.start == start, None, size),
        count_degrees(pieces, (pieces.start <= half) & (pieces.end > half), None, size),
        count_degrees(pieces, pieces.end == end, None, size),
        longest_note(pieces, size),
        grain(np.add.reduceat(ticks, frame.first, axis=0) / length[:, None]),
        extreme_degrees(notes, pieces, slot, 1),
        extreme_degrees(notes, pieces, slot, -1),
    )


class Sight(NamedTuple):
    """A tune as the chooser sees it: pieces and counts that all facts are made of."""

    slots: Slots
    notes: Notes
    pieces: Pieces
    frame: Standing
    heard: Degrees


def look(slots: Slots, notes: Notes) -> Sight:
    """Cut and count a tune once, for every table and palette."""
    pieces, frame = cut(slots, notes), place_in_sections(slots)
    return Sight(slots, notes, pieces, frame, degrees(slots, notes, pieces, frame))


def twins(sight: Sight) -> Ints:
    """Number the slots so that equal places in identical bars share a number.

    Bars are identical when their notes have the same times and degrees.
    """
    slots, pieces, frame = sight.slots, sight.pieces, sight.frame
    origin = slots.start[frame.first][frame.bar]
    heard = (
        pieces.start - origin[pieces.slot],
        pieces.end - pieces.start,
        pieces.degree,
    )
    bars = len(frame.first)
    rows = [
        *(_by_bar(frame.bar[pieces.slot], values, bars) for values in heard),
        _by_bar(frame.bar, slots.start - origin, bars),
    ]
    _, model, kind = np.unique(
        np.concatenate(rows, axis=1), axis=0, return_index=True, return_inverse=True
    )
    first = frame.first[model[kind.ravel()]][frame.bar]
    return first + np.arange(len(slots.start)) - frame.first[frame.bar]


def _by_bar(bar: Ints, values: Ints, bars: int) -> Ints:
    """Return values in a row for each bar, -2 where a bar has fewer than others."""
    begin = np.searchsorted(bar, np.arange(bars))
    at = np.arange(len(bar)) - begin[bar]
    table = np.full((bars, int(at.max(initial=0)) + 1), -2)
    table[bar, at] = values
    return table


def share_with_twins(unary: Floats, twin: Ints, share: float) -> Floats:
    """Mix each slot's costs with the mean over the same places of identical bars."""
    size, count = unary.shape[1], np.bincount(twin)[twin]
    cells = (twin[:, None] * size + np.arange(size)).ravel()
    total = np.bincount(cells, unary.ravel()).reshape(-1, size)[twin]
    return (1.0 - share) * unary + share * (total / count[:, None])
