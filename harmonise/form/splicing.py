"""Stretches of an arrangement: played out in full, put one after the other.

A stretch is an arrangement of its own whose times begin at 0.

Bars of the verse keep their numbers. What goes before it has the number 0, which is
never printed, and what comes after counts on: a pickup completes the bar before it and
shares its number.

A stretch cut out of an arrangement, as an arrangement whose times begin at 0.

Notes that sound over a cut end there; those that sound into a stretch are struck at its
start, as a player who comes back to that place must do.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import accumulate
from typing import NamedTuple

from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
from harmonise.theory.play_order import played
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tempo, Tune, TuneNote


def cut(music: Arrangement, start: Fraction, end: Fraction) -> Arrangement:
    """Return a stretch of an arrangement.

    Args:
        music: The arrangement.
        start: Where it begins, in crotchets.
        end: Where it ends, more than `start`.
    """
    sounding = _cut_notes(music.notes, start, end)
    found = music._replace(
        tune=_cut_tune(music.tune, start, end),
        slots=tuple(
            own
            if slot.onset >= start or _is_accompanied(own, sounding)
            else own._replace(chord=None, numeral="", position=None)
            for slot, own in _cut_slots(music.slots, start, end)
        ),
        notes=sounding,
    )
    clipped = all(slot.onset != start for slot in music.slots)
    if clipped and found.slots and not _is_rooted(found):
        return alone_until(found, found.slots[0].end)
    return found


def _is_rooted(music: Arrangement) -> bool:
    """Return whether the left hand, if it plays, begins with the first chord's bass."""
    chord = music.slots[0].chord
    left = [
        note.pitch for note in music.notes if note.hand is Hand.LEFT and not note.onset
    ]
    lowest = min(left, key=lambda pitch: pitch.midi, default=None)
    return chord is None or lowest is None or lowest.name == chord.bass


def alone_until(music: Arrangement, until: Fraction) -> Arrangement:
    """Return music whose tune goes alone at first.

    Args:
        music: The music.
        until: Where the accompaniment begins, in crotchets.
    """
    notes = []
    for note in music.notes:
        end = note.onset + note.length
        if note.voice is Voice.TUNE or note.onset >= until:
            notes.append(note)
        elif end > until:
            notes.append(note._replace(onset=until, length=end - until))
    slots = [
        slot._replace(onset=max(slot.onset, until), length=slot.end - until)
        if slot.onset < until
        else slot
        for slot in music.slots
        if slot.end > until
    ]
    first = Slot(music.slots[0].place, Fraction(0), until, music.tune.key, None)
    return music._replace(slots=(first, *slots), notes=in_order(notes))


def _cut_tune(tune: Tune, start: Fraction, end: Fraction) -> Tune:
    notes = [
        _clipped(note, start, end) for note in tune.notes if _meets(note, start, end)
    ]
    words = (own for own in tune.end_text if start < own[0] <= end)
    return tune._replace(
        notes=tuple(notes),
        bars=_cut_bars(tune, start, end),
        keys=_cut_keys(tune, start, end),
        tempos=_cut_tempos(tune, start, end),
        phrases=tuple(at - start for at in tune.phrases if start < at <= end),
        locks=_cut_chords(tune.locks, start, end),
        symbols=_cut_chords(tune.symbols, start, end),
        end_text=tuple((at - start, text) for at, text in words),
    )


def _meets(note: TuneNote, start: Fraction, end: Fraction) -> bool:
    return note.onset < end and note.end > start


def _clipped(note: TuneNote, start: Fraction, end: Fraction) -> TuneNote:
    onset, stop = max(note.onset, start), min(note.end, end)
    if note.onset < start:
        note = note._replace(syllables=(), graces=(), slur_starts=0)
    if note.end > end:
        note = note._replace(slur_ends=0)
    return note._replace(onset=onset - start, length=stop - onset)


def _cut_bars(tune: Tune, start: Fraction, end: Fraction) -> tuple[Bar, ...]:
    found = []
    for bar in tune.bars:
        if bar.start >= end or bar.end <= start:
            continue
        begin, stop = max(bar.start, start), min(bar.end, end)
        found.append(
            bar._replace(
                start=begin - start,
                length=stop - begin,
                offset=bar.offset + begin - bar.start,
            )
        )
    return tuple(found)


def _cut_keys(tune: Tune, start: Fraction, end: Fraction) -> tuple[KeyChange, ...]:
    later = (own for own in tune.keys if start < own.onset < end)
    return (
        KeyChange(Fraction(0), tune.key_at(start)),
        *(own._replace(onset=own.onset - start) for own in later),
    )


def _cut_tempos(tune: Tune, start: Fraction, end: Fraction) -> tuple[Tempo, ...]:
    before = [mark for mark in tune.tempos if mark.onset <= start][-1:]
    later = [mark for mark in tune.tempos if start < mark.onset < end]
    return tuple(
        mark._replace(onset=max(mark.onset - start, Fraction(0)))
        for mark in (*before, *later)
    )


def _cut_chords(
    chords: tuple[ChordAt, ...], start: Fraction, end: Fraction
) -> tuple[ChordAt, ...]:
    return tuple(
        own._replace(onset=max(own.onset, start) - start, end=min(own.end, end) - start)
        for own in chords
        if own.onset < end and own.end > start
    )


def _cut_slots(
    slots: tuple[Slot, ...], start: Fraction, end: Fraction
) -> list[tuple[Slot, Slot]]:
    """Return the slots that are met, each with what is left of it."""
    found = []
    for slot in slots:
        if slot.onset < end and slot.end > start:
            onset, stop = max(slot.onset, start), min(slot.end, end)
            own = slot._replace(onset=onset - start, length=stop - onset)
            found.append((slot, own))
    return found


def _is_accompanied(slot: Slot, notes: tuple[SoundingNote, ...]) -> bool:
    """Return whether anything but the tune sounds in a slot."""
    return any(
        note.onset < slot.end and note.onset + note.length > slot.onset
        for note in notes
        if note.voice is not Voice.TUNE
    )


def _cut_notes(
    notes: tuple[SoundingNote, ...], start: Fraction, end: Fraction
) -> tuple[SoundingNote, ...]:
    found = []
    for note in notes:
        onset, stop = max(note.onset, start), min(note.onset + note.length, end)
        if onset < stop:
            found.append(note._replace(onset=onset - start, length=stop - onset))
    return in_order(found)


def in_order(notes: Sequence[SoundingNote]) -> tuple[SoundingNote, ...]:
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
    parts = [Slice(cut(music, own.start, own.end), lines=False) for own in order]
    return unmarked(joined(parts))


def joined(parts: Sequence[Slice]) -> Formed:
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
