"""What the page says about single notes of the tune: words, slurs, grace notes."""

from collections.abc import Sequence
from typing import NamedTuple

from harmonise.theory.tune import Grace, TuneNote

_MOST_SLURS = 16
"""Slurs that MusicXML can tell apart at one time (its number-level)."""


class Word(NamedTuple):
    """A syllable as MusicXML wants it.

    Attributes:
        verse: From 1.
        syllabic: "single", "begin", "middle" or "end".
        text: The letters.
        extends: Whether a line follows it.
    """

    verse: int
    syllabic: str
    text: str
    extends: bool


class NoteMarks(NamedTuple):
    """The marks of one tune note.

    Attributes:
        words: Its syllables, verse by verse.
        slur_starts: Numbers of the slurs that begin on it.
        slur_stops: Numbers of the slurs that end on it.
        graces: Grace notes before it.
    """

    words: tuple[Word, ...] = ()
    slur_starts: tuple[int, ...] = ()
    slur_stops: tuple[int, ...] = ()
    graces: tuple[Grace, ...] = ()


def mark_notes(notes: Sequence[TuneNote]) -> list[NoteMarks]:
    """Return the marks of every note and rest of a tune, in order."""
    joined: dict[int, bool] = {}
    starts, stops = _slurs(notes)
    return [
        NoteMarks(
            _words(note, joined),
            tuple(starts.get(number, ())),
            tuple(stops.get(number, ())),
            note.graces,
        )
        for number, note in enumerate(notes)
    ]


def _words(note: TuneNote, joined: dict[int, bool]) -> tuple[Word, ...]:
    """Return a note's syllables; `joined` remembers each verse's last hyphen."""
    found = []
    for verse, syllable in enumerate(note.syllables, 1):
        if syllable is None:
            continue
        after, joins = joined.get(verse, False), syllable.joins
        joined[verse] = joins
        if after:
            syllabic = "middle" if joins else "end"
        else:
            syllabic = "begin" if joins else "single"
        found.append(Word(verse, syllabic, syllable.text, syllable.extends))
    return tuple(found)


_Slurs = dict[int, list[int]]


def _slurs(notes: Sequence[TuneNote]) -> tuple[_Slurs, _Slurs]:
    """Pair beginnings and ends of slurs; those without a partner are left out.

    The slur that began last ends first, so that slurs nest.
    """
    starts: _Slurs = {}
    stops: _Slurs = {}
    waiting: list[int] = []
    pairs: list[tuple[int, int]] = []
    for place, note in enumerate(notes):
        ended = min(note.slur_ends, len(waiting))
        pairs += [(waiting.pop(), place) for _ in range(ended)]
        waiting += [place] * note.slur_starts
    ends: list[int] = []
    for first, last in sorted(pairs):
        number = _free_number(ends, first)
        if number is None:
            continue
        ends[number] = last
        starts.setdefault(first, []).append(number + 1)
        stops.setdefault(last, []).append(number + 1)
    return starts, stops


def _free_number(ends: list[int], first: int) -> int | None:
    """Return a slur number that is free from a note on; None if all are taken."""
    for number, end in enumerate(ends):
        if end < first:
            return number
    if len(ends) == _MOST_SLURS:
        return None
    ends.append(-1)
    return len(ends) - 1
