"""How long played notes are on paper, and the bars of the tune that they make.

Players and many programs let go of a note before the next begins. A note lasts until
the next one if the gap is under 9/20 of a crotchet, or under a quarter of the way from
one onset to the next (but never over 9/10 of a crotchet). Otherwise a rest follows:
from the next beat by the same rule, or else from the nearest half crotchet.

In a file that lies on a grid an end on the grid is a fact, and a gap of a sixteenth of
a crotchet or more is a rest; unless three quarters of the notes stop after the same
part of their time, at least 7/10, which is a program's way of letting go. So it is with
staccato, from eight notes on, whatever part that is: each note keeps its beat. Players'
staccato is known by three quarters of the notes that stop before 7/10 of their time.

The last note ends at the bar line if it is held over it by less than a beat, and on the
beat if it is held over that by an eighth of a crotchet or less; unless it has a value
that print writes as one note, in a file that lies on a grid, where a pickup without a
bar of its own puts every bar line wrong.

Silent bars before the tune (a count-in, an introduction) are left out. If the tune then
begins with a rest of half a bar or more, that is no rest: it begins with a pickup. So
it does if its first bar has a time signature to itself, of a shorter bar than the next
one, which is how notation programs write pickups into MIDI files.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import RemarkList
from harmonise.notation.midi.beat_grid import Metre, OnsetGrid, exact_place
from harmonise.notation.midi.tracks import MidiCode, PlayedNote, count
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar

GAP = Fraction(9, 20)
GAP_SHARE = Fraction(1, 4)
GAP_MOST = Fraction(9, 10)
"""Gaps in crotchets, or of the time to the next onset, that are not rests."""
REST = Fraction(1, 16)
"""Crotchets of the shortest rest in a file that lies on a grid."""
_GATE_LEAST = Fraction(7, 10)
_GATE_SHARE = Fraction(3, 4)
_STACCATO_NOTES = 8
TOLD_GATE = Fraction(7, 8)
"""Notes that stop earlier are staccato on the ear, and the user is told."""
_OVER_BEAT = Fraction(9, 64)
"""Crotchets, a little over an eighth, by which the last note may outlast its beat."""
_WHOLE_NOTES = frozenset(
    Fraction(value) * dots
    for value in (8, 4, 2, 1, "1/2")
    for dots in (1, Fraction(3, 2))
)
"""Crotchets of the notes that print has, dotted or not, from the quaver up."""
_HALF = Fraction(1, 2)
_FileBar = tuple[Fraction, Fraction, TimeSignature]
"""Start and end in crotchets of the file, time signature."""


class Placed(NamedTuple):
    """A note on paper.

    Attributes:
        onset: Crotchets from the start of the file.
        end: Crotchets from the start of the file.
        played: The note as it was played.
    """

    onset: Fraction
    end: Fraction
    played: PlayedNote


def set_lengths(
    notes: Sequence[PlayedNote], grid: OnsetGrid, per_crotchet: int, metre: Metre
) -> list[Placed]:
    """Return the notes on paper; of notes on one place all but the last have no length.

    Args:
        notes: The line, never empty.
        grid: Where its notes begin.
        per_crotchet: Ticks in a crotchet.
        metre: Bars, for the end of the last note.
    """
    gate = find_gate(notes, grid)
    # Where notes would have ended if they had not been let go of early.
    ends = [(n.start + (n.end - n.start) / gate) / per_crotchet for n in notes]
    last = _stop(grid.onsets[-1], ends[-1], metre)
    stops = (*grid.onsets[1:], last)
    placed = []
    for note, onset, stop, end in zip(notes, grid.onsets, stops, ends, strict=True):
        is_last = note is notes[-1]
        fact = (
            exact_place(note.end, per_crotchet) if grid.is_exact and gate == 1 else None
        )
        meant = fact is not None and fact - onset in _WHOLE_NOTES
        cut = _let_go(onset, end, metre) if is_last and not meant else None
        # An end that lies on the grid is what the writer of the file meant.
        if cut is not None:
            place = cut
        elif fact is None or fact <= onset:
            place = _played_end(onset, stop, end, metre)
        elif stop - REST < fact < stop and not is_last:
            place = stop
        else:
            place = fact
        placed.append(Placed(onset, place if is_last else min(place, stop), note))
    return placed


def _let_go(onset: Fraction, end: Fraction, metre: Metre) -> Fraction | None:
    """Return where the last note is cut if it is held on by mistake, or else None."""
    beat, length = metre.beat_at(end)
    line = _bar_before(end, metre)
    for place, most in ((line, length), (beat, _OVER_BEAT)):
        if onset < place < end and end - place < most:
            return place
    return None


def _bar_before(onset: Fraction, metre: Metre) -> Fraction:
    """Return the last bar line at or before an onset."""
    stretch = metre.stretch_at(onset)
    full = stretch.time.bar_length
    return stretch.start + (onset - stretch.start) // full * full


def find_gate(notes: Sequence[PlayedNote], grid: OnsetGrid) -> Fraction:
    """Return the part of their time after which nearly all notes stop, or else 1."""
    shares = [
        round(Fraction(a.end - a.start, b.start - a.start), 2)
        for a, b in pairwise(notes)
        if b.start > a.start
    ]
    if not shares:
        return Fraction(1)
    share, number = Counter(shares).most_common(1)[0]
    enough = len(shares) * _GATE_SHARE
    if number >= enough and 0 < share < 1:
        staccato = len(shares) >= _STACCATO_NOTES
        return share if share >= _GATE_LEAST or staccato else Fraction(1)
    short = sorted(own for own in shares if 0 < own < _GATE_LEAST)
    if grid.is_exact or len(short) < _STACCATO_NOTES or len(short) < enough:
        return Fraction(1)
    # The lower quarter, so that notes held a little shorter than most keep theirs too.
    return short[len(short) // 4]


def _stop(onset: Fraction, end: Fraction, metre: Metre) -> Fraction:
    """Return the end of the bar or else of the beat in which the last note ends."""
    inside = max(end - Fraction(1, 8), onset)
    stretch = metre.stretch_at(inside)
    full = stretch.time.bar_length
    bar = stretch.start + ((inside - stretch.start) // full + 1) * full
    if _is_short(bar - end, bar - onset):
        return bar
    return sum(metre.beat_at(inside), Fraction(0))


def _is_short(gap: Fraction, way: Fraction) -> bool:
    """Whether a gap on the way to the next onset is no rest."""
    return gap < GAP or gap < min(GAP_SHARE * way, GAP_MOST)


def _played_end(
    onset: Fraction, stop: Fraction, end: Fraction, metre: Metre
) -> Fraction:
    """Return where a note ends that was let go of at `end` before `stop`."""
    beat = sum(metre.beat_at(end), Fraction(0))
    for place in (stop, beat):
        if _is_short(place - end, place - onset):
            return min(place, stop)
    # Players let go of long notes earlier than of short ones.
    allowance = (end - onset) / 10
    from_half = onset % _HALF
    halves = round((end + allowance - onset + from_half) / _HALF)
    place = onset - from_half + max(halves, 1) * _HALF
    return min(place, stop)


class MidiBars(NamedTuple):
    """The bars of the tune.

    Attributes:
        start: Crotchets of the file at which the tune begins.
        bars: Its bars.
    """

    start: Fraction
    bars: tuple[Bar, ...]

    @property
    def end(self) -> Fraction:
        """Length of the tune in crotchets."""
        return self.bars[-1].end


def lay_bars(notes: Sequence[Placed], metre: Metre, remarks: RemarkList) -> MidiBars:
    """Return the bars that hold the notes.

    Args:
        notes: The line on paper, never empty.
        metre: The file's own bars.
        remarks: Told of bars left out.

    Raises:
        NotationError: If there are too many.
    """
    onset, end = notes[0].onset, max(note.end for note in notes)
    bars = metre.bars(end)
    silent = bisect_right([start for start, _, _ in bars], onset) - 1
    if silent:
        remarks.add(
            MidiCode.SILENCE,
            f"The tune begins after {count(silent, 'bar')} of the file, in which it is "
            "silent; left out.",
        )
    bars = bars[silent:]
    first = _pickup_by_signature(bars) or _pickup_by_rest(bars, onset)
    pickup = first.length if first else Fraction(0)
    start = bars[0][1] - pickup if first else bars[0][0]
    laid = [first] if first else []
    for number, (at, stop, time) in enumerate(bars[1:] if first else bars, 1):
        laid.append(Bar(number, at - start, stop - at, time))
    last = laid[-1]
    # The last bar lacks what the pickup brought, as it does in print.
    if pickup and len(laid) > 1 and end - start == last.end - pickup > last.start:
        laid[-1] = last._replace(length=last.length - pickup)
    return MidiBars(start, tuple(laid))


def _pickup_by_signature(bars: Sequence[_FileBar]) -> Bar | None:
    """Return a first bar that has a shorter time signature to itself."""
    if len(bars) < 2:
        return None
    (start, end, first), (_, _, time) = bars[:2]
    length = end - start
    # A metre that changes for good is no pickup.
    if first == time or length != first.bar_length or length >= time.bar_length:
        return None
    return Bar(0, Fraction(0), length, time, offset=time.bar_length - length)


def _pickup_by_rest(bars: Sequence[_FileBar], onset: Fraction) -> Bar | None:
    """Return the notes before the first full bar, if more than half of it rests."""
    start, end, time = bars[0]
    # Half a bar of rest or more is no rest but a pickup that a program has filled up.
    if onset - start < time.bar_length / 2 or len(bars) < 2:
        return None
    return Bar(0, Fraction(0), end - onset, time, offset=time.bar_length - end + onset)


def cut_rest(
    start: Fraction, end: Fraction, page: MidiBars
) -> list[tuple[Fraction, Fraction]]:
    """Return a stretch of silence cut at the bar lines, as starts and ends."""
    lines = [bar.start for bar in page.bars]
    inner = lines[bisect_right(lines, start) : bisect_right(lines, end)]
    places = [start, *(line for line in inner if line < end), end]
    return list(pairwise(places))
