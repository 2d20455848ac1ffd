"""The words of the cost table: degrees, chords, and the slots and notes of a tune.

The chord chooser is a chain. Its units are *slots* (places where a chord may change).
Every slot has facts of the tune that do not depend on the chord, facts of how each
chord fits, and facts about the boundary before the slot. A table of costs turns them
into whole milli-costs for each chord and for each step from one chord to the next; the
cheapest path through those is the harmonisation.

All facts are multiples of 1/64 and all costs are whole numbers, so that the sums of
their products are exact in double precision: the same tune gives the same costs on
every machine, whatever the order of the sums. `look` cuts the tune at its slots and
counts what is heard there by degree, slot and bar; all facts are made of that.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

GRAIN = 64.0
DEGREES = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
INTERVALS = (
    "root", "semitone above the root", "second", "minor third", "major third",
    "fourth", "tritone", "fifth", "minor sixth", "sixth", "minor seventh",
    "major seventh",
)  # fmt: skip
# Chords are named by semitones above the keynote, in minor as in major: bIII, bVI and
# bVII are the usual III, VI and VII of minor (common practice).
CHORDS: tuple[tuple[str, int, str], ...] = (
    ("I", 0, "M"), ("i", 0, "m"), ("II", 2, "M"), ("ii", 2, "m"), ("iio", 2, "d"),
    ("bIII", 3, "M"), ("III", 4, "M"), ("iii", 4, "m"), ("IV", 5, "M"), ("iv", 5, "m"),
    ("V", 7, "M"), ("v", 7, "m"), ("bVI", 8, "M"), ("VI", 9, "M"), ("vi", 9, "m"),
    ("bVII", 10, "M"), ("viio", 11, "d"),
)  # fmt: skip
SIZE = len(CHORDS)
CHORD_NAMES = tuple(name for name, _, _ in CHORDS)
ROOTS = np.array([root for _, root, _ in CHORDS])
QUALITIES = ("major", "minor", "diminished")
QUALITY = np.array(["Mmd".index(q) for _, _, q in CHORDS])
TRIADS = {"M": (0, 4, 7), "m": (0, 3, 7), "d": (0, 3, 6)}
MEMBERS = np.zeros((12, len(CHORDS)), bool)
for _i, (_, _root, _quality) in enumerate(CHORDS):
    MEMBERS[[(_root + step) % 12 for step in TRIADS[_quality]], _i] = True
BAR_START, HALF_BAR, WEAK = 0, 1, 2
SIMPLE, COMPOUND, TRIPLE = 0, 1, 2
PLACES = ("bar line", "half-bar", "weak beat")
METRES = ("simple time", "compound time", "triple time")
HALVES = ("first slot", "later slot")
BARS_LEFT = (
    "last bar", "last bar but one", "last bar but two", "last bar but three",
    "4 bars before the last", "5 bars before the last", "6 bars before the last",
    "7 bars before the last", "8 or more bars before the last",
)  # fmt: skip


class Slots(NamedTuple):
    """Places where a chord may change, in order and without gaps.

    Attributes:
        start: Start of each slot, in ticks.
        length: Length of each slot, in ticks.
        place: BAR_START, HALF_BAR or WEAK.
        bar: Number of the bar of each slot (a pickup belongs to the bar it completes).
        section: Number of the section (a new one at a phrase line, repeat sign or
            double bar).
        tonic: Pitch class of the keynote in force.
        minor: Whether the key in force has a minor third.
        metre: SIMPLE (2 or 4 beats), COMPOUND (dotted beats) or TRIPLE, at the start.
        crotchet: Ticks in a crotchet.
    """

    start: Ints
    length: Ints
    place: Ints
    bar: Ints
    section: Ints
    tonic: Ints
    minor: Flags
    metre: int
    crotchet: int


class Notes(NamedTuple):
    """The notes of the tune, in order and not overlapping.

    Attributes:
        onset: Onset of each note, in ticks.
        length: Length of each note, in ticks.
        midi: MIDI number of each note, -1 for a rest.
    """

    onset: Ints
    length: Ints
    midi: Ints


class Pieces(NamedTuple):
    """Each note cut at slot boundaries.

    Attributes:
        note: Index of the note.
        slot: Index of the slot.
        start: Start in ticks.
        end: End in ticks.
        degree: Semitones above the keynote, or -1 for a rest.
    """

    note: Ints
    slot: Ints
    start: Ints
    end: Ints
    degree: Ints


class Standing(NamedTuple):
    """Where each slot stands.

    Attributes:
        bar: Index of the bar of each slot.
        first: First slot of each bar.
        since: Bars from the start of the section to each slot's bar.
        left: Bars from each slot's bar to the last of the section.
        part: Index of the section of each slot.
    """

    bar: Ints
    first: Ints
    since: Ints
    left: Ints
    part: Ints


def grain(values: Floats) -> Floats:
    """Round to multiples of 1/64, so that sums are exact."""
    return np.rint(values * GRAIN) / GRAIN


def one_hot(index: Ints, size: int) -> Floats:
    """Return rows of zeros with a 1 at each index; an index outside leaves zeros."""
    out = np.zeros((len(index), size))
    inside = np.flatnonzero((index >= 0) & (index < size))
    out[inside, index[inside]] = 1.0
    return out


def shift(rows: Floats, by: int) -> Floats:
    """Move rows down by `by` places (up if negative), filling with zeros."""
    out = np.zeros_like(rows)
    if abs(by) < len(rows):
        out[max(by, 0) : len(rows) + min(by, 0)] = rows[
            max(-by, 0) : len(rows) - max(by, 0)
        ]
    return out


def cut(slots: Slots, notes: Notes) -> Pieces:
    """Cut the notes at slot boundaries."""
    # From which slot on a note sounds, and in how many: so many pieces it becomes.
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
    # Slot and degree make one number, so that one count does for both.
    keep = chosen & (pieces.degree >= 0)
    cells = pieces.slot[keep] * 12 + pieces.degree[keep]
    return (
        np.bincount(cells, None if weight is None else weight[keep], size * 12)
        .astype(float)
        .reshape(size, 12)
    )


def longest_note(pieces: Pieces, size: int) -> Floats:
    """Mark the longest note of each slot (the first of equals)."""
    # Sorted by slot, then by length, the earlier of equals last: the last one wins.
    order = np.lexsort(
        (-np.arange(len(pieces.slot)), pieces.end - pieces.start, pieces.slot)
    )
    slot = pieces.slot[order]
    last = order[np.r_[slot[1:] != slot[:-1], True]] if len(order) else order
    chosen = np.zeros(len(pieces.slot), bool)
    chosen[last] = True
    return count_degrees(pieces, chosen, None, size)


def last_degrees(pieces: Pieces, group: Ints, order: Ints) -> Ints:
    """Return, for each slot, the degree of its group that comes last in an order.

    Args:
        pieces: The pieces.
        group: Group of each slot, in rising order from 0.
        order: Sounding pieces in the order that counts.

    Returns:
        Degrees by slot, -1 where the group has no note.
    """
    out = np.full(int(group[-1]) + 1, -1)
    # Of several that are written to one place the last one stays.
    out[group[pieces.slot[order]]] = pieces.degree[order]
    return out[group]


def extreme_degrees(notes: Notes, pieces: Pieces, group: Ints, sign: int) -> Ints:
    """Return the degree of the lowest note of each slot's group; of the highest for -1.

    Args:
        notes: The tune.
        pieces: Its pieces.
        group: Group of each slot, in rising order.
        sign: 1 for the lowest note, -1 for the highest.
    """
    sounding = np.flatnonzero(pieces.degree >= 0)
    home, midi = group[pieces.slot[sounding]], notes.midi[pieces.note[sounding]]
    return last_degrees(pieces, group, sounding[np.lexsort((-sign * midi, home))])


def bars_again(bars: Floats, by: int = 1) -> Flags:
    """Tell whether each bar has the same shares of degrees as the one so far before."""
    again = np.zeros(len(bars), bool)
    again[by:] = (bars[by:] == bars[:-by]).all(1)
    return again


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
    # The degree in the middle of a slot tells of a chord that changes within it.
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
