"""All that is worked out before the first bar of a score is written."""

from bisect import bisect_right
from collections import Counter
from functools import partial
from typing import NamedTuple

from harmonise.notation.musicxml.written_bars import (
    Fences,
    Floating,
    Number,
    fences_of,
    is_sign,
    jump,
    new_lines,
    number_bars,
    section,
    tempo,
    times_played,
)
from harmonise.notation.score.ink import Ink, mark_notes
from harmonise.notation.score.note_values import MetricGrid, grid_of
from harmonise.notation.score.printed_labels import harmony, printed_slots, shape_labels
from harmonise.notation.score.printed_voices import (
    BarEdges,
    BarVoices,
    Clock,
    bar_voices,
    bars_of,
    clock_of,
    divisions_of,
    tune_voices,
)
from harmonise.theory.arrangement import Arrangement, Labels, Slot
from harmonise.theory.key import Key
from harmonise.theory.tune import Bar, Tune


class KeyMark(NamedTuple):
    """A key signature in its place.

    Attributes:
        tick: Ticks from the start.
        key: The key.
    """

    tick: int
    key: Key


class BarPlan(NamedTuple):
    """One bar, ready to write.

    Attributes:
        bar: The bar.
        number: Its number.
        fences: What its bar lines say.
        new_line: Whether a new line of print begins with it.
        start: Tick at which it begins.
        origin: Tick of the bar line; in a part bar, of the whole bar's.
        grid: Its metre.
        keys: Signatures that begin in it.
        above: What is printed above it, in order.
        closing: What is printed above its end.
        voices: What sounds.
    """

    bar: Bar
    number: Number
    fences: Fences
    new_line: bool
    start: int
    origin: int
    grid: MetricGrid
    keys: list[KeyMark]
    above: list[Floating]
    closing: list[Floating]
    voices: BarVoices


class Plan(NamedTuple):
    """A score, ready to write.

    Attributes:
        divisions: Ticks in a crotchet.
        bars: Its bars.
        ink: What notes need to know.
        staves: 2, treble and bass; or 1, the treble alone.
        name: Who plays it; not printed.
    """

    divisions: int
    bars: list[BarPlan]
    ink: Ink
    staves: int
    name: str


def plan_score(arrangement: Arrangement) -> Plan:
    """Return the plan of a score for two hands."""
    return _plan(arrangement, 2, "Piano")


def plan_lead_sheet(arrangement: Arrangement) -> Plan:
    """Return the plan of the tune alone, with words and chord symbols."""
    style = arrangement.style._replace(
        numerals=False, fingering=False, labels=Labels.NONE
    )
    return _plan(arrangement._replace(style=style), 1, "Tune")


def _plan(arrangement: Arrangement, staves: int, name: str) -> Plan:
    tune = arrangement.tune
    divisions = divisions_of(arrangement)
    ticks = clock_of(divisions)
    bars = bars_of(tune.bars, ticks)
    slots = printed_slots(arrangement)
    ink = _ink(arrangement, slots, bars, ticks)
    symbols = [Floating(ticks(slot.onset), partial(harmony, slot)) for slot in slots]
    above = _spread([*_directions(tune, ticks), *symbols], bars)
    closing = _closing(tune, bars, ticks)
    keys = _keys(tune, bars, ticks)
    cuts = {*ink.numerals, *ink.fermatas}
    voices = (
        tune_voices(arrangement, bars, ticks)
        if staves == 1
        else bar_voices(arrangement, bars, ticks, cuts)
    )
    numbers, fences = number_bars(tune.bars), fences_of(tune.bars)
    lines = new_lines(tune)
    plans = [
        BarPlan(
            bar=bar,
            number=numbers[at],
            fences=fences[at],
            new_line=at in lines,
            start=bars.edges[at],
            origin=bars.edges[at] - ticks(bar.offset),
            grid=grid_of(bar.time, divisions),
            keys=keys[at],
            above=above[at],
            closing=closing[at],
            voices=voices[at],
        )
        for at, bar in enumerate(tune.bars)
    ]
    return Plan(divisions, plans, ink, staves, name)


def _ink(
    arrangement: Arrangement, slots: list[Slot], bars: BarEdges, ticks: Clock
) -> Ink:
    numerals = {}
    if arrangement.style.numerals:
        numerals = {ticks(slot.onset): slot.numeral for slot in slots if slot.numeral}
    return Ink(
        marks=mark_notes(arrangement.tune.notes),
        fermatas=_fermatas(arrangement.tune, bars, ticks),
        numerals=numerals,
        labels=_labels(arrangement, ticks),
        labels_verse=arrangement.tune.verses + 1,
        fingering=arrangement.style.fingering,
        accidentals={},
        parts=Counter(),
    )


def _labels(arrangement: Arrangement, ticks: Clock) -> dict[int, str]:
    if arrangement.style.labels is Labels.NONE:
        return {}
    return {ticks(onset): label for onset, label in shape_labels(arrangement)}


def _fermatas(tune: Tune, bars: BarEdges, ticks: Clock) -> set[int]:
    """Return where fermatas stand: on the last part of a note tied over bar lines."""
    places = set()
    for note in tune.notes:
        if note.fermata:
            last = bars.edges[_bar_at(ticks(note.end) - 1, bars)]
            places.add(max(ticks(note.onset), last))
    return places


def _bar_at(tick: int, bars: BarEdges) -> int:
    """Return the number, from 0, of the bar that holds a tick, or the nearest bar."""
    at = bisect_right(bars.edges, tick) - 1
    return max(0, min(at, len(bars.edges) - 2))


def _keys(tune: Tune, bars: BarEdges, ticks: Clock) -> list[list[KeyMark]]:
    found: list[list[KeyMark]] = [[] for _ in tune.bars]
    before: Key | None = None
    for change in tune.keys:
        if change.key != before:
            tick = ticks(change.onset)
            found[_bar_at(tick, bars)].append(KeyMark(tick, change.key))
        before = change.key
    return found


def _directions(tune: Tune, ticks: Clock) -> list[Floating]:
    """Return what stands over bars and notes, chord symbols aside."""
    found = [Floating(ticks(mark.onset), partial(tempo, mark)) for mark in tune.tempos]
    found += [
        Floating(ticks(bar.start), partial(section, bar.section))
        for bar in tune.bars
        if bar.section
    ]
    found += [
        Floating(ticks(onset), partial(jump, text))
        for onset, text in tune.end_text
        if is_sign(text)
    ]
    return found


def _spread(found: list[Floating], bars: BarEdges) -> list[list[Floating]]:
    """Return what floats, bar by bar and in order."""
    spread: list[list[Floating]] = [[] for _ in bars.edges[1:]]
    for floating in found:
        spread[_bar_at(floating.tick, bars)].append(floating)
    for own in spread:
        own.sort(key=lambda floating: floating.tick)
    return spread


def _closing(tune: Tune, bars: BarEdges, ticks: Clock) -> list[list[Floating]]:
    """Return what stands over the ends of bars: jumps and how often to play."""
    found: list[list[Floating]] = [[] for _ in tune.bars]
    for at, bar in enumerate(tune.bars):
        if bar.repeat_end > 2 and not bar.ending:
            make = partial(times_played, bar.repeat_end)
            found[at].append(Floating(bars.edges[at + 1], make))
    for onset, text in tune.end_text:
        if not is_sign(text):
            tick = ticks(onset)
            found[_bar_at(tick - 1, bars)].append(Floating(tick, partial(jump, text)))
    return found
