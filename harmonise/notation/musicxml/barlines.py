"""Barlines: repeats, endings and double bars, each at its place in crotchets.

A barline belongs to a place, not to a bar: one at the left of a measure and one at the
right of the measure before it stand at the same onset.
Source: W3C, MusicXML 4.0, `barline`, `repeat`, `ending`.
"""

import re
from bisect import bisect_right
from collections.abc import Iterator
from fractions import Fraction
from operator import attrgetter, itemgetter
from typing import NamedTuple

from harmonise.notation.musicxml.elements import (
    Element,
    XmlCode,
    XmlRemarks,
    text,
    whole,
)
from harmonise.notation.musicxml.walk import Measure

_DOUBLE = ("light-light", "light-heavy", "heavy-light", "heavy-heavy")
_MOST_TIMES = 20
_NUMBER = re.compile(r"[0-9]{1,2}")
_RANGE = re.compile(r"([0-9]{1,2})\s*[-–]\s*([0-9]{1,2})")


class EndingBracket(NamedTuple):
    """An ending bracket.

    Attributes:
        start: Onset of its first bar.
        end: Onset at which it stops.
        numbers: On which times through it is played.
    """

    start: Fraction
    end: Fraction
    numbers: tuple[int, ...]


class Barlines(NamedTuple):
    """All barlines of a part that mean more than a bar's end; onsets in crotchets.

    Attributes:
        forward: Where repeats begin.
        backward: Where repeats end, with how often the music is played.
        double: Where double, final and repeat bars stand.
        endings: Ending brackets in order, none inside another.
        sections: Every place at which a section of the tune ends or begins.
    """

    forward: frozenset[Fraction]
    backward: dict[Fraction, int]
    double: frozenset[Fraction]
    endings: tuple[EndingBracket, ...]
    sections: frozenset[Fraction]

    def ending_at(self, onset: Fraction) -> EndingBracket | None:
        """Return the ending that holds an onset."""
        found = bisect_right(self.endings, onset, key=attrgetter("start")) - 1
        if found < 0 or onset >= self.endings[found].end:
            return None
        return self.endings[found]


def read_barlines(
    measures: tuple[Measure, ...], starts: tuple[Fraction, ...], remarks: XmlRemarks
) -> Barlines:
    """Return the repeats, endings and double bars of a part.

    Args:
        measures: The part's measures.
        starts: Onset of each, and last the end of the music.
        remarks: Told what cannot be as it is written.
    """
    marks: list[tuple[Fraction, Element]] = []
    for count, measure in enumerate(measures):
        for item in measure.items:
            if item.element.tag == "barline":
                # The standard's default is the right side of the measure.
                inside = {"left": Fraction(0), "middle": item.onset}
                at = inside.get(item.element.get("location", "right"))
                onset = starts[count + 1] if at is None else starts[count] + at
                marks.append((onset, item.element))
    marks.sort(key=itemgetter(0))
    forward, backward = set(), {}
    for onset, barline in marks:
        repeat = barline.find("repeat")
        if repeat is None:
            continue
        if repeat.get("direction") == "forward":
            forward.add(onset)
        else:
            # "times" counts how often the music is played, the first time too.
            times = whole(repeat.get("times")) or 2
            backward[onset] = min(max(times, 2), _MOST_TIMES)
    _tell_unended(forward, backward, remarks)
    double = {at for at, line in marks if text(line, "bar-style") in _DOUBLE}
    endings = tuple(_endings(marks, starts, sorted(backward), remarks))
    sections = frozenset(forward | double | backward.keys())
    return Barlines(frozenset(forward), backward, frozenset(double), endings, sections)


def _tell_unended(
    forward: set[Fraction], backward: dict[Fraction, int], remarks: XmlRemarks
) -> None:
    """Say where a repeat begins that no later barline ends."""
    begins, ends = sorted(forward), sorted(backward)
    for count, onset in enumerate(begins):
        later = bisect_right(ends, onset)
        end = ends[later] if later < len(ends) else None
        until = begins[count + 1] if count + 1 < len(begins) else end
        # A repeat that begins before this one has ended never ends.
        if end is None or (until is not None and end > until):
            what = "a repeat begins here that no later barline ends; it is played once."
            remarks.add(XmlCode.REPEAT, what, onset, "Add the end of the repeat.")


def _endings(
    marks: list[tuple[Fraction, Element]],
    starts: tuple[Fraction, ...],
    ends: list[Fraction],
    remarks: XmlRemarks,
) -> Iterator[EndingBracket]:
    """Yield the brackets; one that is never closed ends with its repeat or its bar."""
    brackets = [
        (onset, ending.get("type") == "start", _ending_numbers(ending))
        for onset, barline in marks
        for ending in barline.iterfind("ending")
    ]
    opened: tuple[Fraction, tuple[int, ...]] | None = None
    # At one place what stops comes before what starts, in whichever order it stands.
    for onset, starting, numbers in sorted(brackets, key=itemgetter(0, 1)):
        if not starting and opened is None:
            what = "an ending stops here that did not begin."
            remarks.add(XmlCode.ENDING, what, onset)
        elif opened is not None and (starting or onset > opened[0]):
            end = _end_of(opened[0], onset, starts, ends) if starting else onset
            yield EndingBracket(opened[0], end, opened[1])
        opened = (onset, numbers) if starting and numbers else None
        if starting and not numbers:
            what = "an ending here has no number; left out."
            remarks.add(XmlCode.ENDING, what, onset)
    if opened is not None:
        end = _end_of(opened[0], starts[-1], starts, ends)
        yield EndingBracket(opened[0], end, opened[1])


def _ending_numbers(ending: Element) -> tuple[int, ...]:
    """Return the numbers of an ending, from its attribute or else from its text.

    The attribute lists them ("1, 2"); the text may show a range ("1.-3.").
    """
    for written in (ending.get("number", ""), ending.text or ""):
        # A full stop after each number is for the eye.
        span = _RANGE.search(written.replace(".", ""))
        if span and int(span.group(1)) <= int(span.group(2)):
            return tuple(range(int(span.group(1)), int(span.group(2)) + 1))
        numbers = [int(number) for number in _NUMBER.findall(written)]
        if any(numbers):
            return tuple(dict.fromkeys(number for number in numbers if number))
    return ()


def _end_of(
    onset: Fraction,
    latest: Fraction,
    starts: tuple[Fraction, ...],
    ends: list[Fraction],
) -> Fraction:
    """Return where a bracket ends that is not closed up to a latest place."""
    later = bisect_right(ends, onset)
    if later < len(ends) and ends[later] <= latest:
        return ends[later]
    return (
        min(starts[bisect_right(starts, onset)], latest) if onset < latest else latest
    )
