"""Where the notes and chord symbols of an arrangement stand in its engraving: ids.

A note is n and its number; its tied parts add -2, -3 (as the MusicXML has them). Chord
symbols are h0, h1 and so on, as `drawn` names them.
"""

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.writing.chord_marks import printed_slots
from harmonise.theory.arrangement import Arrangement

_NOTE = re.compile(r"n(\d+)(?:-\d+)?$")
_TIMED = re.compile(
    r'<(note|backup|forward)(?: id="([^"]*)")?[^>]*>(.*?)</\1>', re.DOTALL
)
_DURATION = re.compile(r"<duration>(\d+)")


class Part(NamedTuple):
    """Something printed or played for a while.

    Attributes:
        start: When it begins, in any unit.
        end: When it ends, in the same.
        note: Number of its sounding note, or of its key.
        name: Its id.
    """

    start: float
    end: float
    note: int
    name: str = ""


class Marks(NamedTuple):
    """Ids of what is printed.

    Attributes:
        names: Ids of the heads of each sounding note, in order.
        at_slots: Ids of the heads that sound when each slot begins.
        symbols: Ids of the chord symbols, by onset.
    """

    names: tuple[tuple[str, ...], ...]
    at_slots: tuple[tuple[str, ...], ...]
    symbols: dict[Fraction, str]


def marks_of(done: Arrangement, musicxml: bytes) -> Marks:
    """Return the ids that an arrangement has in its MusicXML, and its symbols'."""
    text = musicxml.decode()
    divisions = int(text.partition("<divisions>")[2].partition("<")[0])
    parts = sorted(_parts(done, text, divisions))
    names: list[list[str]] = [[] for _ in done.notes]
    for part in parts:
        names[part.note].append(part.name)
    spans = [
        (_ticks(slot.onset, divisions), _ticks(slot.end, divisions))
        for slot in done.slots
    ]
    at_slots = tuple(
        tuple(part.name for part in heard if part.start <= start)
        for (start, _), heard in zip(spans, by_slot(parts, spans), strict=True)
    )
    symbols = {
        slot.onset: f"h{number}" for number, slot in enumerate(printed_slots(done))
    }
    return Marks(tuple(map(tuple, names)), at_slots, symbols)


def _ticks(time: Fraction, divisions: int) -> float:
    """Return a time in divisions of a crotchet, a whole number for any note."""
    return time.numerator * divisions / time.denominator


def by_slot(
    parts: Sequence[Part], spans: Sequence[tuple[float, float]]
) -> Iterator[list[Part]]:
    """Yield what sounds in each slot, by its beginning.

    Args:
        parts: What sounds, by its beginning.
        spans: Beginnings and ends of the slots, in order.
    """
    sounding: list[Part] = []
    at = 0
    for start, end in spans:
        while at < len(parts) and parts[at].start < end:
            sounding.append(parts[at])
            at += 1
        sounding = [part for part in sounding if part.end > start]
        yield sounding


def _parts(done: Arrangement, text: str, divisions: int) -> Iterator[Part]:
    _, *measures = text.split("<measure ")
    for bar, measure in zip(done.tune.bars, measures, strict=True):
        now = start = round(_ticks(bar.start, divisions))
        for found in _TIMED.finditer(measure):
            kind, name, inside = found.groups()
            told = _DURATION.search(inside)
            length = int(told[1]) if told else 0
            if kind == "backup":
                now -= length
            elif "<chord/>" not in inside:
                start, now = now, now + length
            named = _NOTE.match(name or "")
            if named:
                yield Part(start, start + length, int(named[1]), named[0])
