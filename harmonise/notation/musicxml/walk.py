"""When everything in a part happens, in exact crotchets from each bar line.

MusicXML moves one cursor through a measure: notes, `<forward>` and `<backup>` move it,
a `<chord>` note stands where the note before it began, grace notes take no time.
Lengths are `<duration>` over `<divisions>`. Tuplets that the divisions cannot hold
exactly (a septuplet at 480) come rounded; their length is taken from type, dots and
`<time-modification>` when that agrees with the duration to within one division.
Source: W3C, MusicXML 4.0, `duration`, `backup`, `chord`, `time-modification`.
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.notation.musicxml.elements import Element, decimal, text, whole, words

LONGEST_MEASURE = 256
"""Most crotchets of a bar."""
FINEST = 10_000
"""Largest denominator of a time in crotchets."""

_LENGTHS = {
    "maxima": Fraction(32),
    "long": Fraction(16),
    "breve": Fraction(8),
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    **{f"{4 * 2**power}th": Fraction(1, 2**power) for power in (2, 4, 5, 6, 7, 8)},
    "32nd": Fraction(1, 8),
}


class TimedElement(NamedTuple):
    """One element of a measure with its time.

    Attributes:
        element: The element.
        onset: Crotchets from the measure's bar line.
        length: Crotchets that it takes; 0 for all but notes and rests.
        voice: Voice of a note, as named in the file.
        staff: Staff of the part, from 1.
        in_chord: Whether it is a further note of the chord that began before it.
    """

    element: Element
    onset: Fraction
    length: Fraction = Fraction(0)
    voice: str = ""
    staff: int = 1
    in_chord: bool = False


class Measure(NamedTuple):
    """One measure of one part.

    Attributes:
        label: Its number as written, such as "12" or "X1".
        implicit: Whether the file says that its number is not printed.
        items: Its elements in file order.
        length: Crotchets up to the furthest point of its cursor.
        overdrawn: Onset where a `<backup>` went before the bar line; None if none did.
    """

    label: str
    implicit: bool
    items: tuple[TimedElement, ...]
    length: Fraction
    overdrawn: Fraction | None = None


def note_length(kind: str) -> Fraction | None:
    """Return the crotchets of a note type of MusicXML; None for an unknown one.

    >>> note_length("quarter"), note_length("16th"), note_length("256th")
    (Fraction(1, 1), Fraction(1, 4), Fraction(1, 64))
    """
    return _LENGTHS.get(kind)


def walk_part(part: Element) -> tuple[Measure, ...]:
    """Return the measures of a part with the time of each element.

    Raises:
        NotationError: If the file has a time that cannot be, with its place.
    """
    walker = _Walker()
    return tuple(walker.measure(element) for element in part.iterfind("measure"))


class _Walker:
    """The cursor; divisions and beats carry over from bar to bar."""

    def __init__(self) -> None:
        # Both hold until a file says otherwise, and some say so in the first bar only.
        self.divisions, self.are_told = Fraction(1), False
        self.unit = Fraction(1)
        self.count = 0
        self._begin("")

    def _begin(self, label: str) -> None:
        self.count += 1
        self.number = whole(label)
        self.now = self.furthest = self.struck = Fraction(0)
        self.overdrawn: Fraction | None = None
        self.voice, self.staff = "1", 1

    def measure(self, element: Element) -> Measure:
        label = element.get("number", "")
        self._begin(label)
        items = tuple(self._items(element))
        # A wrong <divisions> makes bars of thousands of crotchets.
        if self.furthest > LONGEST_MEASURE:
            raise NotationError(
                f"the bar lasts {float(self.furthest):.6g} crotchets; at most "
                f"{LONGEST_MEASURE} "
                "are read.",
                self.place(None),
                "Check <divisions> and <duration>.",
            )
        implicit = element.get("implicit") == "yes"
        return Measure(label, implicit, items, self.furthest, self.overdrawn)

    def place(self, onset: Fraction | None) -> Place:
        number = self.count if self.number is None else self.number
        return Place(number, None if onset is None else onset / self.unit + 1)

    def _items(self, measure: Element) -> Iterator[TimedElement]:
        for child in measure:
            if child.tag == "note":
                yield self._note(child)
            elif child.tag == "forward":
                self._move(self._duration(child))
            elif child.tag == "backup":
                self.now -= self._duration(child)
                if self.now < 0:
                    # Programs that count badly go back too far; what comes next
                    # then begins with the bar.
                    self.overdrawn = self.now + self._duration(child)
                    self.now = Fraction(0)
            else:
                if child.tag == "attributes":
                    self._attributes(child)
                yield TimedElement(
                    child, self._offset(child), staff=self._staff(child, 1)
                )

    def _move(self, length: Fraction) -> None:
        self.now += length
        self.furthest = max(self.furthest, self.now)

    def _note(self, note: Element) -> TimedElement:
        chord = note.find("chord") is not None
        # What a further note of a chord leaves out is that of the first.
        if not chord:
            self.struck, self.voice, self.staff = self.now, "1", 1
        self.voice = words(note.findtext("voice")) or self.voice
        self.staff = self._staff(note, self.staff)
        length = Fraction(0)
        if note.find("grace") is None:
            length = self._note_length(note)
            if not chord:
                self._move(length)
        return TimedElement(note, self.struck, length, self.voice, self.staff, chord)

    def _staff(self, element: Element, otherwise: int) -> int:
        return whole(element.findtext("staff")) or otherwise

    def _offset(self, element: Element) -> Fraction:
        """Return where a sign stands, which may be beside the cursor."""
        offset = decimal(element.findtext("offset"))
        # The offset counts in divisions from the cursor, and may lead before the bar.
        if offset is None:
            return self.now
        return max(self.now + offset / self.divisions, Fraction(0))

    def _attributes(self, attributes: Element) -> None:
        written = attributes.findtext("divisions")
        if written is not None:
            divisions = decimal(written)
            if divisions is None or divisions <= 0:
                what = f'<divisions> is "{words(written)[:20]}".'
                remedy = "It must be a number above 0."
                raise NotationError(what, self.place(self.now), remedy)
            self.divisions, self.are_told = divisions, True
        beat_type = whole(attributes.findtext("time/beat-type"))
        if beat_type and beat_type > 0:
            self.unit = Fraction(4, beat_type)

    def _duration(self, element: Element) -> Fraction:
        written = element.findtext("duration")
        duration = decimal(written)
        if duration is None or duration < 0:
            what = f'<duration> of a <{element.tag}> is "{words(written)[:20]}".'
            remedy = "It must be a number of divisions."
            raise NotationError(what, self.place(self.now), remedy)
        return duration / self.divisions

    def _note_length(self, note: Element) -> Fraction:
        written = _written_length(note)
        # Against the standard some programs write the type alone.
        if note.find("duration") is None and written is not None:
            return written
        length = self._duration(note)
        if not self.are_told and written not in (None, length):
            what = "the file does not say its <divisions>, so that no length is known."
            remedy = "Export it again from the program that made it."
            raise NotationError(what, self.place(self.now), remedy)
        in_tuplet = note.find("time-modification") is not None
        # Less than a division apart: the file has rounded what its tuplet means.
        if in_tuplet and written and abs(written - length) * self.divisions < 1:
            return written
        # A rounded length that no tuplet explains would shift all that follows.
        if length.denominator > FINEST:
            raise NotationError(
                f"a note lasts {float(length):.6g} crotchets, which no note value is.",
                self.place(self.now),
                "Check <divisions> and <duration>.",
            )
        return length


def _written_length(note: Element) -> Fraction | None:
    """Return the crotchets that type, dots and tuplet say; None if they do not."""
    plain = note_length(text(note, "type"))
    if plain is None:
        return None
    dots = len(note.findall("dot"))
    dotted = plain * (2 - Fraction(1, 2 ** min(dots, 10)))
    actual, normal = 1, 1
    if note.find("time-modification") is not None:
        actual = whole(note.findtext("time-modification/actual-notes")) or 0
        normal = whole(note.findtext("time-modification/normal-notes")) or 0
    if not (0 < actual <= 1000 and 0 < normal <= 1000):
        return None
    return dotted * normal / actual
