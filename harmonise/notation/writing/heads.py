"""The struck notes of a score in ticks, and the bars that hold them.

A tick is the smallest part of a crotchet that the score needs; MusicXML calls the ticks
in a crotchet `divisions`. Whole numbers keep times exact, and ten times faster than
fractions do.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.metre import TimeSignature, strong_starts
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar


class Head(NamedTuple):
    """One struck note from its beginning to its end.

    Attributes:
        name: Its id; tied parts after the first add a number to it.
        pitch: Its pitch.
        start: Ticks from the start.
        end: Ticks from the start.
        finger: 1 to 5, or 0.
        tune: Its number among the notes and rests of the tune; None outside the tune.
    """

    name: str
    pitch: Pitch
    start: int
    end: int
    finger: int = 0
    tune: int | None = None


Clock = Callable[[Fraction], int]
"""Turns crotchets into ticks."""


def divisions_of(arrangement: Arrangement) -> int:
    """Return the ticks in a crotchet that make every time of a score whole."""
    tune = arrangement.tune
    times = [time for note in tune.notes for time in (note.onset, note.length)]
    times += [time for note in arrangement.notes for time in (note.onset, note.length)]
    times += [time for bar in tune.bars for time in (bar.start, bar.length, bar.offset)]
    times += [slot.onset for slot in arrangement.slots]
    times += [change.onset for change in tune.keys]
    times += [mark.onset for mark in tune.tempos]
    times += [onset for onset, _ in tune.end_text]
    for signature in {bar.time for bar in tune.bars}:
        times += _metric_times(signature)
    return lcm(*{time.denominator for time in times})


def _metric_times(time: TimeSignature) -> list[Fraction]:
    return [time.unit, time.beat, time.bar_length, *strong_starts(time)]


def clock_of(divisions: int) -> Clock:
    """Return the function that turns crotchets into ticks."""

    def ticks(time: Fraction) -> int:
        return time.numerator * (divisions // time.denominator)

    return ticks


def tune_heads(arrangement: Arrangement, ticks: Clock) -> list[Head]:
    """Return the struck notes of the tune, with the fingers that play them."""
    known = {
        ticks(note.onset): (number, note.finger)
        for number, note in enumerate(arrangement.notes)
        if note.voice is Voice.TUNE
    }
    heads = []
    for number, note in enumerate(arrangement.tune.notes):
        if note.pitch is None:
            continue
        start = ticks(note.onset)
        end = start + ticks(note.length)
        sounding, finger = known.get(start, (None, 0))
        name = f"t{number}" if sounding is None else f"n{sounding}"
        heads.append(Head(name, note.pitch, start, end, finger, number))
    return heads


def hand_heads(
    arrangement: Arrangement, hand: Hand, ticks: Clock, voice: Voice | None = None
) -> list[Head]:
    """Return the struck notes of one hand that are not of the tune, by onset.

    Args:
        arrangement: The arrangement.
        hand: The hand.
        ticks: Its clock.
        voice: The only voice wanted; None for all.
    """
    last = ticks(arrangement.tune.end)
    heads = [
        _head(f"n{number}", note, last, ticks)
        for number, note in enumerate(arrangement.notes)
        if note.hand is hand
        and note.voice is not Voice.TUNE
        and voice in (None, note.voice)
    ]
    return sorted(
        (head for head in heads if head.start < head.end),
        key=lambda head: (head.start, head.pitch.midi),
    )


def _head(name: str, note: SoundingNote, last: int, ticks: Clock) -> Head:
    start = ticks(note.onset)
    end = min(start + ticks(note.length), last)
    return Head(name, note.pitch, start, end, note.finger)


class Bars(NamedTuple):
    """The bars in ticks.

    Attributes:
        edges: Start of every bar and the end of the last.
    """

    edges: tuple[int, ...]

    def holding(self, heads: Sequence[Head]) -> list[list[Head]]:
        """Return the notes that sound in each bar; heads come by onset."""
        found: list[list[Head]] = []
        held: list[Head] = []
        place = 0
        for start, end in pairwise(self.edges):
            held = [head for head in held if head.end > start]
            while place < len(heads) and heads[place].start < end:
                held.append(heads[place])
                place += 1
            found.append(list(held))
        return found


def bars_of(bars: Sequence[Bar], ticks: Clock) -> Bars:
    """Return the bars in ticks."""
    return Bars((*(ticks(bar.start) for bar in bars), ticks(bars[-1].end)))
