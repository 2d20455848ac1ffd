"""Bars and beats of a MIDI file, and the places on them where played notes begin.

Bars are counted from tick 0, by the file's own time signatures, before any note is
looked at. A signature in the middle of a bar cuts it short there. Times are crotchets
from the start of the file.

A file made by a notation program lies on a grid already, to the nearest tick, and is
taken as it is. A performance is set beat by beat: among 1, 2, 3, 4, 6, 8 and 12 parts
of the beat the grid is chosen whose places lie nearest to the notes, a coarser grid
before a finer one. Each grid has a price, which stands for the logarithm of how rarely
tunes use it; prices learned from the file itself were tried, and players who stray
further were then read worse. Players stray about 18 ms from where they aim; a note is
moved by `TOLERANCE` at most without being named.

A recording may be late as a whole, by the time that keyboard and computer need. That is
looked for first: as the one delay without which the notes lie much better on the grid.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from statistics import median_low
from typing import NamedTuple

from harmonise.errors import NotationError, Place, RemarkList
from harmonise.notation.midi.tracks import MidiCode, MidiScore
from harmonise.theory.metre import TimeSignature

MOST_BARS = 2000
"""Most bars that are read."""
MOST_BEATS = 32
_SNAP = 8
"""Signatures begin at the nearest eighth of a crotchet."""
TOLERANCE = Fraction(1, 12)
"""Crotchets that a note may be moved without being named."""
_EXACT = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 5, 7, 9, 10)
"""Parts of a crotchet that notation programs write, the plainest first."""
_PLAIN = 7
"""So many of them are plain enough to trust a short file."""
_CHANCE = 1e-3
_STRAY = 0.018
"""Seconds: standard deviation of a player's onsets."""
_STRAY_LIMITS = (0.015, 0.05)
"""The same in crotchets, whatever the tempo."""
_COLLISION = 12.0
"""Price of two notes on one place."""
_SIMPLE = {1: 0.0, 2: 0.7, 4: 2.0, 3: 3.0, 8: 6.0, 6: 6.0, 12: 9.0}
_COMPOUND = {1: 0.0, 3: 0.5, 6: 2.0, 2: 5.0, 4: 5.5, 12: 7.0, 8: 9.0}
"""Price of each number of parts of a beat, in simple and in compound time."""

_DELAYS = range(-6, 19)
"""Delays that are tried, in 96ths of a crotchet: a sixteenth of one to three after."""
_DELAY_PARTS = 96
_IN_TIME = Fraction(1, 48)
"""Crotchets by which notes may all be late and the grid still sets them right."""
_LISTENED = 120
"""So many notes tell how late a file is."""
_FEWEST = 6
_GAIN, _GAIN_OF_NOTE = 7.0, 0.25
"""What a delay must bring, of all notes and of each, to be believed."""


class MetreStretch(NamedTuple):
    """Bars of one time signature.

    Attributes:
        start: Crotchets from the start of the file.
        time: The signature.
    """

    start: Fraction
    time: TimeSignature


class Metre(NamedTuple):
    """All time signatures of a file.

    Attributes:
        stretches: In order; the first begins at 0.
    """

    stretches: tuple[MetreStretch, ...]

    def stretch_at(self, onset: Fraction) -> MetreStretch:
        """Return the stretch that holds an onset."""
        starts = [stretch.start for stretch in self.stretches]
        return self.stretches[max(bisect_right(starts, onset) - 1, 0)]

    def beat_at(self, onset: Fraction) -> tuple[Fraction, Fraction]:
        """Return start and length of the beat that holds an onset."""
        stretch = self.stretch_at(onset)
        length = grid_beat(stretch.time)
        full = stretch.time.bar_length
        bar = stretch.start + (onset - stretch.start) // full * full
        return bar + (onset - bar) // length * length, length

    def bars(self, end: Fraction) -> list[tuple[Fraction, Fraction, TimeSignature]]:
        """Return start, end and signature of each bar up to the one that holds an end.

        Raises:
            NotationError: If there are more than 2,000.
        """
        bars: list[tuple[Fraction, Fraction, TimeSignature]] = []
        for number, (start, time) in enumerate(self.stretches):
            later = self.stretches[number + 1 :]
            stop = min(later[0].start, end) if later else end
            at = start
            while at < stop:
                limit = later[0].start if later else at + time.bar_length
                bars.append((at, min(at + time.bar_length, limit), time))
                at += time.bar_length
                if len(bars) > MOST_BARS:
                    what = f"The tune has more than {MOST_BARS:,} bars."
                    raise NotationError(what, None, "Take one tune out of it.")
        return bars


def grid_beat(time: TimeSignature) -> Fraction:
    """Return the beat whose divisions notes are set to, in crotchets.

    >>> [str(grid_beat(TimeSignature(*t))) for t in ((2, 2), (6, 8), (3, 8), (7, 8))]
    ['1', '3/2', '3/2', '1']
    """
    if time.beats % 3 == 0 and time.beat_type == 8:
        return Fraction(3, 2)
    return time.beat if time.is_compound else Fraction(1)


def read_metre(score: MidiScore, remarks: RemarkList) -> Metre:
    """Return the time signatures of a file, 4/4 where it has none.

    Raises:
        NotationError: If one of them cannot be.
    """
    stretches: list[MetreStretch] = []
    for tick, (upper, lower) in score.times:
        # Performers change the metre a few ticks early or late; a bar line is meant.
        start = Fraction(round(Fraction(tick * _SNAP, score.ticks)), _SNAP)
        time = _time(upper, lower, start, Metre(tuple(stretches)))
        # Of two signatures at one place the last one counts.
        if stretches and stretches[-1].start == start:
            stretches.pop()
        if not stretches or stretches[-1].time != time:
            stretches.append(MetreStretch(start, time))
    if not stretches or stretches[0].start > 0:
        what = "The file gives no time signature at its beginning: read as 4/4."
        remedy = "If the bar lines are wrong, give it one."
        remarks.add(MidiCode.NO_TIME, what, None, remedy)
        stretches.insert(0, MetreStretch(Fraction(0), TimeSignature(4, 4)))
    return Metre(tuple(stretches))


def _time(upper: int, lower: int, at: Fraction, before: Metre) -> TimeSignature:
    if not 0 < upper <= MOST_BEATS or not 0 < lower <= 128:
        bar = len(before.bars(at)) + 1
        shown = lower if lower < 10_000 else "a very short note"
        what = f"the time signature {upper}/{shown} is not read."
        remedy = f"The upper number must be 1 to {MOST_BEATS}, the lower 1 to 128."
        raise NotationError(what, Place(bar), remedy)
    return TimeSignature(upper, lower)


class OnsetGrid(NamedTuple):
    """Where the onsets stand.

    Attributes:
        onsets: One for each note, never falling, in crotchets.
        is_exact: Whether the file lay on a grid already.
    """

    onsets: tuple[Fraction, ...]
    is_exact: bool


def set_onsets(
    ticks: Sequence[int], per_crotchet: int, metre: Metre, pace: float
) -> OnsetGrid:
    """Return the places of the onsets of one line.

    Args:
        ticks: Onsets in order.
        per_crotchet: Ticks in a crotchet.
        metre: Bars and beats.
        pace: Crotchets a second, for how far players stray.
    """
    exact = [exact_place(tick, per_crotchet, _EXACT) for tick in ticks]
    places = [place for place in exact if place is not None]
    # A performed note may lie on the grid by chance, but not all of them.
    if len(places) == len(ticks) and _is_no_chance(ticks, per_crotchet):
        return OnsetGrid(tuple(places), is_exact=True)
    onsets = [Fraction(tick, per_crotchet) for tick in ticks]
    return fit_onsets(onsets, metre, _stray(pace))


def fit_onsets(
    onsets: Sequence[Fraction],
    metre: Metre,
    stray: float,
    *,
    dearest: float = math.inf,
) -> OnsetGrid:
    """Return the likeliest places of performed onsets, beat by beat.

    Args:
        onsets: In order, in crotchets.
        metre: Bars and beats.
        stray: Crotchets by which they usually stray from where they are aimed.
        dearest: Highest price of the divisions of a beat that are tried.
    """
    placed = _fit(onsets, metre, stray, dearest)
    return OnsetGrid(tuple(placed), is_exact=False)


def find_delay(
    ticks: Sequence[int], per_crotchet: int, metre: Metre, pace: float
) -> int:
    """Return how many ticks all notes come late; 0 if they do not, under 0 if early.

    Args:
        ticks: Onsets in order.
        per_crotchet: Ticks in a crotchet.
        metre: Bars and beats.
        pace: Crotchets a second.
    """
    onsets = [Fraction(tick, per_crotchet) for tick in ticks[:_LISTENED]]
    if len(onsets) < _FEWEST:
        return 0
    stray = _stray(pace)
    tick = Fraction(1, per_crotchet)
    ways = _ways(onsets, Fraction(0), metre, stray)
    late = median_low(ways)
    # Whoever plays does not stray by the same time at every note; a machine does.
    if abs(late) > tick and all(abs(way - late) <= tick for way in ways):
        return round(late * per_crotchet)
    if _on_beats(onsets, metre) * 4 >= len(onsets):
        return 0

    def misfit(delay: int) -> float:
        moved = _earlier(onsets, Fraction(delay, _DELAY_PARTS))
        return sum(_choose(beat, stray)[0] for beat in _beats(moved, metre))

    costs = {delay: misfit(delay) for delay in _DELAYS}
    delay = min(costs, key=lambda own: (costs[own], abs(own)))
    gain = costs[0] - costs[delay]
    if gain < max(_GAIN, _GAIN_OF_NOTE * len(onsets)):
        return 0
    late = median_low(_ways(onsets, Fraction(delay, _DELAY_PARTS), metre, stray))
    return round(late * per_crotchet) if abs(late) > _IN_TIME else 0


def _on_beats(onsets: Sequence[Fraction], metre: Metre) -> int:
    """Return how many notes begin on a beat, or nearly so."""
    starts = (metre.beat_at(onset + _IN_TIME)[0] for onset in onsets)
    pairs = zip(onsets, starts, strict=True)
    return sum(abs(onset - start) <= _IN_TIME for onset, start in pairs)


def _ways(
    onsets: Sequence[Fraction], delay: Fraction, metre: Metre, stray: float
) -> list[Fraction]:
    """Return how late each note comes, in crotchets, if all come late by a delay."""
    places = _fit(_earlier(onsets, delay), metre, stray)
    return [onset - place for onset, place in zip(onsets, places, strict=True)]


def _earlier(onsets: Sequence[Fraction], by: Fraction) -> list[Fraction]:
    return [max(onset - by, Fraction(0)) for onset in onsets]


def _stray(pace: float) -> float:
    """Return how far players stray from where they aim, in crotchets."""
    low, high = _STRAY_LIMITS
    return min(max(_STRAY * pace, low), high)


def exact_place(
    tick: int, per_crotchet: int, parts: Sequence[int] = _EXACT[:10]
) -> Fraction | None:
    """Return the place that a tick is the nearest to; None if it is no plain one.

    Args:
        tick: Ticks from the start.
        per_crotchet: Ticks in a crotchet.
        parts: Numbers of parts of a crotchet, the plainest first.

    >>> exact_place(6720, 10_080), exact_place(456, 480)
    (Fraction(2, 3), None)
    """
    for count in parts:
        place = (2 * tick * count + per_crotchet) // (2 * per_crotchet)
        if 2 * abs(tick * count - place * per_crotchet) <= count:
            return Fraction(place, count)
    return None


def _is_no_chance(ticks: Sequence[int], per_crotchet: int) -> bool:
    """Whether so many onsets cannot lie on places of the grid by chance."""
    plain = _EXACT[:_PLAIN]
    if all(exact_place(tick, per_crotchet, plain) is not None for tick in ticks):
        return True
    # The share of all ticks that lie on the grid is the chance of one note.
    sample = range(per_crotchet) if per_crotchet < 2000 else range(0, per_crotchet, 7)
    hits = sum(exact_place(tick, per_crotchet, _EXACT) is not None for tick in sample)
    return bool((hits / len(sample)) ** len(ticks) < _CHANCE)


class _Beat(NamedTuple):
    """The notes of one beat.

    Attributes:
        start: Its onset in crotchets.
        length: Its length.
        stands: Where its notes stand, as parts of the beat.
    """

    start: Fraction
    length: Fraction
    stands: tuple[Fraction, ...]


def _fit(
    onsets: Sequence[Fraction], metre: Metre, stray: float, dearest: float = math.inf
) -> list[Fraction]:
    beats = _beats(onsets, metre)
    chosen = [_choose(beat, stray, dearest)[1] for beat in beats]
    placed: list[Fraction] = []
    for beat, parts in zip(beats, chosen, strict=True):
        for stand in beat.stands:
            place = beat.start + beat.length * Fraction(round(stand * parts), parts)
            # Rounding may not turn the order of two notes round.
            placed.append(max(place, placed[-1]) if placed else max(place, Fraction(0)))
    return placed


def _beats(onsets: Sequence[Fraction], metre: Metre) -> list[_Beat]:
    beats: list[_Beat] = []
    for onset in onsets:
        start, length = metre.beat_at(onset)
        stand = (onset - start) / length
        if beats and beats[-1].start == start:
            beats[-1] = beats[-1]._replace(stands=(*beats[-1].stands, stand))
        else:
            beats.append(_Beat(start, length, (stand,)))
    return beats


def _choose(beat: _Beat, stray: float, dearest: float = math.inf) -> tuple[float, int]:
    """Return cost and number of the parts whose misfit and price together cost least.

    The misfit is the sum of the squares of what each note is moved, in units of a
    player's usual straying, and a price for notes that share a place.
    """
    # A dotted beat falls into three before it falls into two.
    prices = _COMPOUND if beat.length.numerator == 3 else _SIMPLE
    sigma = stray / float(beat.length)

    def cost(parts: int) -> float:
        places = [round(stand * parts) for stand in beat.stands]
        pairs = zip(beat.stands, places, strict=True)
        squares = sum(float(stand - Fraction(at, parts)) ** 2 for stand, at in pairs)
        same = len(places) - len(set(places))
        return prices[parts] + squares / (2 * sigma**2) + _COLLISION * same

    costs = {parts: cost(parts) for parts, own in prices.items() if own <= dearest}
    best = min(costs, key=costs.__getitem__)
    return costs[best], best
