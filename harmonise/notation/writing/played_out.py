"""A tune with its repeats written out, for notations that have no repeat signs.

Every bar stands where it is played; a bar that a repeat sign had split is whole again.
All verses stay under each playing: the page does not say which is sung when.
"""

from bisect import bisect_left, bisect_right
from fractions import Fraction
from typing import NamedTuple

from harmonise.theory.play_order import played_bars
from harmonise.theory.tune import (
    Bar,
    ChordAt,
    KeyChange,
    Tempo,
    Tune,
    TuneNote,
)


class _Stretch(NamedTuple):
    """One bar of the page as it is played.

    Attributes:
        bar: The bar on the page.
        at: When it is played, in crotchets.
        jumped: Whether another bar stands before it on the page than in playing.
    """

    bar: Bar
    at: Fraction
    jumped: bool


def played_out(tune: Tune) -> Tune:
    """Return a tune that is played from its first bar to its last."""
    order = _order(tune)
    notes = _notes(tune, order)
    return tune._replace(
        notes=notes,
        bars=_bars(order),
        keys=_keys(tune, order),
        tempos=_tempos(tune, order),
        phrases=_phrases(tune, order),
        locks=_chords(tune.locks, order),
        symbols=_chords(tune.symbols, order),
        end_text=(),
    )


def _order(tune: Tune) -> list[_Stretch]:
    found: list[_Stretch] = []
    before = -1
    at = Fraction(0)
    for index in played_bars(tune):
        found.append(_Stretch(tune.bars[index], at, index != before + 1))
        at += tune.bars[index].length
        before = index
    return found


def _bars(order: list[_Stretch]) -> tuple[Bar, ...]:
    """Return plain bars with new numbers; parts that make one bar are joined."""
    found: list[Bar] = []
    for bar, at, _ in order:
        plain = Bar(0, at, bar.length, bar.time, double=bar.double, offset=bar.offset)
        if found and _goes_on(found[-1], plain):
            whole = found[-1].length + bar.length
            found[-1] = found[-1]._replace(length=whole, double=bar.double)
        else:
            found.append(plain._replace(section=bar.section))
    number = 0
    for index, bar in enumerate(found):
        number += not bar.offset
        found[index] = bar._replace(number=number)
    return tuple(found)


def _goes_on(before: Bar, bar: Bar) -> bool:
    filled = before.offset + before.length
    return bool(bar.offset) and filled == bar.offset and before.time == bar.time


def _notes(tune: Tune, order: list[_Stretch]) -> tuple[TuneNote, ...]:
    """Return the notes as played; one that a jump cuts into is struck again."""
    found: list[TuneNote] = []
    for bar, at, jumped in order:
        first = bisect_right(tune.notes, bar.start, key=lambda note: note.onset) - 1
        last = bisect_left(tune.notes, bar.end, key=lambda note: note.onset)
        for note in tune.notes[first:last]:
            start, end = max(note.onset, bar.start), min(note.end, bar.end)
            held = note.onset < bar.start
            if held and found and (not jumped or found[-1].pitch == note.pitch):
                longer = found[-1].length + end - start
                found[-1] = found[-1]._replace(length=longer)
                continue
            silent = tuple(None for _ in note.syllables)
            syllables = silent if held else note.syllables
            moved = note._replace(onset=at + start - bar.start, length=end - start)
            found.append(moved._replace(syllables=syllables))
    return tuple(found)


def _keys(tune: Tune, order: list[_Stretch]) -> tuple[KeyChange, ...]:
    found: list[KeyChange] = []
    for bar, at, _ in order:
        inside = [own for own in tune.keys if bar.start < own.onset < bar.end]
        marks = [KeyChange(bar.start, tune.key_at(bar.start)), *inside]
        for mark in marks:
            if not found or found[-1].key != mark.key:
                found.append(mark._replace(onset=at + mark.onset - bar.start))
    return tuple(found)


def _tempos(tune: Tune, order: list[_Stretch]) -> tuple[Tempo, ...]:
    found: list[Tempo] = []
    for bar, at, _ in order:
        begun = [own for own in tune.tempos if own.onset <= bar.start][-1:]
        inside = [own for own in tune.tempos if bar.start < own.onset < bar.end]
        for mark in [*begun, *inside]:
            onset = at + max(mark.onset - bar.start, Fraction(0))
            moved = mark._replace(onset=onset)
            if not found or found[-1]._replace(onset=onset) != moved:
                found.append(moved)
    return tuple(found)


def _phrases(tune: Tune, order: list[_Stretch]) -> tuple[Fraction, ...]:
    """Return the ends of phrases; the music before a jump back ends one, too."""
    found = {order[-1].at + order[-1].bar.length}
    for bar, at, jumped in order:
        inside = [end for end in tune.phrases if bar.start < end <= bar.end]
        found |= {at + end - bar.start for end in inside}
        if jumped and at and not bar.ending:
            found.add(at)
    return tuple(sorted(found))


def _chords(chords: tuple[ChordAt, ...], order: list[_Stretch]) -> tuple[ChordAt, ...]:
    found: list[ChordAt] = []
    for bar, at, jumped in order:
        for own in chords:
            if own.end <= bar.start or own.onset >= bar.end:
                continue
            start, end = max(own.onset, bar.start), min(own.end, bar.end)
            move = at - bar.start
            if own.onset < bar.start and found and not jumped:
                found[-1] = found[-1]._replace(end=end + move)
            else:
                found.append(ChordAt(start + move, end + move, own.chord))
    return tuple(found)
