"""What a pupil wrote, as plain values, before anybody judges it."""

from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Remark
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.tune import Bar, ChordAt


class Written(NamedTuple):
    """Words that stand at a place: a numeral, the name of a shape.

    Attributes:
        onset: Crotchets from the start.
        text: What is written.
    """

    onset: Fraction
    text: str


class Script(NamedTuple):
    """A pupil's work as it stands.

    Attributes:
        notes: What both hands play; every note of the right hand is an inner one until
            somebody knows the tune.
        bars: Its own bars, as long as they really are; () where it has those of the
            task.
        symbols: Chord symbols.
        words: Words at their places.
        title: Its title; or "".
        spelled: Whether notes have names; MIDI knows keys alone.
        tune_written: Whether the tune is written out; else the right hand's top note at
            each chord stands for it.
        remarks: What the reader has to say.
    """

    notes: tuple[SoundingNote, ...]
    bars: tuple[Bar, ...] = ()
    symbols: tuple[ChordAt, ...] = ()
    words: tuple[Written, ...] = ()
    title: str = ""
    spelled: bool = True
    tune_written: bool = True
    remarks: tuple[Remark, ...] = ()


def script_of(arrangement: Arrangement) -> Script:
    """Return an arrangement as the script of somebody who wrote exactly that."""
    changes = arrangement.changes
    ends = [*(slot.onset for slot in changes[1:]), arrangement.tune.end]
    notes = tuple(
        note._replace(voice=Voice.INNER, finger=0)
        if note.hand is Hand.RIGHT
        else note._replace(voice=Voice.BASS, finger=0)
        for note in arrangement.notes
    )
    return Script(
        tuple(sorted(notes, key=in_order)),
        arrangement.tune.bars,
        tuple(
            ChordAt(slot.onset, end, slot.chord)
            for slot, end in zip(changes, ends, strict=False)
            if slot.chord
        ),
        title=arrangement.tune.title,
    )


def in_order(note: SoundingNote) -> tuple[Fraction, int]:
    """Return the sort key of notes: by onset, then from the lowest up."""
    return note.onset, note.pitch.midi
