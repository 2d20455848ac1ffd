"""All that a score says, worked out before any of it is written.

The plan is a value. `musicxml` writes it, copies with blanks are made of it, and the
page and the engraver find in it where each head stands.
"""

from bisect import bisect_right
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.score.bar_layout import is_sign, new_lines, number_bars
from harmonise.notation.score.note_marks import mark_notes
from harmonise.notation.score.note_values import grid_of
from harmonise.notation.score.placed_signs import Line, PlacedSign, Placer, ScoreMarks
from harmonise.notation.score.printed_labels import printed_slots, shape_labels
from harmonise.notation.score.printed_voices import (
    Clock,
    Edges,
    bar_voices,
    clock_of,
    divisions_of,
    tune_voices,
)
from harmonise.theory.arrangement import Arrangement, Labels, Slot
from harmonise.theory.key import Key
from harmonise.theory.tune import Bar, Tempo, Tune


class SectionName(NamedTuple):
    """The label of a section, such as "Chorus"."""

    label: str


class JumpWords(NamedTuple):
    """Words that lead elsewhere, such as "D.C. al Fine"."""

    text: str


class PlayTimes(NamedTuple):
    """How often a repeat is played."""

    times: int


class ScoreBox(NamedTuple):
    """A box in the music.

    Attributes:
        onset: Crotchets from the start.
        text: What stands in it; "" for an empty one.
        room: Width of its inside, as a multiple of the size of the letters.
        above: Whether it stands over the treble staff and not under the bass staff.
        ruled: Whether it has a frame; else only its text is printed.
    """

    onset: Fraction
    text: str
    room: float
    above: bool
    ruled: bool = True


Above = Tempo | Slot | SectionName | JumpWords | PlayTimes | ScoreBox
"""What stands over or under the music; a slot stands for its chord symbol."""


class Floating(NamedTuple):
    """Something printed at a place that may fall between two notes.

    Attributes:
        tick: Its place, in ticks from the start.
        what: What it is.
    """

    tick: int
    what: Above


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
        number: Its number, as MusicXML has it.
        new_line: Whether a new line of print begins with it.
        start: Tick at which it begins.
        back: Ticks from its end back to its last beat.
        keys: Signatures that begin in it.
        above: What is printed above it, in order.
        boxes: Boxes over and under it; those at one place from the top down.
        closing: What is printed above its end.
        lines: Its voices: tune, perhaps inner, tenor, bass.
    """

    bar: Bar
    number: str
    new_line: bool
    start: int
    back: int
    keys: list[KeyMark]
    above: list[Floating]
    closing: list[Floating]
    lines: list[Line]
    boxes: tuple[Floating, ...] = ()


class Plan(NamedTuple):
    """A score, ready to write.

    Attributes:
        tune: The tune, which names it.
        divisions: Ticks in a crotchet.
        bars: Its bars.
        staves: 2, treble and bass; or 1, the treble alone.
        name: Who plays it; not printed.
    """

    tune: Tune
    divisions: int
    bars: list[BarPlan]
    staves: int
    name: str

    def signs(self) -> Iterator[PlacedSign]:
        """Yield every sign, bar by bar and voice by voice."""
        for bar in self.bars:
            for line in bar.lines:
                yield from line


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
    bars = (*(ticks(bar.start) for bar in tune.bars), ticks(tune.bars[-1].end))
    slots = printed_slots(arrangement)
    marks = _marks(arrangement, slots, bars, ticks)
    symbols = [Floating(ticks(slot.onset), slot) for slot in slots]
    above = _spread([*_directions(tune, ticks), *symbols], bars)
    closing = _closing(tune, bars, ticks)
    keys = _keys(tune, bars, ticks)
    cuts = {*marks.numerals, *marks.fermatas}
    voices = (
        tune_voices(arrangement, bars, ticks)
        if staves == 1
        else bar_voices(arrangement, bars, ticks, cuts)
    )
    numbers, breaks = number_bars(tune.bars), new_lines(tune)
    placer = Placer(marks)
    plans = []
    for at, bar in enumerate(tune.bars):
        start = bars[at]
        grid = grid_of(bar.time, divisions)
        lines = placer.place(voices[at], start - ticks(bar.offset), grid, keys[at])
        plans.append(
            BarPlan(
                bar=bar,
                number=numbers[at],
                new_line=at in breaks,
                start=start,
                back=min((bars[at + 1] - start, *grid.beats[1:2])),
                keys=keys[at],
                above=above[at],
                closing=closing[at],
                lines=lines,
            )
        )
    return Plan(tune, divisions, plans, staves, name)


def _marks(
    arrangement: Arrangement, slots: list[Slot], bars: Edges, ticks: Clock
) -> ScoreMarks:
    numerals = {}
    if arrangement.style.numerals:
        numerals = {ticks(slot.onset): slot.numeral for slot in slots if slot.numeral}
    return ScoreMarks(
        notes=mark_notes(arrangement.tune.notes),
        fermatas=_fermatas(arrangement.tune, bars, ticks),
        numerals=numerals,
        labels=_labels(arrangement, ticks),
        fingering=arrangement.style.fingering,
    )


def _labels(arrangement: Arrangement, ticks: Clock) -> dict[int, str]:
    if arrangement.style.labels is Labels.NONE:
        return {}
    return {ticks(onset): label for onset, label in shape_labels(arrangement)}


def _fermatas(tune: Tune, bars: Edges, ticks: Clock) -> set[int]:
    """Return where fermatas stand: on the last part of a note tied over bar lines."""
    places = set()
    for note in tune.notes:
        if note.fermata:
            last = bars[_bar_at(ticks(note.end) - 1, bars)]
            places.add(max(ticks(note.onset), last))
    return places


def _bar_at(tick: int, bars: Edges) -> int:
    """Return the number, from 0, of the bar that holds a tick, or the nearest bar."""
    at = bisect_right(bars, tick) - 1
    return max(0, min(at, len(bars) - 2))


def _keys(tune: Tune, bars: Edges, ticks: Clock) -> list[list[KeyMark]]:
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
    found = [Floating(ticks(mark.onset), mark) for mark in tune.tempos]
    found += [
        Floating(ticks(bar.start), SectionName(bar.section))
        for bar in tune.bars
        if bar.section
    ]
    found += [
        Floating(ticks(onset), JumpWords(text))
        for onset, text in tune.end_text
        if is_sign(text)
    ]
    return found


def _spread(found: list[Floating], bars: Edges) -> list[list[Floating]]:
    """Return what floats, bar by bar and in order."""
    spread: list[list[Floating]] = [[] for _ in bars[1:]]
    for floating in found:
        spread[_bar_at(floating.tick, bars)].append(floating)
    for own in spread:
        own.sort(key=lambda floating: floating.tick)
    return spread


def _closing(tune: Tune, bars: Edges, ticks: Clock) -> list[list[Floating]]:
    """Return what stands over the ends of bars: jumps and how often to play."""
    found: list[list[Floating]] = [[] for _ in tune.bars]
    for at, bar in enumerate(tune.bars):
        if bar.repeat_end > 2 and not bar.ending:
            what = PlayTimes(bar.repeat_end)
            found[at].append(Floating(bars[at + 1], what))
    for onset, text in tune.end_text:
        if not is_sign(text):
            tick = ticks(onset)
            found[_bar_at(tick - 1, bars)].append(Floating(tick, JumpWords(text)))
    return found
