"""A stretch cut out of an arrangement, as an arrangement whose times begin at 0.

Notes that sound over a cut end there; those that sound into a stretch are struck at its
start, as a player who comes back to that place must do.
"""

from collections.abc import Sequence
from fractions import Fraction

from harmonise.theory.arrangement import Arrangement, Hand, Slot, SoundingNote, Voice
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
