"""The voices of one staff, with their chords put together.

Notes that overlap in one voice (a file without voice numbers, say) are voices of their
own here: the second layer of voice 1 is called "1+".
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.reading.musicxml.tree import Element, decimal, text, whole
from harmonise.notation.reading.musicxml.walk import Item, Measure
from harmonise.theory.pitch import LETTER_SEMITONES, LETTERS

_LAYERS = 8
"""Most layers of one voice that are told apart; no page has more."""


class Group(NamedTuple):
    """Notes that begin together in one voice, or a rest.

    Attributes:
        onset: Crotchets from the measure's bar line.
        length: Crotchets that its top note lasts; 0 for grace notes.
        notes: Elements, the top note first.
        kind: "note", "rest" or "grace".
        moves: Crotchets after which its voice goes on; a chord's first note says so.
    """

    onset: Fraction
    length: Fraction
    notes: tuple[Element, ...]
    kind: str
    moves: Fraction

    @property
    def end(self) -> Fraction:
        """Crotchets from the measure's bar line at which its top note stops."""
        return self.onset + self.length

    @property
    def has_pitch(self) -> bool:
        """Whether its top note has a pitch."""
        return self.notes[0].find("pitch") is not None

    @property
    def hidden(self) -> bool:
        """Whether it is not printed."""
        return self.notes[0].get("print-object") == "no"

    @property
    def height(self) -> Fraction:
        """Semitones of its top note above C0."""
        return height(self.notes[0]) or Fraction(0)


Voices = dict[str, tuple[Group, ...]]
"""The groups of each voice of a measure, by the name of the voice."""


def height(note: Element) -> Fraction | None:
    """Return the semitones of a note above C0; None if it has no proper pitch."""
    step, octave = text(note, "pitch/step"), whole(note.findtext("pitch/octave"))
    alter = decimal(note.findtext("pitch/alter") or "0")
    if step not in LETTERS or len(step) != 1 or octave is None or alter is None:
        return None
    return 12 * octave + LETTER_SEMITONES[LETTERS.index(step)] + alter


def is_cue(item: Item) -> bool:
    """Whether an item is a note in small print that others play."""
    return item.element.find("cue") is not None


def choose_staff(measures: tuple[Measure, ...]) -> int:
    """Return the uppermost staff that has a note with a pitch; 1 if none has."""
    staves = {
        item.staff
        for measure in measures
        for item in measure.items
        if item.element.find("pitch") is not None and not is_cue(item)
    }
    return min(staves, default=1)


def measure_voices(measure: Measure, staff: int) -> Voices:
    """Return the voices that a measure has on a staff, in file order."""
    voices: dict[str, list[Group]] = {}
    for name, items in _chords(measure, staff):
        group = _group(items)
        layer = name
        while layer in voices and _end(voices[layer]) > group.onset:
            layer += "+"
        if len(layer) <= len(name) + _LAYERS:
            voices.setdefault(layer, []).append(group)
    return {name: tuple(groups) for name, groups in voices.items()}


def _end(groups: list[Group]) -> Fraction:
    return groups[-1].onset + groups[-1].moves


def _chords(measure: Measure, staff: int) -> Iterator[tuple[str, list[Item]]]:
    """Yield voice and notes of each chord; members on other staves are left out."""
    chord: list[Item] = []
    for item in measure.items:
        if item.element.tag != "note":
            continue
        if not item.in_chord:
            if chord:
                yield chord[0].voice, chord
            chord = []
        if item.staff == staff and not is_cue(item):
            chord.append(item)
    if chord:
        yield chord[0].voice, chord


def _group(items: list[Item]) -> Group:
    head = items[0]
    if head.element.find("rest") is not None:
        return Group(head.onset, head.length, (head.element,), "rest", head.length)
    kind = "grace" if head.element.find("grace") is not None else "note"
    ordered = sorted(items, key=_highest_first)
    notes = tuple(item.element for item in ordered)
    return Group(head.onset, ordered[0].length, notes, kind, head.length)


def _highest_first(item: Item) -> Fraction:
    """Return a sort key; a note without proper pitch goes first, to be refused."""
    found = height(item.element)
    return Fraction(-1000) if found is None else -found
