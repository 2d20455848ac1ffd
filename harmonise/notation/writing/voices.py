"""Which voice of the grand staff plays what in each bar.

Treble staff: where every inner note of a bar begins and ends with a tune note they are
block chords on one stem (voice 1); otherwise the tune is voice 1 and the inner notes
voice 2 (TRADE N02). Bass staff: voice 5. In four parts, where the left hand has an
inner voice too, each staff has two voices throughout: soprano (1) and alto (2), tenor
(4) and bass (5). Times are ticks from the start.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

from harmonise.notation.writing.heads import (
    Bars,
    Clock,
    Head,
    hand_heads,
    tune_heads,
)
from harmonise.theory.arrangement import Arrangement, Hand, Voice
from harmonise.theory.tune import Tune, TuneNote


class Span(NamedTuple):
    """What one voice plays for a while inside one bar.

    Attributes:
        start: Ticks from the start.
        end: Ticks from the start.
        heads: What sounds, from the lowest up; () for a rest.
        tune: Number of the tune's note or rest; None outside the tune.
    """

    start: int
    end: int
    heads: tuple[Head, ...]
    tune: int | None = None


class BarVoices(NamedTuple):
    """The voices of one bar.

    Attributes:
        treble: Voice 1: the tune, or block chords with the tune on top.
        inner: Voice 2, with its gaps; () where there is none.
        bass: Voice 5, with its rests; () where there is no bass staff.
        tenor: Voice 4, with its gaps; () where there is none.
    """

    treble: tuple[Span, ...]
    inner: tuple[Span, ...]
    bass: tuple[Span, ...]
    tenor: tuple[Span, ...] = ()


def tune_spans(
    tune: Tune, heads: Sequence[Head], bars: Bars, ticks: Clock
) -> list[list[Span]]:
    """Return the tune's notes and rests bar by bar, cut at the bar lines.

    Rests side by side become one, unless a fermata stands on one of them.
    """
    struck = {head.tune: head for head in heads}
    found: list[list[Span]] = []
    place = 0
    ends = [ticks(note.onset) + ticks(note.length) for note in tune.notes]
    for start, end in pairwise(bars.edges):
        spans: list[Span] = []
        at = start
        while at < end and place < len(ends):
            until = min(ends[place], end)
            head = struck.get(place)
            span = Span(at, until, (head,) if head else (), place)
            if spans and _both_plain_rests(spans[-1], span, tune.notes):
                span = span._replace(start=spans.pop().start)
            spans.append(span)
            at = until
            place += ends[place] <= end
        if at < end:
            spans.append(Span(at, end, ()))
        found.append(spans)
    return found


def _both_plain_rests(left: Span, right: Span, notes: Sequence[TuneNote]) -> bool:
    if left.heads or right.heads or left.tune is None or right.tune is None:
        return False
    return not (notes[left.tune].fermata or notes[right.tune].fermata)


def slices(
    heads: Sequence[Head], start: int, end: int, cuts: Iterable[int] = ()
) -> tuple[Span, ...]:
    """Return what a voice plays between two places, cut wherever a note comes or goes.

    Args:
        heads: Notes that sound there.
        start: Ticks from the start.
        end: Ticks from the start.
        cuts: Further places to cut at, where words or signs must stand.
    """
    places = {start, end, *(cut for cut in cuts if start < cut < end)}
    places.update(head.start for head in heads if head.start > start)
    places.update(head.end for head in heads if head.end < end)
    spans = []
    for left, right in pairwise(sorted(places)):
        now = [head for head in heads if head.start <= left and head.end >= right]
        now.sort(key=lambda head: (head.pitch.midi, head.pitch.staff_step))
        spans.append(Span(left, right, tuple(now)))
    return tuple(spans)


def blocks(tune: Sequence[Span], inner: Sequence[Head]) -> tuple[Span, ...] | None:
    """Return one bar of tune and inner notes as block chords on one stem.

    Returns:
        None if some inner note does not begin and end with a tune note.
    """
    start, end = tune[0].start, tune[-1].end
    under: dict[tuple[int, int], list[Head]] = {}
    for head in inner:
        extent = (max(head.start, start), min(head.end, end))
        under.setdefault(extent, []).append(head)
    chords = []
    for span in tune:
        below = under.pop((span.start, span.end), []) if span.heads else []
        heads = sorted((*below, *span.heads), key=_height)
        chords.append(span._replace(heads=tuple(heads)))
    return None if under else tuple(chords)


def _height(head: Head) -> tuple[int, bool]:
    return head.pitch.midi, head.tune is not None


def two_voiced(
    chords: Sequence[tuple[Span, ...] | None],
    inner: Sequence[Sequence[Head]],
    bars: Bars,
) -> list[bool]:
    """Return which bars need two treble voices.

    An inner note that is tied over a bar line stays in its voice, so the bars that it
    joins are written alike.

    Args:
        chords: Each bar as block chords, or None where that cannot be.
        inner: The inner notes of each bar.
        bars: The bars.
    """
    needed = [own is None for own in chords]
    last = len(needed) - 1
    first = 0
    for number, end in enumerate(bars.edges[1:]):
        if number < last and any(head.end > end for head in inner[number]):
            continue
        group = slice(first, number + 1)
        if any(needed[group]):
            needed[group] = [True] * len(needed[group])
        first = number + 1
    return needed


def tune_voices(arrangement: Arrangement, bars: Bars, ticks: Clock) -> list[BarVoices]:
    """Return the voices of every bar of a single staff: the tune alone."""
    spans = tune_spans(arrangement.tune, tune_heads(arrangement, ticks), bars, ticks)
    return [BarVoices(tuple(own), (), ()) for own in spans]


def bar_voices(
    arrangement: Arrangement, bars: Bars, ticks: Clock, cuts: Iterable[int]
) -> list[BarVoices]:
    """Return the voices of every bar.

    Args:
        arrangement: The arrangement.
        bars: Its bars.
        ticks: Its clock.
        cuts: Where the bass must show a note or rest of its own, in ticks.
    """
    tune_notes = tune_heads(arrangement, ticks)
    tune = tune_spans(arrangement.tune, tune_notes, bars, ticks)
    inner = bars.holding(hand_heads(arrangement, Hand.RIGHT, ticks))
    bass = bars.holding(hand_heads(arrangement, Hand.LEFT, ticks, Voice.BASS))
    tenor_heads = hand_heads(arrangement, Hand.LEFT, ticks, Voice.INNER)
    tenor = bars.holding(tenor_heads)
    chords = [blocks(*pair) for pair in zip(tune, inner, strict=True)]
    double = two_voiced(chords, inner, bars)
    if tenor_heads:
        double = [True] * len(double)
    marks = sorted(cuts)
    found = []
    for number, (start, end) in enumerate(pairwise(bars.edges)):
        treble = chords[number]
        under: tuple[Span, ...] = ()
        if treble is None or double[number]:
            treble = tuple(tune[number])
            under = slices(inner[number], start, end)
        own = marks[bisect_left(marks, start) : bisect_left(marks, end)]
        low = slices(bass[number], start, end, own)
        above = slices(tenor[number], start, end) if tenor_heads else ()
        found.append(BarVoices(treble, under, low, above))
    return found
