"""Reads a MusicXML page as a player does, and tells what cannot be played.

Written from the MusicXML 4.0 reference and ordinary notation rules alone; it shares no
code with the writer.
"""

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple
from xml.etree import ElementTree as ET

_KINDS = {
    "1024th": Fraction(1, 256),
    "512th": Fraction(1, 128),
    "256th": Fraction(1, 64),
    "128th": Fraction(1, 32),
    "64th": Fraction(1, 16),
    "32nd": Fraction(1, 8),
    "16th": Fraction(1, 4),
    "eighth": Fraction(1, 2),
    "quarter": Fraction(1),
    "half": Fraction(2),
    "whole": Fraction(4),
    "breve": Fraction(8),
    "long": Fraction(16),
    "maxima": Fraction(32),
}
_SIGNS = {
    "triple-flat": -3,
    "flat-flat": -2,
    "flat": -1,
    "natural": 0,
    "sharp": 1,
    "double-sharp": 2,
    "triple-sharp": 3,
}
_SHARPS = "FCGDAEB"


class Mark(NamedTuple):
    """One `<note>` in its place.

    Attributes:
        bar: Number of the measure, from 0.
        onset: Crotchets from the bar line before it.
        length: Crotchets that it lasts; 0 for a grace note.
        note: The element.
    """

    bar: int
    onset: Fraction
    length: Fraction
    note: ET.Element

    def text(self, path: str) -> str:
        """Return the text of an element inside the note; "" if there is none."""
        return self.note.findtext(path) or ""

    @property
    def is_chord(self) -> bool:
        """Whether it joins the note before it."""
        return self.note.find("chord") is not None


def marks_of(musicxml: bytes) -> list[Mark]:
    """Return every note of a one-part score in the order of the file."""
    root = ET.fromstring(musicxml)  # noqa: S314 - our own file
    divisions = int(root.findtext(".//divisions") or 0)
    return [
        mark
        for number, measure in enumerate(root.iter("measure"))
        for mark in _bar_marks(number, measure, divisions)
    ]


def _bar_marks(number: int, measure: ET.Element, divisions: int) -> Iterator[Mark]:
    now = before = Fraction(0)
    for element in measure:
        length = Fraction(int(element.findtext("duration") or 0), divisions)
        if element.tag == "backup":
            now -= length
        elif element.tag == "forward":
            now += length
        elif element.tag == "note":
            if element.find("chord") is None:
                before = now
                now += length
            yield Mark(number, before, length, element)


def length_faults(marks: list[Mark]) -> list[str]:
    """Return the notes whose sign does not last as long as they do."""
    faults = []
    for mark in marks:
        kind = mark.text("type")
        if not kind or not mark.length:
            continue
        dots = len(mark.note.findall("dot"))
        shown = _KINDS[kind] * Fraction(2 ** (dots + 1) - 1, 2**dots)
        actual = mark.text("time-modification/actual-notes")
        if actual:
            normal = mark.text("time-modification/normal-notes")
            shown *= Fraction(int(normal), int(actual))
        if shown != mark.length:
            faults.append(f"{_name(mark)} shows {shown}, lasts {mark.length}")
    return faults


def accidental_faults(musicxml: bytes) -> list[str]:
    """Return the notes that a player would misread by key and accidentals."""
    root = ET.fromstring(musicxml)  # noqa: S314 - our own file
    fifths = _signatures(root)
    faults = []
    bar: dict[tuple[str, str], int] = {}
    held: dict[tuple[str, str, str], int] = {}
    number = -1
    for mark in sorted(marks_of(musicxml), key=_reading_order):
        if mark.note.find("pitch") is None:
            continue
        if mark.bar != number:
            number, bar = mark.bar, {}
        staff, step = mark.text("staff"), mark.text("pitch/step")
        place = (staff, step + mark.text("pitch/octave"))
        alter = int(mark.text("pitch/alter") or 0)
        tied = mark.note.find("tie[@type='stop']") is not None
        sign = mark.text("accidental")
        if sign:
            bar[place] = _SIGNS[sign]
        read = bar.get(place, _usual(step, fifths[mark.bar]))
        if tied and not sign:
            read = held.get((*place, ""), read)
        if read != alter:
            faults.append(f"{_name(mark)} reads {read}, is {alter}")
        if mark.note.find("tie[@type='start']") is not None:
            held[(*place, "")] = alter
    return faults


def _reading_order(mark: Mark) -> tuple[int, str, Fraction, str, int]:
    grace = mark.note.find("grace") is None
    return mark.bar, mark.text("staff"), mark.onset, mark.text("voice"), grace


def _signatures(root: ET.Element) -> list[int]:
    """Return the sharps of every measure; flats are negative."""
    found = []
    fifths = 0
    for measure in root.iter("measure"):
        fifths = int(measure.findtext("attributes/key/fifths") or fifths)
        found.append(fifths)
    return found


def _usual(step: str, fifths: int) -> int:
    order = _SHARPS if fifths > 0 else _SHARPS[::-1]
    times = order.index(step) < abs(fifths)
    return (1 if fifths > 0 else -1) * times


def beam_faults(marks: list[Mark]) -> list[str]:
    """Return the beams that begin or end alone, or join more than one beat allows."""
    faults = []
    open_: dict[tuple[str, str, bool], bool] = defaultdict(bool)
    bar = 0
    for mark in marks:
        if mark.bar != bar:
            faults += [
                f"bar {bar}: beam {key} is open" for key, on in open_.items() if on
            ]
            bar = mark.bar
        grace = mark.note.find("grace") is not None
        for beam in mark.note.findall("beam"):
            key = (mark.text("voice"), beam.get("number") or "", grace)
            if beam.text in ("continue", "end") and not open_[key]:
                faults.append(f"{_name(mark)}: {beam.text} without begin")
            if beam.text == "begin" and open_[key]:
                faults.append(f"{_name(mark)}: begins twice")
            if beam.text in ("begin", "end"):
                open_[key] = beam.text == "begin"
        plain = mark.note.find("beam") is None and not mark.is_chord
        if plain and not grace and open_[(mark.text("voice"), "1", grace)]:
            faults.append(f"{_name(mark)} breaks a beam")
    return faults


def tuplet_faults(marks: list[Mark]) -> list[str]:
    """Return the tuplet signs that do not pair up, or pair over bar lines."""
    faults = []
    open_: dict[str, int | None] = defaultdict(lambda: None)
    for mark in marks:
        voice = mark.text("voice")
        for sign in mark.note.findall("notations/tuplet"):
            starts = sign.get("type") == "start"
            if starts and open_[voice] is not None:
                faults.append(f"{_name(mark)} starts a second tuplet")
            if not starts and open_[voice] != mark.bar:
                faults.append(f"{_name(mark)} stops no tuplet")
            open_[voice] = mark.bar if starts else None
    return faults


def _name(mark: Mark) -> str:
    return f"bar {mark.bar} {mark.note.get('id')}"
