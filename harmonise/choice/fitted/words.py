"""The words of the cost table: degrees, chords, and the slots and notes of a tune.

The chord chooser is a chain. Its units are *slots* (places where a chord may change).
Every slot has facts of the tune that do not depend on the chord, facts of how each
chord fits, and facts about the boundary before the slot. A table of costs turns them
into whole milli-costs for each chord and for each step from one chord to the next; the
cheapest path through those is the harmonisation.

All facts are multiples of 1/64 and all costs are whole numbers, so that the sums of
their products are exact in double precision: the same tune gives the same costs on
every machine, whatever the order of the sums.
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
    "root",
    "semitone above the root",
    "second",
    "minor third",
    "major third",
    "fourth",
    "tritone",
    "fifth",
    "minor sixth",
    "sixth",
    "minor seventh",
    "major seventh",
)
# Chords are named by semitones above the keynote, in minor as in major: bIII, bVI and
# bVII are the usual III, VI and VII of minor (common practice).
CHORDS: tuple[tuple[str, int, str], ...] = (
    ("I", 0, "M"),
    ("i", 0, "m"),
    ("II", 2, "M"),
    ("ii", 2, "m"),
    ("iio", 2, "d"),
    ("bIII", 3, "M"),
    ("III", 4, "M"),
    ("iii", 4, "m"),
    ("IV", 5, "M"),
    ("iv", 5, "m"),
    ("V", 7, "M"),
    ("v", 7, "m"),
    ("bVI", 8, "M"),
    ("VI", 9, "M"),
    ("vi", 9, "m"),
    ("bVII", 10, "M"),
    ("viio", 11, "d"),
)
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
    "last bar",
    "last bar but one",
    "last bar but two",
    "last bar but three",
    "4 bars before the last",
    "5 bars before the last",
    "6 bars before the last",
    "7 bars before the last",
    "8 or more bars before the last",
)


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
