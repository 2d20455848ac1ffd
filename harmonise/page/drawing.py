"""An arrangement engraved for the page, and where its notes stand in the engraving.

The page forbids stylesheets within its parts, so the engraver's rules become
attributes. Only notes, bars and chord symbols keep ids, for the engraver gives clefs
and the like the same ones on every line: the notes of line 3 are l3n0, l3n1 and so on,
its chord symbols l3h0, l3h1. So a line whose music is the same is the same text, and
need neither be drawn nor sent again. No text of a user's becomes markup: the engraver
escapes it.
"""

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import lru_cache
from hashlib import blake2b
from itertools import count
from typing import NamedTuple

from msgspec.structs import replace

from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import Look
from harmonise.notation.paper.engraving import (
    Excerpt,
    engrave_line,
    finger_leaders,
    lines_begin,
)
from harmonise.notation.score.printed_labels import printed_slots
from harmonise.notation.score.score_plan import Plan, plan_score
from harmonise.page.excerpts import ScoreLine, score_lines
from harmonise.page.making import arrangement_of
from harmonise.page.requests import ArrangeRequest, DrawRequest
from harmonise.theory.arrangement import Arrangement, Hand
from harmonise.theory.chord import Chord

_RULES = re.compile(r"<style>.*?</style>", re.DOTALL)
_ROOT = re.compile(r'<svg [^>]*?id="([^"]*)"')
_MARGIN = '<g class="page-margin"'
_SHAPE = re.compile("<(path|ellipse|polygon|polyline|rect) ")
_OURS = re.compile(r"(n\d+|m\d+)$")
_NAMED = re.compile(r' id="([^"]*)"(?: class="([\w ]*)")?')
_ITS_LINE = "\ufffc"
"""Stands for the number of the line in a picture that may stand anywhere."""
_LOOKS = {
    "tempo": ' font-weight="bold"',
    "voltaBracket": ' font-weight="bold"',
    "reh": ' font-weight="bold"',
    "dir": ' font-style="italic"',
    "dynam": ' font-style="italic"',
    "mNum": ' font-style="italic"',
}
"""What the engraver's stylesheet says of words, by the class of their group."""


class PageLine(NamedTuple):
    """A line of music as the page shows it.

    Attributes:
        key: The same for the same picture, for no other.
        markup: The picture, an SVG.
        bars: Places of its bars in the tune.
        symbols: How many chord symbols it has.
    """

    key: str
    markup: str
    bars: tuple[int, ...]
    symbols: int


@lru_cache(maxsize=1024)
def picture(excerpt: Excerpt, look: Look) -> PageLine:
    """Return a line of music wherever it may stand."""
    system = engrave_line(excerpt, look)
    numbers = count()

    def named(match: re.Match[str]) -> str:
        name, kinds = match[1], match[2] or ""
        if kinds.partition(" ")[0].endswith("MilestoneEnd"):
            kinds = kinds.partition(" ")[0]  # What follows is an id made at random.
        if kinds == "harm":
            ident = f' id="l{_ITS_LINE}h{next(numbers)}"'
        elif _OURS.match(name):
            ident = f' id="{name if name[0] == "m" else f"l{_ITS_LINE}{name}"}"'
        else:
            ident = ""
        style = _LOOKS.get(kinds.partition(" ")[0], "")
        return f'{ident} class="{kinds}"{style}' if kinds else ident

    svg = _RULES.sub("", system.svg)
    head, margin, music = svg.partition(_MARGIN)
    music = _SHAPE.sub(r'<\1 stroke="currentColor" ', music)
    svg = head + margin + _NAMED.sub(named, music)
    root = _ROOT.search(svg)
    svg = svg.replace(root[1], f"r{_ITS_LINE}") if root else svg
    key = blake2b(svg.encode(), digest_size=9).hexdigest()
    bars = tuple(int(name[1:]) for name in system.bars)
    return PageLine(key, svg, bars, next(numbers))


def _placed(picture: PageLine, line: int) -> PageLine:
    """Return a line of music in its place; its key tells the place too."""
    markup = picture.markup.replace(_ITS_LINE, str(line))
    return picture._replace(key=f"{line}-{picture.key}", markup=markup)


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


def places_in(
    plan: Plan,
    arrangement: Arrangement,
    called: dict[str, str],
    symbols: Iterable[str],
) -> NotePlaces:
    """Return the ids that an arrangement has in its score, and its symbols'.

    Args:
        plan: The score.
        arrangement: The arrangement.
        called: The id on the page of each printed head, by its name in the plan.
        symbols: Ids of the chord symbols, in order.
    """
    heads = sorted(
        _Head(sign.start, sign.end, note.number, called[note.name])
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
    printed = [slot.onset for slot in printed_slots(arrangement)]
    by_onset = dict(zip(printed, symbols, strict=True))
    return NotePlaces(tuple(map(tuple, names)), tuple(at_slots), by_onset, tuple(kept))


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


class Engraved(NamedTuple):
    """An arrangement as the page shows it.

    Attributes:
        lines: Its lines of music.
        places: Where its notes stand in them.
    """

    lines: tuple[PageLine, ...]
    places: NotePlaces


def engraved(asked: DrawRequest) -> Engraved:
    """Return the lines of music of an arrangement, and where its notes stand in them.

    Lines begin where those of the same arrangement without locks do: so nothing jumps
    when a chord is swapped, and nothing is measured again.

    Args:
        asked: What is asked for.

    Raises:
        HarmoniseError: If it cannot be arranged or engraved.
    """
    arrangement = arrangement_of(asked.arranging, explained=False)
    return _placed_on(_laid(asked.arranging, asked.width), arrangement)


def lines_of(asked: DrawRequest) -> tuple[PageLine, ...]:
    """Return the lines of music alone, which are seen before the rest is told.

    Raises:
        HarmoniseError: If it cannot be arranged or engraved.
    """
    return _laid(asked.arranging, asked.width).lines


def on_lines(arrangement: Arrangement, starts: tuple[str, ...], width: int) -> Engraved:
    """Return an arrangement on lines of music.

    Args:
        arrangement: The arrangement.
        starts: Ids of the bars that lines begin with.
        width: Width of a line in millimetres.
    """
    return _placed_on(_laid_out(arrangement, starts, width), arrangement)


class _LaidOut(NamedTuple):
    """A score on its lines.

    Attributes:
        plan: The score.
        lines: Its lines of music.
        called: The id on the page of each printed head, by its name in the plan.
    """

    plan: Plan
    lines: tuple[PageLine, ...]
    called: dict[str, str]


@lru_cache(maxsize=8)
def _laid(asked: ArrangeRequest, width: int) -> _LaidOut:
    """Return what is asked for twice: for the picture, and for what is told of it."""
    starts = _starts(replace(asked, locks=()), width)
    return _laid_out(arrangement_of(asked, explained=False), starts, width)


def _laid_out(
    arrangement: Arrangement, starts: tuple[str, ...], width: int
) -> _LaidOut:
    plan, look = plan_score(arrangement), Look(width=width)
    found = _lines(plan, starts)
    lines = tuple(
        _placed(picture(line.excerpt, look), number)
        for number, line in enumerate(found)
    )
    called = {
        name: f"l{number}{ours}"
        for number, line in enumerate(found)
        for name, ours in line.names.items()
    }
    return _LaidOut(plan, lines, called)


def _placed_on(laid: _LaidOut, arrangement: Arrangement) -> Engraved:
    symbols = (
        f"l{number}h{place}"
        for number, line in enumerate(laid.lines)
        for place in range(line.symbols)
    )
    places = places_in(laid.plan, arrangement, laid.called, symbols)
    return Engraved(laid.lines, places)


@lru_cache(maxsize=16)
def _starts(asked: ArrangeRequest, width: int) -> tuple[str, ...]:
    """Return the ids of the bars that lines begin with."""
    plan = plan_score(arrangement_of(asked, explained=False))
    return lines_begin(format_plan(plan), Look(width=width), finger_leaders(plan))


def _lines(plan: Plan, starts: tuple[str, ...]) -> tuple[ScoreLine, ...]:
    return score_lines(format_plan(plan).decode(), starts, finger_leaders(plan))
