"""Engraved lines made ready for the page, which forbids stylesheets within its parts.

Rules become attributes. Only notes, bars and chord symbols keep ids: the engraver gives
others to clefs and the like, the same on every line. No text of a user's becomes
markup: the engraver escapes it.

Where the notes and chord symbols of an arrangement stand in its engraving: ids.

A note is n and its number; its tied parts add -2, -3 (as the MusicXML has them). Chord
symbols are h0, h1 and so on, as `for_page` names them.

Engraving for the page, with a small memory of scores that were engraved before.
"""

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import count
from typing import NamedTuple

from msgspec.structs import replace

from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import Look, System
from harmonise.notation.paper.engraving import engrave, finger_leaders
from harmonise.notation.score.printed_labels import printed_slots
from harmonise.notation.score.score_plan import Plan, plan_score
from harmonise.page.memory import arrangement_of
from harmonise.page.requests import ArrangeRequest
from harmonise.theory.arrangement import Arrangement

_RULES = re.compile(r"<style>.*?</style>", re.DOTALL)
_ROOT = re.compile(r'<svg [^>]*?id="([^"]*)"')
_MARGIN = '<g class="page-margin"'
_SHAPE = re.compile("<(path|ellipse|polygon|polyline|rect) ")
_OURS = re.compile(r"(n\d+(-\d+|g\d+)?|m\d+)$")
_NAMED = re.compile(r' id="([^"]*)"(?: class="([\w ]*)")?')
_LOOKS = {
    "tempo": ' font-weight="bold"',
    "voltaBracket": ' font-weight="bold"',
    "reh": ' font-weight="bold"',
    "dir": ' font-style="italic"',
    "dynam": ' font-style="italic"',
    "mNum": ' font-style="italic"',
}
"""What the engraver's stylesheet says of words, by the class of their group."""


def for_page(systems: tuple[System, ...]) -> tuple[System, ...]:
    """Return engraved lines as the page shows them, below each other.

    Chord symbols are named h0, h1 and so on in the order in which they stand.
    """
    numbers = count()
    return tuple(
        system._replace(svg=_ready(system.svg, line, numbers))
        for line, system in enumerate(systems)
    )


def _ready(svg: str, line: int, numbers: Iterator[int]) -> str:
    def named(found: re.Match[str]) -> str:
        name, kinds = found[1], found[2] or ""
        if kinds == "harm":
            name = f"h{next(numbers)}"
        own = f' id="{name}"' if kinds == "harm" or _OURS.match(name) else ""
        look = _LOOKS.get(kinds.partition(" ")[0], "")
        return f'{own} class="{kinds}"{look}' if kinds else own

    svg = _RULES.sub("", svg)
    root = _ROOT.search(svg)
    if root:
        svg = svg.replace(root[1], f"{root[1]}-{line}")
    head, margin, music = svg.partition(_MARGIN)
    music = _SHAPE.sub(r'<\1 stroke="currentColor" ', music)
    return head + margin + _NAMED.sub(named, music)


class Sounding(NamedTuple):
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


class NotePlaces(NamedTuple):
    """Ids of what is printed.

    Attributes:
        names: Ids of the heads of each sounding note, in order.
        at_slots: Ids of the heads that sound when each slot begins.
        symbols: Ids of the chord symbols, by onset.
    """

    names: tuple[tuple[str, ...], ...]
    at_slots: tuple[tuple[str, ...], ...]
    symbols: dict[Fraction, str]


def places_in(plan: Plan, done: Arrangement) -> NotePlaces:
    """Return the ids that an arrangement has in its score, and its symbols'.

    Args:
        plan: The score.
        done: The arrangement.
    """
    parts = sorted(
        Sounding(sign.start, sign.end, note.number, note.name)
        for sign in plan.signs()
        for note in sign.notes
        if note.number is not None
    )
    names: list[list[str]] = [[] for _ in done.notes]
    for part in parts:
        names[part.note].append(part.name)
    divisions = plan.divisions
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
    return NotePlaces(tuple(map(tuple, names)), at_slots, symbols)


def _ticks(time: Fraction, divisions: int) -> float:
    """Return a time in divisions of a crotchet, a whole number for any note."""
    return time.numerator * divisions / time.denominator


def by_slot(
    parts: Sequence[Sounding], spans: Sequence[tuple[float, float]]
) -> Iterator[list[Sounding]]:
    """Yield what sounds in each slot, by its beginning.

    Args:
        parts: What sounds, by its beginning.
        spans: Beginnings and ends of the slots, in order.
    """
    sounding: list[Sounding] = []
    at = 0
    for start, end in spans:
        while at < len(parts) and parts[at].start < end:
            sounding.append(parts[at])
            at += 1
        sounding = [part for part in sounding if part.end > start]
        yield sounding


LOOK = Look(width=200)


def engraved(
    asked: ArrangeRequest,
) -> tuple[Arrangement, tuple[System, ...], NotePlaces]:
    """Return an arrangement, its lines of music and where its notes stand in them.

    Lines begin where those of the same arrangement without locks do: so nothing jumps
    when a chord is swapped, and nothing is measured again.

    Raises:
        HarmoniseError: If it cannot be arranged or engraved.
    """
    done = arrangement_of(asked)
    plan = plan_score(done)
    starts = _starts(replace(asked, locks=())) if asked.locks else ()
    return done, _lines(plan, starts), places_in(plan, done)


@lru_cache(maxsize=16)
def _starts(asked: ArrangeRequest) -> tuple[str, ...]:
    """Return the ids of the bars that lines begin with."""
    systems = _lines(plan_score(arrangement_of(asked)), ())
    return tuple(system.bars[0] for system in systems)


def _lines(plan: Plan, starts: tuple[str, ...]) -> tuple[System, ...]:
    return lines(format_plan(plan), starts, finger_leaders(plan))


@lru_cache(maxsize=16)
def lines(
    musicxml: bytes, starts: tuple[str, ...], leaders: tuple[tuple[str, str], ...] = ()
) -> tuple[System, ...]:
    """Return the lines of music of a score, ready for the page.

    Args:
        musicxml: The score.
        starts: Ids of the bars that lines begin with; () to find them.
        leaders: As `finger_leaders` finds them.

    Raises:
        OutputError: If it cannot be engraved.
    """
    return for_page(engrave(musicxml, LOOK, starts, leaders))
