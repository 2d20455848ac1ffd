"""A slice of an arrangement cut out, and slices put one after the other.

A slice is an arrangement whose times begin at 0. Notes that sound over a cut end there;
those that sound into a slice are struck at its start, as a player who comes back to
that place must do. Slices are joined as one page, or written out in the order in which
a page with repeats is played.

Bars of the verse keep their numbers. What goes before it has the number 0, which is
never printed, and what comes after counts on: a pickup completes the bar before it and
shares its number.
"""

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import accumulate, groupby
from typing import NamedTuple, TypeVar

from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.play_order import played
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tempo, Tune, TuneNote

_Lasting = TypeVar("_Lasting", TuneNote, Slot, SoundingNote)
_Placed = TypeVar("_Placed", TuneNote, Slot, SoundingNote, KeyChange, Tempo)
_Mark = TypeVar("_Mark", KeyChange, Tempo)


def cut(music: Arrangement, start: Fraction, end: Fraction) -> Arrangement:
    """Return a slice of an arrangement.

    Args:
        music: The arrangement.
        start: Where it begins, in crotchets.
        end: Where it ends, more than `start`.
    """
    sounding = in_order(_clipped(music.notes, start, end))
    slots = list(_clipped(music.slots, start, end))
    begun = all(slot.onset != start for slot in music.slots)
    if begun and slots and not _is_accompanied(slots[0], sounding):
        # What is left of the chord is not heard any more: the tune goes alone.
        slots[0] = slots[0]._replace(chord=None, numeral="", position=None)
    tune = _cut_tune(music.tune, start, end)
    found = music._replace(tune=tune, slots=tuple(slots), notes=sounding)
    # A left hand that comes in on another note than the bass would tell of another
    # chord than the symbol.
    if begun and slots and not _is_rooted(found):
        return alone_until(found, slots[0].end)
    return found


def _is_accompanied(slot: Slot, notes: tuple[SoundingNote, ...]) -> bool:
    """Return whether anything but the tune sounds in a slot."""
    return any(
        note.onset < slot.end and note.onset + note.length > slot.onset
        for note in notes
        if note.voice is not Voice.TUNE
    )


def _is_rooted(music: Arrangement) -> bool:
    """Return whether the left hand, if it plays, begins with the first chord's bass."""
    chord = music.slots[0].chord
    left = (
        note.pitch for note in music.notes if note.hand is Hand.LEFT and not note.onset
    )
    lowest = min(left, key=lambda pitch: pitch.midi, default=None)
    return chord is None or lowest is None or lowest.name == chord.bass


def alone_until(music: Arrangement, until: Fraction) -> Arrangement:
    """Return music whose tune goes alone at first.

    Args:
        music: The music.
        until: Where the accompaniment begins, in crotchets.
    """
    tune = (note for note in music.notes if note.voice is Voice.TUNE)
    others = [note for note in music.notes if note.voice is not Voice.TUNE]
    late = _later(_clipped(others, until, music.tune.end), until)
    alone = Slot(music.slots[0].place, Fraction(0), until, music.tune.key, None)
    slots = _later(_clipped(music.slots, until, music.tune.end), until)
    return music._replace(slots=(alone, *slots), notes=in_order((*tune, *late)))


def _cut_tune(tune: Tune, start: Fraction, end: Fraction) -> Tune:
    return tune._replace(
        notes=tuple(_cut_notes(tune, start, end)),
        bars=_cut_bars(tune, start, end),
        keys=_in_force(tune.keys, start, end),
        tempos=_in_force(tune.tempos, start, end),
        phrases=tuple(at - start for at in tune.phrases if start < at <= end),
        locks=_cut_chords(tune.locks, start, end),
        symbols=_cut_chords(tune.symbols, start, end),
        end_text=tuple(
            (at - start, text) for at, text in tune.end_text if start < at <= end
        ),
    )


def _clipped(
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
    for whole, left in zip(inside, _clipped(tune.notes, start, end), strict=True):
        note = left._replace(slur_ends=0) if whole.end > end else left
        # A syllable, a grace note and a slur belong to the stroke that was cut off.
        if whole.onset < start:
            note = note._replace(syllables=(), graces=(), slur_starts=0)
        yield note


def _cut_bars(tune: Tune, start: Fraction, end: Fraction) -> tuple[Bar, ...]:
    found = []
    for bar in tune.bars:
        begin, stop = max(bar.start, start), min(bar.end, end)
        if begin < stop:
            offset = bar.offset + begin - bar.start
            found.append(
                bar._replace(start=begin - start, length=stop - begin, offset=offset)
            )
    return tuple(found)


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
        found: list[Slot] = []
        fresh = True
        for slot in self.slots:
            fresh = fresh or slot.onset in starts
            if slot.chord and (fresh or found[-1].chord != slot.chord):
                found.append(slot)
                fresh = False
        return tuple(found)


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
    tune = _one_tune(
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


def _one_tune(
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
        verses=verses,
        end_text=tuple(words for tune in tunes for words in tune.end_text),
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
            notes=_later(tune.notes, by),
            bars=tuple(bar._replace(start=bar.start + by) for bar in tune.bars),
            keys=_later(tune.keys, by),
            tempos=_later(tune.tempos, by),
            phrases=tuple(at + by for at in tune.phrases),
            locks=_chords_later(tune.locks, by),
            symbols=_chords_later(tune.symbols, by),
            end_text=tuple((at + by, text) for at, text in tune.end_text),
        ),
        slots=_later(music.slots, by),
        notes=_later(music.notes, by),
    )


def _later(things: Iterable[_Placed], by: Fraction) -> tuple[_Placed, ...]:
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
