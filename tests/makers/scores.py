"""Arrangements made by hand or by dice, for tests of the writers.

The voicings are plain close chords under the tune; no choice of ours is used, so that
a fault there cannot hide one in the writer.
"""

from collections.abc import Sequence
from fractions import Fraction

from harmonise.theory.arrangement import (
    PLAIN,
    Arrangement,
    Hand,
    Slot,
    SoundingNote,
    Style,
    Voice,
)
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.key import parse_key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.numerals import numeral
from harmonise.theory.pitch import Pitch, PitchClass, parse_pitch
from harmonise.theory.tune import Bar, KeyChange, Syllable, Tune, TuneNote

HELD, BLOCK = "held", "block"


def make_time(text: str) -> TimeSignature:
    """Return the signature that a text such as 6/8 or 3+2/4 names."""
    upper, lower = text.split("/")
    groups = tuple(int(part) for part in upper.split("+"))
    return TimeSignature(sum(groups), int(lower), groups if len(groups) > 1 else ())


def make_notes(text: str, words: Sequence[str] = ()) -> tuple[TuneNote, ...]:
    """Return tune notes typed as pitch:length, with verses of words.

    Args:
        text: Such as "G4:1 r:1/2 A4:3/2"; r is a rest.
        words: Verses; syllables by blanks, "-" after one that goes on, "_" after one
            that is held, "*" for none.
    """
    verses = [verse.split() for verse in words]
    notes: list[TuneNote] = []
    onset, sung = Fraction(0), 0
    for token in text.split():
        name, _, length = token.partition(":")
        pitch = None if name == "r" else parse_pitch(name)
        syllables: tuple[Syllable | None, ...] = ()
        if pitch and verses:
            syllables = tuple(_syllable(verse, sung) for verse in verses)
            sung += 1
        note = TuneNote(onset, Fraction(length), pitch, syllables)
        notes.append(note)
        onset = note.end
    return tuple(notes)


def _syllable(verse: Sequence[str], number: int) -> Syllable | None:
    if number >= len(verse) or verse[number] == "*":
        return None
    text = verse[number]
    return Syllable(text.rstrip("-_"), text.endswith("-"), text.endswith("_"))


def make_bars(time: TimeSignature, end: Fraction, pickup: Fraction) -> tuple[Bar, ...]:
    """Return bars of one signature up to an end; a pickup is bar 0."""
    bars: list[Bar] = []
    if pickup:
        lack = time.bar_length - pickup
        bars.append(Bar(0, Fraction(0), pickup, time, offset=lack))
    number, start = 1, pickup
    while start < end:
        length = min(time.bar_length, end - start)
        bars.append(Bar(number, start, length, time))
        number, start = number + 1, start + length
    return tuple(bars)


def make_tune(
    text: str,
    key: str = "C",
    time: str = "4/4",
    pickup: str = "0",
    words: Sequence[str] = (),
) -> Tune:
    """Return a tune typed as `make_notes` reads it."""
    notes = make_notes(text, words)
    bars = make_bars(make_time(time), notes[-1].end, Fraction(pickup))
    keys = (KeyChange(Fraction(0), parse_key(key)),)
    tune = Tune("Made by hand", notes, bars, keys, phrases=(notes[-1].end,))
    return tune._replace(verses=len(words))


def arrange(
    tune: Tune, chords: str, texture: str = HELD, style: Style = PLAIN
) -> Arrangement:
    """Return a tune over chords typed as symbol:length; "-" leaves the tune alone."""
    slots = []
    onset = Fraction(0)
    for token in chords.split():
        symbol, _, length = token.rpartition(":")
        chord = None if symbol == "-" else parse_symbol(symbol)
        slots.append(make_slot(tune, onset, Fraction(length), chord))
        onset += Fraction(length)
    notes = [
        *_tune_notes(tune),
        *(note for slot in slots for note in _inner(tune, slot, texture)),
        *(note for slot in slots for note in _bass(slot)),
    ]
    notes.sort(key=lambda note: (note.onset, note.pitch.midi))
    return Arrangement(tune, style, tuple(slots), tuple(notes))


def make_slot(
    tune: Tune, onset: Fraction, length: Fraction, chord: Chord | None
) -> Slot:
    """Return a slot with its numeral."""
    key = tune.key_at(onset)
    name = numeral(chord, key) if chord else ""
    return Slot(tune.place(onset), onset, length, key, chord, name)


def _tune_notes(tune: Tune) -> list[SoundingNote]:
    return [
        SoundingNote(note.onset, note.length, note.pitch, Hand.RIGHT, Voice.TUNE, 5)
        for note in tune.notes
        if note.pitch
    ]


def _inner(tune: Tune, slot: Slot, texture: str) -> list[SoundingNote]:
    """Return two chord notes under the lowest tune note, or under each of them."""
    if slot.chord is None:
        return []
    own = [n for n in tune.sounding if n.onset < slot.end and n.end > slot.onset]
    if texture == BLOCK:
        struck = [n for n in own if n.onset >= slot.onset]
        return [
            SoundingNote(n.onset, n.length, pitch, Hand.RIGHT, Voice.INNER, finger)
            for n in struck
            if n.pitch
            for finger, pitch in zip((3, 1), under(slot.chord, n.pitch), strict=True)
        ]
    lowest = min((n.pitch for n in own if n.pitch), key=lambda p: p.midi, default=None)
    if lowest is None:
        return []
    return [
        SoundingNote(slot.onset, slot.length, pitch, Hand.RIGHT, Voice.INNER, finger)
        for finger, pitch in zip((2, 1), under(slot.chord, lowest), strict=True)
    ]


def under(chord: Chord, top: Pitch) -> list[Pitch]:
    """Return the two nearest chord notes under a pitch, from the top down."""
    classes = {name.pitch_class: name for name in chord.members}
    midis = [m for m in range(top.midi - 1, top.midi - 14, -1) if m % 12 in classes]
    midis = [m for m in midis if m % 12 != top.midi % 12]
    return [classes[PitchClass(m % 12)].at(m) for m in midis[:2]]


def _bass(slot: Slot) -> list[SoundingNote]:
    if slot.chord is None:
        return []
    name = slot.chord.bass
    midi = next(m for m in range(41, 53) if m % 12 == name.pitch_class)
    pitch = name.at(midi)
    return [SoundingNote(slot.onset, slot.length, pitch, Hand.LEFT, Voice.BASS, 5)]
