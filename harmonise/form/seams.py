"""Seams: what stands between two parts, so that bars add up with a pickup.

Where the last bar of a verse and the pickup of the next do not make up a full bar, or
where a gap is asked for, the last chord is held to the bar line and a chord is struck
for a bar, which the pickup shortens. The chords of the Amen are held here too.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Place
from harmonise.form.splicing import Slice, in_order, joined
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    Position,
    Slot,
    SoundingNote,
    Voice,
)
from harmonise.theory.chord import Chord
from harmonise.theory.key import Key
from harmonise.theory.numerals import diatonic_triad, numeral
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import bass_under, with_fingers
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote
from harmonise.theory.voicing import close_shape, position_of, right_hand, thin_shape

_FULL_FROM, _ALONE_BELOW = 60, 55
"""C4 and G3: from where the right hand plays three notes, below where one."""


class Held(NamedTuple):
    """One chord of a stretch of held chords.

    Attributes:
        chord: The chord.
        length: Crotchets.
    """

    chord: Chord
    length: Fraction


def near_member(chord: Chord, pitch: Pitch) -> Pitch:
    """Return a pitch if a chord has it, else the chord's nearest pitch, lower first.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.pitch import parse_pitch
    >>> str(near_member(parse_symbol("C"), parse_pitch("A4")))
    'G4'
    """
    # Every pitch class lies within an octave, so the search cannot fail for a chord.
    for step in range(12):
        for midi in (pitch.midi - step, pitch.midi + step):
            name = chord.spelling(midi % 12)
            if name:
                return name.at(midi)
    return pitch


def first_pitch(tune: Tune) -> Pitch:
    """Return the singers' first pitch."""
    return next(note.pitch for note in tune.notes if note.pitch is not None)


def last_pitch(tune: Tune) -> Pitch:
    """Return the singers' last pitch."""
    return next(note.pitch for note in reversed(tune.notes) if note.pitch is not None)


def held_chords(
    like: Arrangement,
    key: Key,
    bars: tuple[Bar, ...],
    notes: tuple[TuneNote, ...],
    chords: Sequence[Held],
) -> Arrangement:
    """Return a stretch of chords held under some top notes.

    Args:
        like: The arrangement whose style it has.
        key: The key.
        bars: Its bars, from 0.
        notes: Top notes; one may last through several chords.
        chords: The chords, as long together as the bars.
    """
    slots: list[Slot] = []
    sounding = [
        SoundingNote(note.onset, note.length, note.pitch, Hand.RIGHT, Voice.TUNE)
        for note in notes
        if note.pitch
    ]
    onset = Fraction(0)
    for held in chords:
        top = next(note.pitch for note in reversed(notes) if note.onset <= onset)
        if top is not None:
            struck, position = _struck(held, onset, top, like.style.span)
            sounding += struck
            name = numeral(held.chord, key)
            slots.append(
                Slot(Place(0), onset, held.length, key, held.chord, name, position)
            )
        onset += held.length
    ordered = in_order(sounding)
    if like.style.fingering:
        ordered = with_fingers(ordered)
    keys = (KeyChange(Fraction(0), key),)
    verses = max(len(note.syllables) for note in notes)
    tune = Tune(like.tune.title, notes, bars, keys, verses=verses)
    return Arrangement(tune, like.style, tuple(slots), ordered)


def _struck(
    held: Held, onset: Fraction, top: Pitch, span: int
) -> tuple[list[SoundingNote], Position | None]:
    """Return what both hands strike under a top note, and the shape of the right.

    It is voiced as everywhere: the close shape under the top note, and the chord's bass
    in the left hand; below C4 there is one inner note, below G3 none.

    Args:
        held: The chord and how long it lasts.
        onset: Where it is struck.
        top: The top note, which the chord has.
        span: Widest reach of the right hand in semitones.
    """
    chord, length = held
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    shape: tuple[int, ...] = ()
    if top.midi >= _FULL_FROM:
        shape = close_shape(chord.quality, interval)
    elif top.midi >= _ALONE_BELOW:
        shape = thin_shape(chord.quality, interval)
    # A small hand leaves out what it cannot reach.
    shape = tuple(offset for offset in shape if offset <= span)
    right = right_hand(chord, top, shape)
    notes = [
        SoundingNote(onset, length, pitch, Hand.RIGHT, Voice.INNER)
        for pitch in right[:-1]
    ]
    # A tune that goes very low may leave no room for the left hand at all.
    place = bass_under(chord.bass.pitch_class, right[0].midi)
    if place is not None:
        bass = chord.bass.at(place)
        notes.append(SoundingNote(onset, length, bass, Hand.LEFT, Voice.BASS))
    return notes, position_of(chord, right) if len(right) >= 3 else None


class Seam(NamedTuple):
    """What comes after a verse.

    Attributes:
        follows: Place in its bar at which the next part begins, in crotchets.
        bar: Whether a bar is put between in any case.
        chord: What is held there; None for the tonic.
        key: Its key; None for the key at the end of the verse.
        near: A pitch that the chord's top note lies near; None for the last tune note.
    """

    follows: Fraction
    bar: bool = False
    chord: Chord | None = None
    key: Key | None = None
    near: Pitch | None = None


def begins_at(tune: Tune) -> Fraction:
    """Return the place in its full bar at which a tune begins, in crotchets."""
    return tune.bars[0].offset


def ends_at(tune: Tune) -> Fraction:
    """Return the place in its full bar at which a tune ends; 0 for a bar line."""
    bar = tune.bars[-1]
    return (bar.offset + bar.length) % bar.time.bar_length


def missing(tune: Tune, seam: Seam) -> Fraction:
    """Return how many crotchets are put between a verse and the next part.

    >>> from harmonise.theory.metre import TimeSignature
    >>> four, three = TimeSignature(4, 4), Fraction(3)
    >>> tune = Tune("", (), (Bar(8, Fraction(0), three, four),), ())
    >>> [int(missing(tune, Seam(three, bar))) for bar in (False, True)]
    [0, 4]
    """
    whole = tune.bars[-1].time.bar_length
    gap = (seam.follows - ends_at(tune)) % whole
    # Less than half a bar would sound like a slip where a gap was asked for.
    return gap + whole if seam.bar and gap < whole / 2 else gap


def closed_up(music: Arrangement, seam: Seam) -> Arrangement:
    """Return a verse with what its seam puts after it."""
    gap = missing(music.tune, seam)
    if not gap:
        return music
    whole = music.tune.bars[-1].time.bar_length
    # First the last bar is made full, then bars of their own follow.
    rest = min(gap, -ends_at(music.tune) % whole)
    if rest:
        music = _held_on(music, rest)
    if gap == rest:
        return music
    parts = [music, _chord_bars(music, seam, gap - rest)]
    return joined([Slice(part, numbered=True, lines=False) for part in parts])


def _held_on(music: Arrangement, rest: Fraction) -> Arrangement:
    """Return music whose last chord is held longer while the tune rests."""
    tune, end = music.tune, music.tune.end
    last = tune.bars[-1]
    whole = last._replace(length=last.length + rest)
    bars = [*tune.bars[:-1], whole]
    if last.repeat_end > 1 or last.ending:
        # What is played again stays as long as it is.
        part = Bar(last.number, end, rest, last.time, offset=last.offset + last.length)
        bars = [*tune.bars, part]
    slots = music.slots
    if slots:
        longer = slots[-1]._replace(length=slots[-1].length + rest)
        slots = (*slots[:-1], longer)
    notes = tuple(
        note._replace(length=note.length + rest)
        if note.onset + note.length == end and note.voice is not Voice.TUNE
        else note
        for note in music.notes
    )
    # The line ends after the rest, or print would break before it.
    phrases = tuple(end + rest if at == end else at for at in tune.phrases)
    tune = tune._replace(
        notes=(*tune.notes, TuneNote(end, rest, None)), bars=tuple(bars),
        phrases=phrases,
    )  # fmt: skip
    return music._replace(tune=tune, slots=slots, notes=notes)


def _chord_bars(music: Arrangement, seam: Seam, length: Fraction) -> Arrangement:
    """Return bars in which one chord is struck and held."""
    tune = music.tune
    key = seam.key or tune.key_at(tune.end)
    chord = seam.chord or diatonic_triad(key, 1)
    top = near_member(chord, seam.near or last_pitch(tune))
    time, last = tune.bars[-1].time, tune.bars[-1].number
    bars: list[Bar] = []
    at = Fraction(0)
    # The last one is as short as the pickup that completes it.
    while at < length:
        size = min(time.bar_length, length - at)
        bars.append(Bar(last + len(bars) + 1, at, size, time))
        at += size
    notes = tuple(TuneNote(bar.start, bar.length, top) for bar in bars)
    held = [Held(chord, bar.length) for bar in bars]
    return held_chords(music, key, tuple(bars), notes, held)
