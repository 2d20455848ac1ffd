"""Finger numbers of a chord in one straight stack, in note order (TRADE N07).

verovio sets each number over its own note head, and stacks them in any order where two
voices meet. So all numbers of a hand at one moment are hung on one note before
engraving, and put in order after it.
"""

import re
from collections.abc import Iterator
from fractions import Fraction
from xml.etree import ElementTree as ET

_FINGER = re.compile(r'(<fing\b[^>]*\bstartid="#)([^"]*)(")')
_DRAWN = re.compile(
    r'<g id="[^"]*" class="fing"[^>]*><text x="(-?\d+)" y="(-?\d+)".*?>(\d)</tspan>'
)


def share_notes(mei: str, musicxml: bytes) -> str:
    """Return MEI whose fingers at one moment hang on one note a hand.

    Args:
        mei: The score as verovio has it.
        musicxml: The same as it was written.
    """
    leaders = dict(_leaders(ET.fromstring(musicxml)))  # noqa: S314 - our own text
    return _FINGER.sub(
        lambda found: f"{found[1]}{leaders.get(found[2], found[2])}{found[3]}", mei
    )


def _leaders(score: ET.Element) -> Iterator[tuple[str, str]]:
    """Yield each fingered note's id and the first such note's of its hand."""
    for measure in score.iter("measure"):
        first: dict[tuple[Fraction, str], str] = {}
        for onset, note in _timed(measure):
            name = note.get("id", "")
            if note.find("notations/technical/fingering") is not None:
                place = (onset, note.findtext("staff", "1"))
                yield name, first.setdefault(place, name)


def _timed(measure: ET.Element) -> Iterator[tuple[Fraction, ET.Element]]:
    """Yield the notes of a measure with the times at which they begin, in divisions."""
    now = start = Fraction(0)
    for element in measure:
        length = Fraction(element.findtext("duration", "0"))
        if element.tag == "backup":
            now -= length
        elif element.tag == "forward":
            now += length
        elif element.tag == "note":
            if element.find("chord") is None:
                start = now
                now += length
            yield start, element


def put_in_order(svg: str) -> str:
    """Return a line of music whose stacks of fingers follow the notes.

    The right hand's numbers rise with the pitch, the left hand's fall: so in the stack
    above the staves the largest is on top, in the one below the smallest.
    """
    parts = re.split(r'(?=<g id="[^"]*" class="measure">)', svg)
    return "".join(map(_order_bar, parts))


def _order_bar(svg: str) -> str:
    found = list(_DRAWN.finditer(svg))
    middle = _middle(svg)
    stacks: dict[tuple[int, bool], list[re.Match[str]]] = {}
    for one in found:
        stacks.setdefault((int(one[1]), int(one[2]) < middle), []).append(one)
    digits = list(svg)
    for (_, above), stack in stacks.items():
        places = sorted(stack, key=lambda one: int(one[2]))
        numbers = sorted((one[3] for one in stack), reverse=above)
        for place, number in zip(places, numbers, strict=True):
            digits[place.start(3)] = number
    return "".join(digits)


def _middle(svg: str) -> float:
    """Return the height midway between the first and the last staff line of a bar."""
    heights = [
        int(y) for y in re.findall(r'class="staff"><path d="M-?\d+ (-?\d+)', svg)
    ]
    return sum(heights) / len(heights) if heights else 0
