"""music21's own reading of MusicXML, compared with ours note for note.

Every part of a file is read twice in different ways: by us in exact crotchets, and by
music21. It gets only what it needs for the notes of the tune: chord symbols make it
recurse for ever, an `<accidental>` that contradicts its pitch renames the note, a
direction between two notes of a chord splits the chord, and the rest of a bar is
stretched to the signature.
"""

import warnings
from bisect import bisect_right
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any, NamedTuple
from xml.etree import ElementTree as ET

import music21  # noqa: TID251 (the oracle of the tests)
from makers.profiles import spread
from music21.musicxml.xmlToM21 import MusicXMLImporter  # noqa: TID251

from harmonise.errors import HarmoniseError
from harmonise.notation.musicxml.elements import Element, XmlRemarks, decimal, read_tree
from harmonise.notation.musicxml.measures import LaidPart, lay_bars
from harmonise.notation.musicxml.reader import list_parts
from harmonise.notation.musicxml.staff_voices import choose_staff, read_pitch
from harmonise.notation.musicxml.tune_line import LineNote, choose_line
from harmonise.notation.musicxml.walk import Measure, walk_part
from harmonise.theory.pitch import LETTERS

HOME = Path(music21.__file__).parent
"""Where music21 carries its corpus and the conformance suite."""
_KEPT = ("pitch", "tie", "type", "dot", "time-modification")
_CLOSE = 0.001
"""Times that differ by less are the same: music21 counts in floating point."""


class Sound(NamedTuple):
    """A note as either reading has it; times in crotchets from the measure's start."""

    onset: float
    length: float
    step: str
    alter: float
    octave: int

    def agrees(self, other: "Sound") -> bool:
        """Whether both are the same note at the same time."""
        return (
            self[2:] == other[2:]
            and abs(self.onset - other.onset) < _CLOSE
            and abs(self.length - other.length) < _CLOSE
        )


def musicxml_files() -> list[Path]:
    """Return all MusicXML files that music21 carries, in order."""
    found = (path for path in HOME.rglob("*") if path.is_file())
    return sorted(p for p in found if p.suffix in (".xml", ".mxl", ".musicxml"))


def differences(data: bytes, few: int, first: int = 0) -> list[tuple[str, str]]:
    """Return each part of a file that cannot be compared or differs, and where.

    Args:
        data: The file.
        few: How many of its parts to compare in CI; by night all are.
        first: Which of them to begin with, counted round.

    Returns:
        The part's id and one sentence, ours where we refuse; "" for the whole file.
    """
    try:
        parts = list_parts(read_tree(data))
    except HarmoniseError as error:
        return [("", str(error))]
    found = []
    played = [p for p in parts if p.element.find("measure/note/pitch") is not None]
    for part in spread(played, few, first):
        try:
            said = first_difference(part.element, *our_line(part.element))
        except HarmoniseError as error:
            said = str(error)
        found += [(part.ident, said)] if said else []
    return found


def our_line(part: Element) -> tuple[tuple[LineNote, ...], LaidPart]:
    """Return the notes of a part as we read them, and its measures."""
    measures = walk_part(part)
    page = lay_bars(measures, choose_staff(measures), XmlRemarks())
    return choose_line(page, XmlRemarks()), page


def first_difference(part: Element, line: tuple[LineNote, ...], page: LaidPart) -> str:
    """Return where music21 reads other notes than we do; "" if it reads the same.

    Args:
        part: The part.
        line: Its tune as we read it, written pitches, before ties are joined.
        page: Its measures.
    """
    ours: list[list[Sound]] = [[] for _ in page.measures]
    wanted: set[Element] = set()
    for note in line:
        if not note.rest:
            count = bisect_right(page.starts, note.onset) - 1
            wanted.add(note.notes[0])
            ours[count].append(_our_sound(note, count, page))
    theirs = heard(_reduced(part, page.measures, wanted))
    for count, sounds in enumerate(ours):
        for number, sound in enumerate(sounds):
            found = theirs[count][number] if number < len(theirs[count]) else None
            if found is None or not sound.agrees(found):
                return f"measure {count + 1}: {sound}, {found}"
        if len(theirs[count]) > len(sounds):
            return f"measure {count + 1}: {len(sounds)} notes, {len(theirs[count])}"
    return ""


def _our_sound(note: LineNote, count: int, page: LaidPart) -> Sound:
    pitch = read_pitch(note.notes[0], page.place(note.onset))
    onset = float(note.onset - page.starts[count])
    letter = LETTERS[pitch.letter]
    return Sound(onset, float(note.length), letter, pitch.alter, pitch.octave)


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


def heard(score: Element) -> list[list[Sound]]:
    """Return what music21 reads of the first part, measure by measure."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        part = MusicXMLImporter().xmlRootToScore(score).parts[0]
        measures = part.getElementsByClass("Measure")
        return [[_their_sound(n) for n in measure.notes] for measure in measures]


def _their_sound(note: Any) -> Sound:  # noqa: ANN401 - music21 has no types
    return Sound(
        float(note.offset),
        float(note.quarterLength),
        str(note.pitch.step),
        float(note.pitch.alter),
        int(note.pitch.octave),
    )
