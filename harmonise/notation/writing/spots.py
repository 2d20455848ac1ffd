"""Printed notes, chords and rests in their places, and the ink they are drawn with."""

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from harmonise.notation.writing.accidentals import Accidental
from harmonise.notation.writing.rhythm import Sign
from harmonise.notation.writing.tune_marks import NoteMarks
from harmonise.notation.writing.voices import Span

TUNE, INNER, TENOR, BASS = "1", "2", "4", "5"
"""MusicXML's numbers of the voices."""

TREBLE_STAFF, BASS_STAFF = "1", "2"


class Spot(NamedTuple):
    """One sign in its place.

    Attributes:
        voice: `TUNE`, `INNER`, `TENOR` or `BASS`.
        staff: `TREBLE_STAFF` or `BASS_STAFF`.
        start: Ticks from the start.
        end: Ticks from the start.
        sign: How it is printed.
        span: What it is a part of.
        stem: "up" or "down"; "" for rests.
    """

    voice: str
    staff: str
    start: int
    end: int
    sign: Sign
    span: Span
    stem: str


class Ink(NamedTuple):
    """What notes need to know from outside their voice.

    Attributes:
        marks: Marks of the tune's notes, by number.
        fermatas: Ticks at which a fermata stands over both staves.
        numerals: Roman numerals under the bass, by tick.
        labels: Labels of the right hand's shape under the treble staff, by tick; each
            is taken out when it is written.
        labels_verse: Number of the line of words that labels stand in.
        fingering: Whether fingers are printed.
        accidentals: Accidentals by id of the note; grows bar by bar.
        parts: How many tied parts of each note are written; counts up.
    """

    marks: Sequence[NoteMarks]
    fermatas: set[int]
    numerals: dict[int, str]
    labels: dict[int, str]
    labels_verse: int
    fingering: bool
    accidentals: dict[str, Accidental]
    parts: Counter[str]
