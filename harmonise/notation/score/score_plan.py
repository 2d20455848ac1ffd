"""All that a score says, worked out before any of it is written.

The plan is a value. `musicxml` writes it, copies with blanks are made of it, and the
page and the engraver find in it where each head stands. Bars are numbered as MusicXML
4.0 and TRADE N09 say: a pickup is number 0 and implicit; the second part of a split bar
is implicit with a number of its own, X1, X2 and so on.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterator, Sequence
from fractions import Fraction
from itertools import accumulate, pairwise
from typing import NamedTuple

from harmonise.notation.score.note_marks import mark_notes
from harmonise.notation.score.note_values import grid_of
from harmonise.notation.score.placed_signs import Line, PlacedSign, Placer
from harmonise.notation.score.printed_labels import (
    new_lines,
    printed_slots,
    shape_labels,
)
from harmonise.notation.score.printed_voices import (
    Clock,
    Edges,
    bar_voices,
    clock_of,
    divisions_of,
    tune_voices,
)
from harmonise.theory.arrangement import Arrangement, Hand, Labels, Slot, Voice
from harmonise.theory.key import Key
from harmonise.theory.tune import Bar, Tempo, Tune


class SectionName(NamedTuple):
    """The label of a section, such as "Chorus"."""

    label: str


class JumpWords(NamedTuple):
    """Words that lead elsewhere, such as "D.C. al Fine" or "play 3 times"."""

    text: str


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


Above = Tempo | Slot | SectionName | JumpWords | ScoreBox
"""What stands over or under the music; a slot stands for its chord symbol."""


class Floating(NamedTuple):
    """Something printed at a place that may fall between two notes.

    Attributes:
        tick: Its place, in ticks from the start.
        what: What it is.
    """

    tick: int
    what: Above


class BarPlan(NamedTuple):
    """One bar, ready to write.

    Attributes:
        bar: The bar.
        number: Its number, as MusicXML has it.
        new_line: Whether a new line of print begins with it.
        start: Tick at which it begins.
        back: Ticks from its end back to its last beat.
        keys: Signatures that begin in it, with their ticks.
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
    keys: list[tuple[int, Key]]
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


def plan_score(arrangement: Arrangement, lines: Collection[int] | None = None) -> Plan:
    """Return the plan of a score for two hands.

    Args:
        arrangement: What is printed.
        lines: Numbers of the bars that begin a line of print; by default `new_lines`.
    """
    return _plan(arrangement, 2, "Piano", lines)


def plan_lead_sheet(
    arrangement: Arrangement, lines: Collection[int] | None = None
) -> Plan:
    """Return the plan of the tune alone, with words and chord symbols.

    Args:
        arrangement: What is printed.
        lines: Numbers of the bars that begin a line of print; by default `new_lines`.
    """
    style = arrangement.style._replace(
        numerals=False, fingering=False, labels=Labels.NONE
    )
    return _plan(arrangement._replace(style=style), 1, "Tune", lines)


def plan_sung(arrangement: Arrangement, lines: Collection[int] | None = None) -> Plan:
    """Return the plan of the tune and its words, without chords, for those who sing.

    Args:
        arrangement: What is printed.
        lines: Numbers of the bars that begin a line of print; by default `new_lines`.
    """
    tune = tuple(note for note in arrangement.notes if note.voice is Voice.TUNE)
    return plan_lead_sheet(arrangement._replace(slots=(), notes=tune), lines)


def _plan(
    arrangement: Arrangement, staves: int, name: str, lines: Collection[int] | None
) -> Plan:
    tune = arrangement.tune
    breaks = new_lines(tune) if lines is None else lines
    divisions = divisions_of(arrangement)
    ticks = clock_of(divisions)
    edges = (*(ticks(bar.start) for bar in tune.bars), ticks(tune.bars[-1].end))
    slots = printed_slots(arrangement, breaks)
    placer = _placer(arrangement, slots, edges, ticks)
    above, closing = _floating(tune, slots, edges, ticks)
    keys: list[list[tuple[int, Key]]] = [[] for _ in tune.bars]
    for before, change in pairwise((None, *tune.keys)):
        if change and not (before and before.key == change.key):
            tick = ticks(change.onset)
            keys[_bar_at(tick, edges)].append((tick, change.key))
    if staves == 1:
        voices = tune_voices(arrangement, edges, ticks)
    else:
        cuts = {*placer.numerals, *placer.fermatas}
        voices = bar_voices(arrangement, edges, ticks, cuts)
    numbers = number_bars(tune.bars)
    plans = []
    for at, bar in enumerate(tune.bars):
        start, end = edges[at : at + 2]
        grid = grid_of(bar.time, divisions)
        signs = placer.place(voices[at], start - ticks(bar.offset), grid, keys[at])
        back = min((end - start, *grid.beats[1:2]))
        over = (keys[at], above[at], closing[at])
        plans.append(BarPlan(bar, numbers[at], at in breaks, start, back, *over, signs))
    return Plan(tune, divisions, plans, staves, name)


def _placer(
    arrangement: Arrangement, slots: list[Slot], edges: Edges, ticks: Clock
) -> Placer:
    tune, style = arrangement.tune, arrangement.style
    # A fermata stands on the last part of a note that is tied over bar lines.
    fermatas = {
        max(ticks(note.onset), edges[_bar_at(ticks(note.end) - 1, edges)])
        for note in tune.notes
        if note.fermata
    }
    numerals, labels = {}, {}
    if style.numerals:
        numerals = {ticks(at): text for at, text in _numerals(arrangement, slots)}
    if style.labels is not Labels.NONE:
        labels = {ticks(onset): label for onset, label in shape_labels(arrangement)}
    marks = mark_notes(tune.notes)
    return Placer(marks, fermatas, numerals, labels, style.fingering)


def _numerals(
    arrangement: Arrangement, slots: Sequence[Slot]
) -> Iterator[tuple[Fraction, str]]:
    """Yield where Roman numerals stand under the bass, and what they say.

    Where the left hand rests as a chord is printed, such as at a pickup that begins a
    line, its numeral stands under the first note that follows.
    """
    left = [note for note in arrangement.notes if note.hand is Hand.LEFT]
    onsets = [note.onset for note in left]
    reached = list(accumulate((note.onset + note.length for note in left), max))
    for slot, after in pairwise([*slots, None]):
        if slot is None or not slot.numeral:
            continue
        at = bisect_right(onsets, slot.onset)
        rests = not at or reached[at - 1] <= slot.onset
        later = onsets[at] if rests and at < len(onsets) else slot.onset
        before_next = after is None or later < after.onset
        yield (later if before_next else slot.onset), slot.numeral


def _bar_at(tick: int, edges: Edges) -> int:
    """Return the number, from 0, of the bar that holds a tick, or the nearest bar."""
    at = bisect_right(edges, tick) - 1
    return max(0, min(at, len(edges) - 2))


def _floating(
    tune: Tune, slots: list[Slot], edges: Edges, ticks: Clock
) -> tuple[list[list[Floating]], list[list[Floating]]]:
    """Return what stands over each bar, in order, and what stands over its end."""
    above: list[list[Floating]] = [[] for _ in tune.bars]
    closing: list[list[Floating]] = [[] for _ in tune.bars]
    signs = [Floating(ticks(mark.onset), mark) for mark in tune.tempos]
    for at, bar in enumerate(tune.bars):
        if bar.section:
            signs.append(Floating(edges[at], SectionName(bar.section)))
        # "Play 3 times" would contradict the numbers of endings.
        if bar.repeat_end > 2 and not bar.ending:
            words = JumpWords(f"play {bar.repeat_end} times")
            closing[at].append(Floating(edges[at + 1], words))
    for onset, text in tune.end_text:
        jump = Floating(ticks(onset), JumpWords(text))
        if is_sign(text):
            signs.append(jump)
        else:
            closing[_bar_at(jump.tick - 1, edges)].append(jump)
    signs += [Floating(ticks(slot.onset), slot) for slot in slots]
    for floating in sorted(signs, key=lambda floating: floating.tick):
        above[_bar_at(floating.tick, edges)].append(floating)
    return above, closing


def number_bars(bars: Sequence[Bar]) -> list[str]:
    """Return the numbers of all bars; a pickup is 0."""
    numbers: list[str] = []
    parts = 0
    before: int | None = None
    for bar in bars:
        again = bar.number == before
        parts += again
        numbers.append(f"X{parts}" if again else str(bar.number))
        before = bar.number
    return numbers


def is_sign(text: str) -> bool:
    """Whether jump words are a sign that opens a bar: segno or coda."""
    return text.strip().lower() in ("segno", "coda")
