"""Joints: what stands between two parts, so that bars add up with a pickup.

Where the last bar of a verse and the pickup of the next do not make up a full bar, or
where a gap is asked for, the last chord is held to the bar line and a chord is struck
for a bar, which the pickup shortens.
"""

from fractions import Fraction
from typing import NamedTuple

from harmonise.form.chords import Held, held_chords, near_member
from harmonise.form.stretches import Stretch, joined
from harmonise.theory.arrangement import Arrangement, Voice
from harmonise.theory.chord import Chord, diatonic_triad
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar, Tune, TuneNote


class Joint(NamedTuple):
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


def missing(tune: Tune, joint: Joint) -> Fraction:
    """Return how many crotchets are put between a verse and the next part.

    >>> from harmonise.theory.metre import TimeSignature
    >>> four, three = TimeSignature(4, 4), Fraction(3)
    >>> tune = Tune("", (), (Bar(8, Fraction(0), three, four),), ())
    >>> [int(missing(tune, Joint(three, bar))) for bar in (False, True)]
    [0, 4]
    """
    whole = tune.bars[-1].time.bar_length
    found = (joint.follows - ends_at(tune)) % whole
    return found + whole if joint.bar and found < whole / 2 else found


def closed_up(music: Arrangement, joint: Joint) -> Arrangement:
    """Return a verse with what its joint puts after it."""
    gap = missing(music.tune, joint)
    if not gap:
        return music
    whole = music.tune.bars[-1].time.bar_length
    rest = min(gap, -ends_at(music.tune) % whole)
    if rest:
        music = _held_on(music, rest)
    if gap == rest:
        return music
    parts = [music, _chord_bars(music, joint, gap - rest)]
    return joined([Stretch(own, numbered=True, lines=False) for own in parts])


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
    phrases = tuple(end + rest if at == end else at for at in tune.phrases)
    tune = tune._replace(
        notes=(*tune.notes, TuneNote(end, rest, None)), bars=tuple(bars),
        phrases=phrases,
    )  # fmt: skip
    return music._replace(tune=tune, slots=slots, notes=notes)


def _chord_bars(music: Arrangement, joint: Joint, length: Fraction) -> Arrangement:
    """Return bars in which one chord is struck and held."""
    tune = music.tune
    key = joint.key or tune.key_at(tune.end)
    chord = joint.chord or diatonic_triad(key, 1)
    near = joint.near or next(
        own.pitch for own in reversed(tune.notes) if own.pitch is not None
    )
    top = near_member(chord, near)
    time, last = tune.bars[-1].time, tune.bars[-1].number
    bars: list[Bar] = []
    at = Fraction(0)
    while at < length:
        size = min(time.bar_length, length - at)
        bars.append(Bar(last + len(bars) + 1, at, size, time))
        at += size
    notes = tuple(TuneNote(own.start, own.length, top) for own in bars)
    held = [Held(chord, own.length) for own in bars]
    return held_chords(music, key, tuple(bars), notes, held)
