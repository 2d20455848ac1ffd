"""Slices of an arrangement: cut out, and joined one after the other as one page.

A slice is an arrangement whose times begin at 0. Bars of the verse keep their numbers;
what goes before it has the number 0, which is never printed, and what comes after
counts on: a pickup completes the bar before it and shares its number.
"""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import accumulate
from typing import NamedTuple

from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.play_order import played
from harmonise.theory.slices import clipped, cut_tune, later, later_tune, one_tune
from harmonise.theory.tune import Bar


def cut(music: Arrangement, start: Fraction, end: Fraction) -> Arrangement:
    """Return a slice of an arrangement, with its times from 0.

    Notes that sound over its end stop there; those that sound into it are struck at its
    start, as a player who comes back to that place must do.

    Args:
        music: The arrangement.
        start: Where it begins, in crotchets.
        end: Where it ends, more than `start`.
    """
    sounding = in_order(clipped(music.notes, start, end))
    slots = list(clipped(music.slots, start, end))
    begun = all(slot.onset != start for slot in music.slots)
    if begun and slots and not _is_accompanied(slots[0], sounding):
        # What is left of the chord is not heard any more: the tune goes alone.
        slots[0] = slots[0]._replace(chord=None, numeral="", position=None)
    tune = cut_tune(music.tune, start, end)
    part = music._replace(tune=tune, slots=tuple(slots), notes=sounding)
    # A left hand that comes in on another note than the bass would tell of another
    # chord than the symbol, be it that a note is cut or that a pattern is under way.
    while not _is_rooted(part):
        part = alone_until(part, next(slot.end for slot in part.slots if slot.chord))
    return part


def _is_accompanied(slot: Slot, notes: tuple[SoundingNote, ...]) -> bool:
    """Return whether anything but the tune sounds in a slot."""
    return any(
        note.onset < slot.end and note.onset + note.length > slot.onset
        for note in notes
        if note.voice is not Voice.TUNE
    )


def _is_rooted(music: Arrangement) -> bool:
    """Return whether the left hand, if it plays, begins with the first chord's bass."""
    first = next((slot for slot in music.slots if slot.chord), None)
    if first is None or first.chord is None:
        return True
    left = (
        note.pitch
        for note in music.notes
        if note.hand is Hand.LEFT and note.onset == first.onset
    )
    lowest = min(left, key=lambda pitch: pitch.midi, default=None)
    return lowest is None or lowest.name == first.chord.bass


def alone_until(music: Arrangement, until: Fraction) -> Arrangement:
    """Return music whose tune goes alone at first.

    Args:
        music: The music.
        until: Where the accompaniment begins, in crotchets.
    """
    tune = (note for note in music.notes if note.voice is Voice.TUNE)
    others = [note for note in music.notes if note.voice is not Voice.TUNE]
    late = later(clipped(others, until, music.tune.end), until)
    alone = Slot(music.slots[0].place, Fraction(0), until, music.tune.key, None)
    slots = later(clipped(music.slots, until, music.tune.end), until)
    return music._replace(slots=(alone, *slots), notes=in_order((*tune, *late)))


def in_order(notes: Iterable[SoundingNote]) -> tuple[SoundingNote, ...]:
    """Return notes by onset and then from the lowest up."""
    return tuple(sorted(notes, key=lambda note: (note.onset, note.pitch.midi)))


class Slice(NamedTuple):
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
        printed: list[Slot] = []
        fresh = True
        for slot in self.slots:
            fresh = fresh or slot.onset in starts
            if slot.chord and (fresh or printed[-1].chord != slot.chord):
                printed.append(slot)
                fresh = False
        return tuple(printed)


def with_bars(music: Arrangement, bars: Iterable[Bar]) -> Arrangement:
    """Return an arrangement with other bars of the same lengths."""
    return music._replace(tune=music.tune._replace(bars=tuple(bars)))


def unmarked(music: Arrangement) -> Arrangement:
    """Return an arrangement whose page has no repeats, endings and jump words."""
    plain = (
        bar._replace(repeat_start=False, repeat_end=1, ending=())
        for bar in music.tune.bars
    )
    tune = music.tune._replace(bars=tuple(plain), end_text=())
    return music._replace(tune=tune)


def unfolded(music: Arrangement) -> Arrangement:
    """Return an arrangement written out in the order in which it is played."""
    passages = played(music.tune)
    parts = [Slice(cut(music, one.start, one.end), lines=False) for one in passages]
    return unmarked(joined(parts))


def joined(parts: Sequence[Slice]) -> Formed:
    """Return slices as one page, one after the other.

    Args:
        parts: At least one; title, style and remarks are those of the first.
    """
    lengths = (part.music.tune.end for part in parts)
    starts = list(accumulate(lengths, initial=Fraction(0)))
    moved = [_shifted(part.music, at) for part, at in zip(parts, starts, strict=False)]
    ends = {at for part, at in zip(parts, starts[1:], strict=True) if part.lines}
    tune = one_tune(
        [music.tune for music in moved],
        [part.numbered for part in parts],
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


def _shifted(music: Arrangement, by: Fraction) -> Arrangement:
    """Return an arrangement that begins later."""
    return music._replace(
        tune=later_tune(music.tune, by),
        slots=later(music.slots, by),
        notes=later(music.notes, by),
    )
