"""One line out of notes that may sound together: the highest note at each instant.

A note that holds on into the next one for no more than an eighth of a crotchet, or a
quarter of the next note's length, is bound to it and cut; notes that sound together for
longer are chords, of which the top is kept. Notes of a chord may be struck up to a
sixteenth of a crotchet apart.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.reading.midi_file import Played

LEGATO = Fraction(1, 8)
"""Crotchets that a note may hold on into the next one."""
TOGETHER = Fraction(1, 16)
"""Crotchets between notes of a chord that is struck as one."""


class Line(NamedTuple):
    """Notes that follow one another.

    Attributes:
        notes: In order, without overlap.
        dropped: Number of notes left out because others sounded above them.
        cut: Number of notes cut where the next one begins.
    """

    notes: tuple[Played, ...]
    dropped: int
    cut: int


def top_line(notes: Sequence[Played], ticks: int) -> Line:
    """Return the highest notes of a part.

    Args:
        notes: In order of onset, the highest first; not all without length.
        ticks: Ticks in a crotchet.
    """
    kept: list[Played] = []
    cut_notes: set[int] = set()
    for note in notes:
        while kept and _is_under(kept[-1], note, ticks):
            kept.pop()
        if kept and _is_inner(note, kept[-1], ticks):
            continue
        if kept and kept[-1].end > note.start:
            cut_notes.add(kept[-1].start)
            kept[-1] = kept[-1]._replace(end=note.start)
        kept.append(note)
    while kept[-1].end == kept[-1].start:
        kept.pop()  # A grace note before nothing.
    cut = sum(note.start in cut_notes for note in kept)
    return Line(tuple(kept), len(notes) - len(kept), cut)


def _is_under(before: Played, note: Played, ticks: int) -> bool:
    """Whether a note just struck turns out to be under the next one in a chord."""
    near = note.start - before.start <= TOGETHER * ticks
    return near and before.end > note.start + LEGATO * ticks and before.midi < note.midi


def _is_inner(note: Played, above: Played, ticks: int) -> bool:
    """Whether a note begins under one that sounds on, or in the same instant."""
    if above.end == above.start or note.end == note.start:
        return False
    if note.start == above.start:
        return True
    if note.midi >= above.midi:
        return False
    bound = max(LEGATO * ticks, Fraction(note.end - note.start, 4))
    return above.end - note.start > bound
