"""Slices of a tune, and tunes joined into one.

A slice is a tune whose times begin at 0. Notes that sound over a cut end there; those
that sound into a slice are struck at its start, as a player who comes back to that
place must do.
"""

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import TypeVar

from harmonise.theory.arrangement import Slot, SoundingNote
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tempo, Tune, TuneNote

_Lasting = TypeVar("_Lasting", TuneNote, Slot, SoundingNote)
_Placed = TypeVar("_Placed", TuneNote, Slot, SoundingNote, KeyChange, Tempo)
_Mark = TypeVar("_Mark", KeyChange, Tempo)


def cut_tune(tune: Tune, start: Fraction, end: Fraction) -> Tune:
    """Return a slice of a tune.

    Args:
        tune: The tune.
        start: Where it begins, in crotchets.
        end: Where it ends, more than `start`.
    """
    return tune._replace(
        notes=tuple(_cut_notes(tune, start, end)),
        bars=_cut_bars(tune, start, end),
        keys=_in_force(tune.keys, start, end),
        tempos=_in_force(tune.tempos, start, end),
        phrases=tuple(at - start for at in tune.phrases if start < at <= end),
        locks=_cut_chords(tune.locks, start, end),
        symbols=_cut_chords(tune.symbols, start, end),
        were_locked=_cut_chords(tune.were_locked, start, end),
        end_text=tuple(
            (at - start, text) for at, text in tune.end_text if start < at <= end
        ),
    )


def clipped(
    things: Iterable[_Lasting], start: Fraction, end: Fraction
) -> Iterator[_Lasting]:
    """Yield what is left of things between two places, with times from the first."""
    for thing in things:
        onset = max(thing.onset, start)
        stop = min(thing.onset + thing.length, end)
        if onset < stop:
            yield thing._replace(onset=onset - start, length=stop - onset)


def _cut_notes(tune: Tune, start: Fraction, end: Fraction) -> Iterator[TuneNote]:
    inside = (note for note in tune.notes if note.onset < end and note.end > start)
    for whole, left in zip(inside, clipped(tune.notes, start, end), strict=True):
        note = left._replace(slur_ends=0) if whole.end > end else left
        # A syllable, a grace note and a slur belong to the stroke that was cut off.
        if whole.onset < start:
            silent = (None,) * len(note.syllables)
            note = note._replace(syllables=silent, graces=(), slur_starts=0)
        yield note


def _cut_bars(tune: Tune, start: Fraction, end: Fraction) -> tuple[Bar, ...]:
    bars = []
    for bar in tune.bars:
        begin, stop = max(bar.start, start), min(bar.end, end)
        if begin < stop:
            offset = bar.offset + begin - bar.start
            bars.append(
                bar._replace(start=begin - start, length=stop - begin, offset=offset)
            )
    return tuple(bars)


def _in_force(
    marks: tuple[_Mark, ...], start: Fraction, end: Fraction
) -> tuple[_Mark, ...]:
    """Return the mark that is in force at the start of a slice, and those inside it."""
    begun = sum(mark.onset <= start for mark in marks)
    until = sum(mark.onset < end for mark in marks)
    return tuple(
        mark._replace(onset=max(mark.onset - start, Fraction(0)))
        for mark in marks[max(begun - 1, 0) : until]
    )


def _cut_chords(
    chords: tuple[ChordAt, ...], start: Fraction, end: Fraction
) -> tuple[ChordAt, ...]:
    return tuple(
        lock._replace(
            onset=max(lock.onset, start) - start, end=min(lock.end, end) - start
        )
        for lock in chords
        if lock.onset < end and lock.end > start
    )


def one_tune(
    tunes: Sequence[Tune], numbered: Sequence[bool], ends: set[Fraction]
) -> Tune:
    """Return tunes as one; lines end where theirs do and at `ends`."""
    phrases = ends.union(*(tune.phrases for tune in tunes))
    verses = max(tune.verses for tune in tunes)
    keys = (change for tune in tunes for change in tune.keys)
    tempos = (mark for tune in tunes for mark in tune.tempos)
    return tunes[0]._replace(
        notes=tuple(_sung(note, verses) for tune in tunes for note in tune.notes),
        bars=tuple(_counted(tunes, numbered)),
        keys=_new(keys),
        tempos=_new(tempos),
        phrases=tuple(sorted(phrases)),
        locks=tuple(lock for tune in tunes for lock in tune.locks),
        symbols=tuple(symbol for tune in tunes for symbol in tune.symbols),
        were_locked=tuple(lock for tune in tunes for lock in tune.were_locked),
        verses=verses,
        end_text=tuple(words for tune in tunes for words in tune.end_text),
    )


def _sung(note: TuneNote, verses: int) -> TuneNote:
    """Return a note with an entry for every verse, if it has words at all."""
    lacks = verses - len(note.syllables)
    if not note.syllables or lacks <= 0:
        return note
    return note._replace(syllables=(*note.syllables, *([None] * lacks)))


def later_tune(tune: Tune, by: Fraction) -> Tune:
    """Return a tune that begins later, by crotchets."""
    return tune._replace(
        notes=later(tune.notes, by),
        bars=tuple(bar._replace(start=bar.start + by) for bar in tune.bars),
        keys=later(tune.keys, by),
        tempos=later(tune.tempos, by),
        phrases=tuple(at + by for at in tune.phrases),
        locks=_chords_later(tune.locks, by),
        symbols=_chords_later(tune.symbols, by),
        were_locked=_chords_later(tune.were_locked, by),
        end_text=tuple((at + by, text) for at, text in tune.end_text),
    )


def later(things: Iterable[_Placed], by: Fraction) -> tuple[_Placed, ...]:
    """Return things that begin later, by crotchets."""
    return tuple(thing._replace(onset=thing.onset + by) for thing in things)


def _chords_later(chords: tuple[ChordAt, ...], by: Fraction) -> tuple[ChordAt, ...]:
    return tuple(
        lock._replace(onset=lock.onset + by, end=lock.end + by) for lock in chords
    )


def _counted(tunes: Sequence[Tune], numbered: Sequence[bool]) -> Iterator[Bar]:
    """Yield all bars; those of tunes that are not numbered count on."""
    last = 0
    for tune, has_numbers in zip(tunes, numbered, strict=True):
        for bar in tune.bars:
            # A part of a bar goes by the number of the bar that it completes.
            last = bar.number if has_numbers else last + (not bar.offset)
            yield bar._replace(number=last)


def _new(marks: Iterable[_Mark]) -> tuple[_Mark, ...]:
    """Return the marks that say something else than the one before them."""
    same = groupby(marks, key=lambda mark: mark._replace(onset=Fraction(0)))
    return tuple(next(group) for _, group in same)
