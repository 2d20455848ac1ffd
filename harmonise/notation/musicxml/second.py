"""music21's own reading of the tune, which must agree with ours note for note.

The file is read twice on different ways: by us in exact crotchets, and by music21.
Where the two differ we refuse, so that no fault of either becomes a wrong note on a
page. music21 gets only what it needs for the notes of the tune: chord symbols make it
recurse for ever, an `<accidental>` that contradicts its pitch renames the note, a
direction between two notes of a chord splits the chord, and the rest of a bar is
stretched to the signature.
"""

import warnings
from collections.abc import Iterator
from fractions import Fraction
from typing import Any, NamedTuple
from xml.etree import ElementTree as ET

from harmonise.errors import NotationError
from harmonise.notation.musicxml.elements import Element, decimal, read_pitch, words_of
from harmonise.notation.musicxml.measures import LaidPart
from harmonise.notation.musicxml.tune_line import LineNote
from harmonise.notation.musicxml.walk import Measure
from harmonise.theory.pitch import LETTERS

_KEPT = ("pitch", "tie", "type", "dot", "time-modification")
_CLOSE = 0.001
"""Times that differ by less are the same: music21 counts in floating point."""
_ADVICE = "Export the file again, or write the place in another way."


class _Sound(NamedTuple):
    """A note as either reading has it; times in crotchets from the measure's start."""

    onset: float
    length: float
    step: str
    alter: float
    octave: int

    def agrees(self, other: "_Sound") -> bool:
        return (
            self[2:] == other[2:]
            and abs(self.onset - other.onset) < _CLOSE
            and abs(self.length - other.length) < _CLOSE
        )


def assert_agrees(struck: tuple[LineNote, ...], part: Element, page: LaidPart) -> None:
    """Do nothing if music21 reads the same notes at the same places.

    Args:
        struck: The tune as we read it, written pitches, before ties are joined.
        part: The part that it comes from.
        page: Its measures.

    Raises:
        NotationError: If music21 fails or reads something else, with the place.
    """
    ours: list[list[_Sound]] = [[] for _ in page.measures]
    wanted: set[Element] = set()
    for note in struck:
        if not note.rest:
            count = page.measure_at(note.onset)
            wanted.add(note.notes[0])
            ours[count].append(_our_sound(note, count, page))
    theirs = _read(_reduced(part, page.measures, wanted))
    for count, sounds in enumerate(ours):
        _compare(sounds, theirs[count], page.starts[count], page)


def _our_sound(note: LineNote, count: int, page: LaidPart) -> _Sound:
    pitch = read_pitch(note.notes[0], page.place(note.onset))
    onset = float(note.onset - page.starts[count])
    letter = LETTERS[pitch.letter]
    return _Sound(onset, float(note.length), letter, pitch.alter, pitch.octave)


def _compare(
    ours: list[_Sound], theirs: list[_Sound], start: Fraction, page: LaidPart
) -> None:
    for number, sound in enumerate(ours):
        if number >= len(theirs) or not sound.agrees(theirs[number]):
            place = page.place(start + Fraction(sound.onset).limit_denominator(10_000))
            name = f"{sound.step}{sound.octave}"
            raise NotationError(
                f"two readings of the file differ at the note {name}.", place, _ADVICE
            )
    if len(theirs) > len(ours):
        raise NotationError(
            "two readings of the file differ in the number of notes.",
            page.place(start)._replace(beat=None),
            _ADVICE,
        )


def _reduced(
    part: Element, measures: tuple[Measure, ...], wanted: set[Element]
) -> Element:
    """Return a score that holds the wanted notes only, each where it was."""
    score = ET.Element("score-partwise", version="4.0")
    entry = ET.SubElement(ET.SubElement(score, "part-list"), "score-part", id="P1")
    ET.SubElement(entry, "part-name").text = "Tune"
    own = ET.SubElement(score, "part", id="P1")
    divisions = Fraction(1)
    for count, element in enumerate(part.iterfind("measure")):
        copy = ET.SubElement(own, "measure", number=str(count + 1))
        lengths = {item.element: item.length for item in measures[count].items}
        for chord in _chords(element):
            head = chord[0]
            if head.tag == "attributes":
                divisions = decimal(head.findtext("divisions")) or divisions
                ET.SubElement(copy, "attributes").extend(head.findall("divisions"))
            elif head.tag != "note":
                ET.SubElement(copy, head.tag).extend(head.findall("duration"))
            else:
                chosen = next((note for note in chord if note in wanted), None)
                _stand_in(copy, chosen, lengths[chosen or head], divisions)
                _move(copy, lengths[head] - lengths[chosen or head], divisions)
    return score


def _chords(measure: Element) -> Iterator[list[Element]]:
    """Yield what moves the cursor; the notes of a chord come together."""
    chord: list[Element] = []
    for child in measure:
        if child.tag == "note" and chord and child.find("chord") is not None:
            chord.append(child)
        elif child.tag in ("note", "backup", "forward", "attributes"):
            if chord:
                yield chord
            chord = []
            if child.tag == "note":
                chord = [child]
            else:
                yield [child]
    if chord:
        yield chord


def _stand_in(
    measure: Element, note: Element | None, length: Fraction, divisions: Fraction
) -> None:
    """Add a note bare of all but pitch and time, or the time alone."""
    if note is None:
        _move(measure, length, divisions)
        return
    bare = ET.SubElement(measure, "note")
    bare.extend([child for child in note if child.tag in _KEPT])
    ET.SubElement(bare, "duration").text = repr(float(length * divisions))


def _move(measure: Element, length: Fraction, divisions: Fraction) -> None:
    if length:
        tag = "forward" if length > 0 else "backup"
        move = ET.SubElement(measure, tag)
        ET.SubElement(move, "duration").text = repr(float(abs(length) * divisions))


def _read(score: Element) -> list[list[_Sound]]:
    """Return what music21 reads, measure by measure."""
    # Importing music21 takes most of the time of a small job, so it waits till here.
    from music21.musicxml.xmlToM21 import (  # noqa: PLC0415, TID251
        MusicXMLImporter,
    )

    try:  # It raises exceptions of many kinds, its own and Python's.
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            part = MusicXMLImporter().xmlRootToScore(score).parts[0]
            measures = part.getElementsByClass("Measure")
            return [[_their_sound(n) for n in measure.notes] for measure in measures]
    except Exception as fault:
        raise NotationError(
            f"music21 could not read the notes for comparison ({words_of(fault)}).",
            None,
            _ADVICE,
        ) from fault


def _their_sound(note: Any) -> _Sound:  # noqa: ANN401 - music21 has no types
    return _Sound(
        float(note.offset),
        float(note.quarterLength),
        str(note.pitch.step),
        float(note.pitch.alter),
        int(note.pitch.octave),
    )
