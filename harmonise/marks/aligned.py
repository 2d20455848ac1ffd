"""A script laid on the bars of its task, bar by bar.

So a bar that does not add up spoils itself and none after it. Work that was played out
with its repeats counts where a bar is played first; a pickup that was written as a full
bar after rests stands where the tune has it.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.notation.reading.scripts import Script, Written
from harmonise.theory.arrangement import SoundingNote
from harmonise.theory.play_order import played, played_onsets
from harmonise.theory.tune import Bar, ChordAt, Tune


class OddBar(NamedTuple):
    """A bar that does not add up.

    Attributes:
        start: Where it begins in the task, in crotchets.
        end: Where it ends.
        has: Crotchets that the pupil wrote.
    """

    start: Fraction
    end: Fraction
    has: Fraction


class Aligned(NamedTuple):
    """A script on the bars of its task; all onsets are the task's.

    Attributes:
        notes: By onset, then from the lowest up.
        symbols: Each lasts until the next one.
        words: At their places.
        odd: Bars that do not add up.
    """

    notes: tuple[SoundingNote, ...]
    symbols: tuple[ChordAt, ...]
    words: tuple[Written, ...]
    odd: tuple[OddBar, ...] = ()


class _Pair(NamedTuple):
    """A bar of the script, the bar of the task, and what the first has in front."""

    own: Bar
    task: Bar
    shift: Fraction = Fraction(0)


def align(script: Script, tune: Tune) -> Aligned:
    """Return a script laid on the bars of a tune."""
    script = _written_once(script, tune)
    pairs = list(_pairs(script, tune))
    notes = [
        note._replace(onset=at)
        for note in script.notes
        for at in _moved(note.onset, pairs)
        if at < tune.end
    ]
    symbols = [
        own._replace(onset=at)
        for own in script.symbols
        for at in _moved(own.onset, pairs)
        if at < tune.end
    ]
    words = [
        own._replace(onset=at)
        for own in script.words
        for at in _moved(own.onset, pairs)
        if at < tune.end
    ]
    return Aligned(
        tuple(sorted(notes, key=lambda n: (n.onset, n.pitch.midi))),
        until_the_next(symbols, tune.end),
        tuple(words),
        tuple(_odd(script, pairs, tune)) if script.spelled else (),
    )


def _written_once(script: Script, tune: Tune) -> Script:
    """Return what was played with its repeats as the page has it: the first time."""
    order = played(tune)
    plays_on = bool(script.bars) and script.bars[-1].end > tune.end
    if script.spelled or not plays_on or len(order) == 1:
        return script
    notes = []
    for note in script.notes:
        for own in order:
            if own.at <= note.onset < own.stop:
                at = own.start + note.onset - own.at
                if played_onsets(order, at)[0] == note.onset:
                    notes.append(note._replace(onset=at))
    return script._replace(notes=tuple(notes), bars=())


def _pairs(script: Script, tune: Tune) -> Iterator[_Pair]:
    """Yield which bar of the task each bar of the script is; none if onsets agree."""
    own, bars = script.bars, tune.bars
    same = bool(own) and own[-1].end == bars[-1].end
    if not own or (same and len(own) != len(bars)):
        return
    for number, (bar, task) in enumerate(zip(own, bars, strict=False)):
        full = bar.length == bar.time.bar_length > task.length
        late = not number and task.number == 0 and full
        yield _Pair(bar, task, bar.length - task.length if late else Fraction(0))


def _moved(onset: Fraction, pairs: list[_Pair]) -> Iterator[Fraction]:
    """Yield where a place of the script is in the task, if it is there at all."""
    if not pairs:
        yield onset
    for own, task, shift in pairs:
        inside = onset - own.start - shift
        if own.start <= onset < own.end and 0 <= inside < task.length:
            yield task.start + inside


def _odd(script: Script, pairs: list[_Pair], tune: Tune) -> Iterator[OddBar]:
    for own, task, shift in pairs:
        if own.length - shift == task.length:
            continue
        over = own.start + task.length
        late = any(over <= note.onset < own.end for note in script.notes)
        last = task.end == tune.end and own.length == own.time.bar_length
        if late or not last:
            yield OddBar(task.start, task.end, own.length)


def until_the_next(symbols: list[ChordAt], end: Fraction) -> tuple[ChordAt, ...]:
    """Return chord symbols in order, each up to the next one."""
    symbols.sort(key=lambda own: own.onset)
    onsets = [*(own.onset for own in symbols), end]
    return tuple(
        own._replace(end=stop)
        for own, (_, stop) in zip(symbols, pairwise(onsets), strict=True)
    )
