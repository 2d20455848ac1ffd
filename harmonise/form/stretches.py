"""Stretches of an arrangement: played out in full, put one after the other.

A stretch is an arrangement of its own whose times begin at 0.

Bars of the verse keep their numbers. What goes before it has the number 0, which is
never printed, and what comes after counts on: a pickup completes the bar before it and
shares its number.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate
from typing import NamedTuple

from harmonise.form.cutting import cut
from harmonise.theory.arrangement import Arrangement, Slot
from harmonise.theory.play_order import played
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tempo, Tune, TuneNote


class Stretch(NamedTuple):
    """A part of the page.

    Attributes:
        music: Its music, with times from 0.
        numbered: Whether its bars have their numbers already.
        lines: Whether a line of print ends with it.
    """

    music: Arrangement
    numbered: bool = False
    lines: bool = True


class Formed(Arrangement):
    """An arrangement with a beginning and an end; each part prints its first chord."""

    __slots__ = ()

    @property
    def changes(self) -> tuple[Slot, ...]:
        """The slots at which a chord symbol is printed."""
        starts = {bar.start for bar in self.tune.bars if bar.section}
        starts |= {bar.end for bar in self.tune.bars if bar.double}
        found: list[Slot] = []
        fresh = True
        for slot in self.slots:
            fresh = fresh or slot.onset in starts
            if slot.chord and (fresh or found[-1].chord != slot.chord):
                found.append(slot)
                fresh = False
        return tuple(found)


def with_bars(music: Arrangement, bars: Sequence[Bar]) -> Arrangement:
    """Return an arrangement with other bars of the same lengths."""
    return music._replace(tune=music.tune._replace(bars=tuple(bars)))


def unmarked(music: Arrangement) -> Arrangement:
    """Return an arrangement whose page has no repeats, endings and jump words."""
    music = with_bars(
        music,
        [
            bar._replace(repeat_start=False, repeat_end=1, ending=())
            for bar in music.tune.bars
        ],
    )
    return music._replace(tune=music.tune._replace(end_text=()))


def unfolded(music: Arrangement) -> Arrangement:
    """Return an arrangement written out in the order in which it is played."""
    order = played(music.tune)
    parts = [Stretch(cut(music, own.start, own.end), lines=False) for own in order]
    return unmarked(joined(parts))


def joined(parts: Sequence[Stretch]) -> Formed:
    """Return stretches as one page, one after the other.

    Args:
        parts: At least one; title, style and remarks are those of the first.
    """
    lengths = (part.music.tune.end for part in parts)
    starts = list(accumulate(lengths, initial=Fraction(0)))
    moved = [_shifted(own.music, at) for own, at in zip(parts, starts, strict=False)]
    ends = {at for own, at in zip(parts, starts[1:], strict=True) if own.lines}
    tune = _one_tune(
        [music.tune for music in moved],
        [own.numbered for own in parts],
        ends | {starts[-1]},
    )
    slots = (slot for music in moved for slot in music.slots)
    first = moved[0]
    return Formed(
        tune,
        first.style,
        tuple(slot._replace(place=tune.place(slot.onset)) for slot in slots),
        tuple(note for music in moved for note in music.notes),
        first.remarks,
        first.cost,
    )


def _one_tune(
    tunes: Sequence[Tune], numbered: Sequence[bool], ends: set[Fraction]
) -> Tune:
    """Return tunes as one; lines end where theirs do and at `ends`."""
    phrases = ends.union(*(tune.phrases for tune in tunes))
    verses = max(tune.verses for tune in tunes)
    return tunes[0]._replace(
        notes=tuple(_sung(note, verses) for tune in tunes for note in tune.notes),
        bars=_numbered([tune.bars for tune in tunes], numbered),
        keys=_new_keys([own for tune in tunes for own in tune.keys]),
        tempos=_new_tempos([own for tune in tunes for own in tune.tempos]),
        phrases=tuple(sorted(phrases)),
        locks=tuple(own for tune in tunes for own in tune.locks),
        symbols=tuple(own for tune in tunes for own in tune.symbols),
        verses=verses,
        end_text=tuple(own for tune in tunes for own in tune.end_text),
    )


def _sung(note: TuneNote, verses: int) -> TuneNote:
    """Return a note with an entry for every verse, if it has words at all."""
    lacks = verses - len(note.syllables)
    if not note.syllables or lacks <= 0:
        return note
    return note._replace(syllables=(*note.syllables, *([None] * lacks)))


def _shifted(music: Arrangement, by: Fraction) -> Arrangement:
    """Return an arrangement that begins later."""
    tune = music.tune
    return music._replace(
        tune=tune._replace(
            notes=tuple(own._replace(onset=own.onset + by) for own in tune.notes),
            bars=tuple(own._replace(start=own.start + by) for own in tune.bars),
            keys=tuple(own._replace(onset=own.onset + by) for own in tune.keys),
            tempos=tuple(own._replace(onset=own.onset + by) for own in tune.tempos),
            phrases=tuple(at + by for at in tune.phrases),
            locks=_later(tune.locks, by),
            symbols=_later(tune.symbols, by),
            end_text=tuple((at + by, text) for at, text in tune.end_text),
        ),
        slots=tuple(own._replace(onset=own.onset + by) for own in music.slots),
        notes=tuple(own._replace(onset=own.onset + by) for own in music.notes),
    )


def _later(chords: tuple[ChordAt, ...], by: Fraction) -> tuple[ChordAt, ...]:
    return tuple(own._replace(onset=own.onset + by, end=own.end + by) for own in chords)


def _numbered(
    parts: Sequence[tuple[Bar, ...]], numbered: Sequence[bool]
) -> tuple[Bar, ...]:
    """Return all bars; those of parts that are not numbered count on."""
    found: list[Bar] = []
    last = 0
    for bars, own in zip(parts, numbered, strict=True):
        for bar in bars:
            last = bar.number if own else last + (not bar.offset)
            found.append(bar._replace(number=last))
    return tuple(found)


def _new_keys(keys: Sequence[KeyChange]) -> tuple[KeyChange, ...]:
    """Return the keys that differ from the one before."""
    found: list[KeyChange] = []
    for own in keys:
        if not found or found[-1].key != own.key:
            found.append(own)
    return tuple(found)


def _new_tempos(tempos: Sequence[Tempo]) -> tuple[Tempo, ...]:
    """Return the tempo marks that say something new."""
    found: list[Tempo] = []
    for own in tempos:
        if not found or found[-1]._replace(onset=own.onset) != own:
            found.append(own)
    return tuple(found)
