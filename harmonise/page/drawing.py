"""An arrangement engraved for the page, and where its notes stand in the engraving.

The page forbids stylesheets within its parts, so the engraver's rules become
attributes. Only notes, bars and chord symbols keep ids, for the engraver gives clefs
and the like the same ones on every line: a note is n and its number, its tied parts add
-2, -3 (as the MusicXML has them), and chord symbols are h0, h1 and so on. No text of a
user's becomes markup: the engraver escapes it.
"""

import re
from collections.abc import Iterable, Iterator
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
from harmonise.page.making import arrangement_of
from harmonise.page.requests import ArrangeRequest
from harmonise.theory.arrangement import Arrangement, Hand
from harmonise.theory.chord import Chord

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
    def named(match: re.Match[str]) -> str:
        name, kinds = match[1], match[2] or ""
        if kinds == "harm":
            name = f"h{next(numbers)}"
        ident = f' id="{name}"' if kinds == "harm" or _OURS.match(name) else ""
        look = _LOOKS.get(kinds.partition(" ")[0], "")
        return f'{ident} class="{kinds}"{look}' if kinds else ident

    svg = _RULES.sub("", svg)
    root = _ROOT.search(svg)
    if root:
        svg = svg.replace(root[1], f"{root[1]}-{line}")
    head, margin, music = svg.partition(_MARGIN)
    music = _SHAPE.sub(r'<\1 stroke="currentColor" ', music)
    return head + margin + _NAMED.sub(named, music)


class NotePlaces(NamedTuple):
    """Ids of what is printed.

    Attributes:
        names: Ids of the heads of each sounding note, in order.
        at_slots: Ids of the heads that sound when each slot begins.
        symbols: Ids of the chord symbols, by onset.
        kept: The keys that each slot's chord shares with the one before: keys of the
            right hand, by MIDI number, that sound when the slot begins, sounded in the
            slot before and belong to both chords. None where the chord goes on.
    """

    names: tuple[tuple[str, ...], ...]
    at_slots: tuple[tuple[str, ...], ...]
    symbols: dict[Fraction, str]
    kept: tuple[tuple[int, ...], ...]


class _Head(NamedTuple):
    """A printed head: from when to when it sounds, in ticks, its note and its id."""

    start: float
    end: float
    note: int
    name: str


def places_in(plan: Plan, arrangement: Arrangement) -> NotePlaces:
    """Return the ids that an arrangement has in its score, and its symbols'.

    Args:
        plan: The score.
        arrangement: The arrangement.
    """
    heads = sorted(
        _Head(sign.start, sign.end, note.number, note.name)
        for sign in plan.signs()
        for note in sign.notes
        if note.number is not None
    )
    names: list[list[str]] = [[] for _ in arrangement.notes]
    for head in heads:
        names[head.note].append(head.name)
    at_slots: list[tuple[str, ...]] = []
    kept: list[tuple[int, ...]] = []
    was, chord = set[int](), None
    for slot, (begun, sounding) in zip(
        arrangement.slots, _by_slot(plan, arrangement, heads), strict=True
    ):
        at_slots.append(tuple(head.name for head in begun))
        now = _keys(arrangement, sounding, slot.chord)
        shared = was & now & _keys(arrangement, begun, slot.chord)
        kept.append(() if slot.chord == chord else tuple(sorted(shared)))
        was, chord = now, slot.chord
    symbols = {
        slot.onset: f"h{number}"
        for number, slot in enumerate(printed_slots(arrangement))
    }
    return NotePlaces(tuple(map(tuple, names)), tuple(at_slots), symbols, tuple(kept))


def _by_slot(
    plan: Plan, arrangement: Arrangement, heads: list[_Head]
) -> Iterator[tuple[list[_Head], list[_Head]]]:
    """Yield for each slot what sounds when it begins, and what sounds in it at all."""
    sounding: list[_Head] = []
    read = 0
    for slot in arrangement.slots:
        start = float(slot.onset * plan.divisions)
        end = float(slot.end * plan.divisions)
        # Heads stand in the order in which they begin, so each is taken up once.
        while read < len(heads) and heads[read].start < end:
            sounding.append(heads[read])
            read += 1
        sounding = [head for head in sounding if head.end > start]
        yield [head for head in sounding if head.start <= start], sounding


def _keys(
    arrangement: Arrangement, heads: Iterable[_Head], chord: Chord | None
) -> set[int]:
    """Return the keys of the right hand that are of a chord."""
    notes = (arrangement.notes[head.note] for head in heads)
    classes = chord.pitch_classes if chord else ()
    return {
        note.pitch.midi
        for note in notes
        if note.hand is Hand.RIGHT and note.pitch.pitch_class in classes
    }


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
    arrangement = arrangement_of(asked)
    plan = plan_score(arrangement)
    starts = _starts(replace(asked, locks=())) if asked.locks else ()
    return arrangement, _lines(plan, starts), places_in(plan, arrangement)


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
