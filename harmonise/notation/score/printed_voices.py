"""The struck notes of a score in ticks, and the bars that hold them.

A tick is the smallest part of a crotchet that the score needs; MusicXML calls the ticks
in a crotchet `divisions`. Whole numbers keep times exact, and ten times faster than
fractions do.

Which voice of the grand staff plays what in each bar.

Treble staff: where every inner note of a bar begins and ends with a tune note they are
block chords on one stem (voice 1); otherwise the tune is voice 1 and the inner notes
voice 2 (TRADE N02). Bass staff: voice 5. In four parts, where the left hand has an
inner voice too, each staff has two voices throughout: soprano (1) and alto (2), tenor
(4) and bass (5). Times are ticks from the start.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote, Voice
from harmonise.theory.metre import TimeSignature, strong_starts
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Bar, Tune, TuneNote


class NoteHead(NamedTuple):
    """One struck note from its beginning to its end.

    Attributes:
        name: Its id; tied parts after the first add a number to it.
        pitch: Its pitch.
        start: Ticks from the start.
        end: Ticks from the start.
        finger: 1 to 5, or 0.
        tune: Its number among the notes and rests of the tune; None outside the tune.
        number: Its number among the sounding notes; None if it is not among them.
    """

    name: str
    pitch: Pitch
    start: int
    end: int
    finger: int = 0
    tune: int | None = None
    number: int | None = None


Clock = Callable[[Fraction], int]
"""Turns crotchets into ticks."""


def divisions_of(arrangement: Arrangement) -> int:
    """Return the ticks in a crotchet that make every time of a score whole."""
    tune = arrangement.tune
    times = [time for note in tune.notes for time in (note.onset, note.length)]
    times += [time for note in arrangement.notes for time in (note.onset, note.length)]
    times += [time for bar in tune.bars for time in (bar.start, bar.length, bar.offset)]
    times += [slot.onset for slot in arrangement.slots]
    times += [change.onset for change in tune.keys]
    times += [mark.onset for mark in tune.tempos]
    times += [onset for onset, _ in tune.end_text]
    for signature in {bar.time for bar in tune.bars}:
        times += _metric_times(signature)
    return lcm(*{time.denominator for time in times})


def _metric_times(time: TimeSignature) -> list[Fraction]:
    return [time.unit, time.beat, time.bar_length, *strong_starts(time)]


def clock_of(divisions: int) -> Clock:
    """Return the function that turns crotchets into ticks."""

    def ticks(time: Fraction) -> int:
        return time.numerator * (divisions // time.denominator)

    return ticks


def tune_heads(arrangement: Arrangement, ticks: Clock) -> list[NoteHead]:
    """Return the struck notes of the tune, with the fingers that play them."""
    known = {
        ticks(note.onset): (number, note.finger)
        for number, note in enumerate(arrangement.notes)
        if note.voice is Voice.TUNE
    }
    heads = []
    for number, note in enumerate(arrangement.tune.notes):
        if note.pitch is None:
            continue
        start = ticks(note.onset)
        end = start + ticks(note.length)
        sounding, finger = known.get(start, (None, 0))
        name = f"t{number}" if sounding is None else f"n{sounding}"
        heads.append(NoteHead(name, note.pitch, start, end, finger, number, sounding))
    return heads


def hand_heads(
    arrangement: Arrangement, hand: Hand, ticks: Clock, voice: Voice | None = None
) -> list[NoteHead]:
    """Return the struck notes of one hand that are not of the tune, by onset.

    Args:
        arrangement: The arrangement.
        hand: The hand.
        ticks: Its clock.
        voice: The only voice wanted; None for all.
    """
    last = ticks(arrangement.tune.end)
    heads = [
        _head(number, note, last, ticks)
        for number, note in enumerate(arrangement.notes)
        if note.hand is hand
        and note.voice is not Voice.TUNE
        and voice in (None, note.voice)
    ]
    return sorted(
        (head for head in heads if head.start < head.end),
        key=lambda head: (head.start, head.pitch.midi),
    )


def _head(number: int, note: SoundingNote, last: int, ticks: Clock) -> NoteHead:
    start = ticks(note.onset)
    end = min(start + ticks(note.length), last)
    name = f"n{number}"
    return NoteHead(name, note.pitch, start, end, note.finger, number=number)


class BarEdges(NamedTuple):
    """The bars in ticks.

    Attributes:
        edges: Start of every bar and the end of the last.
    """

    edges: tuple[int, ...]

    def holding(self, heads: Sequence[NoteHead]) -> list[list[NoteHead]]:
        """Return the notes that sound in each bar; heads come by onset."""
        found: list[list[NoteHead]] = []
        held: list[NoteHead] = []
        place = 0
        for start, end in pairwise(self.edges):
            held = [head for head in held if head.end > start]
            while place < len(heads) and heads[place].start < end:
                held.append(heads[place])
                place += 1
            found.append(list(held))
        return found


def bars_of(bars: Sequence[Bar], ticks: Clock) -> BarEdges:
    """Return the bars in ticks."""
    return BarEdges((*(ticks(bar.start) for bar in bars), ticks(bars[-1].end)))


class VoiceSpan(NamedTuple):
    """What one voice plays for a while inside one bar.

    Attributes:
        start: Ticks from the start.
        end: Ticks from the start.
        heads: What sounds, from the lowest up; () for a rest.
        tune: Number of the tune's note or rest; None outside the tune.
    """

    start: int
    end: int
    heads: tuple[NoteHead, ...]
    tune: int | None = None


class BarVoices(NamedTuple):
    """The voices of one bar.

    Attributes:
        treble: Voice 1: the tune, or block chords with the tune on top.
        inner: Voice 2, with its gaps; () where there is none.
        bass: Voice 5, with its rests; () where there is no bass staff.
        tenor: Voice 4, with its gaps; () where there is none.
    """

    treble: tuple[VoiceSpan, ...]
    inner: tuple[VoiceSpan, ...]
    bass: tuple[VoiceSpan, ...]
    tenor: tuple[VoiceSpan, ...] = ()


def tune_spans(
    tune: Tune, heads: Sequence[NoteHead], bars: BarEdges, ticks: Clock
) -> list[list[VoiceSpan]]:
    """Return the tune's notes and rests bar by bar, cut at the bar lines.

    Rests side by side become one, unless a fermata stands on one of them.
    """
    struck = {head.tune: head for head in heads}
    found: list[list[VoiceSpan]] = []
    place = 0
    ends = [ticks(note.onset) + ticks(note.length) for note in tune.notes]
    for start, end in pairwise(bars.edges):
        spans: list[VoiceSpan] = []
        at = start
        while at < end and place < len(ends):
            until = min(ends[place], end)
            head = struck.get(place)
            span = VoiceSpan(at, until, (head,) if head else (), place)
            if spans and _both_plain_rests(spans[-1], span, tune.notes):
                span = span._replace(start=spans.pop().start)
            spans.append(span)
            at = until
            place += ends[place] <= end
        if at < end:
            spans.append(VoiceSpan(at, end, ()))
        found.append(spans)
    return found


def _both_plain_rests(
    left: VoiceSpan, right: VoiceSpan, notes: Sequence[TuneNote]
) -> bool:
    if left.heads or right.heads or left.tune is None or right.tune is None:
        return False
    return not (notes[left.tune].fermata or notes[right.tune].fermata)


def slices(
    heads: Sequence[NoteHead], start: int, end: int, cuts: Iterable[int] = ()
) -> tuple[VoiceSpan, ...]:
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
        spans.append(VoiceSpan(left, right, tuple(now)))
    return tuple(spans)


def blocks(
    tune: Sequence[VoiceSpan], inner: Sequence[NoteHead]
) -> tuple[VoiceSpan, ...] | None:
    """Return one bar of tune and inner notes as block chords on one stem.

    Returns:
        None if some inner note does not begin and end with a tune note.
    """
    start, end = tune[0].start, tune[-1].end
    under: dict[tuple[int, int], list[NoteHead]] = {}
    for head in inner:
        extent = (max(head.start, start), min(head.end, end))
        under.setdefault(extent, []).append(head)
    chords = []
    for span in tune:
        below = under.pop((span.start, span.end), []) if span.heads else []
        heads = sorted((*below, *span.heads), key=_height)
        chords.append(span._replace(heads=tuple(heads)))
    return None if under else tuple(chords)


def _height(head: NoteHead) -> tuple[int, bool]:
    return head.pitch.midi, head.tune is not None


def two_voiced(
    chords: Sequence[tuple[VoiceSpan, ...] | None],
    inner: Sequence[Sequence[NoteHead]],
    bars: BarEdges,
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


def tune_voices(
    arrangement: Arrangement, bars: BarEdges, ticks: Clock
) -> list[BarVoices]:
    """Return the voices of every bar of a single staff: the tune alone."""
    spans = tune_spans(arrangement.tune, tune_heads(arrangement, ticks), bars, ticks)
    return [BarVoices(tuple(own), (), ()) for own in spans]


def bar_voices(
    arrangement: Arrangement, bars: BarEdges, ticks: Clock, cuts: Iterable[int]
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
        under: tuple[VoiceSpan, ...] = ()
        if treble is None or double[number]:
            treble = tuple(tune[number])
            under = slices(inner[number], start, end)
        own = marks[bisect_left(marks, start) : bisect_left(marks, end)]
        low = slices(bass[number], start, end, own)
        above = slices(tenor[number], start, end) if tenor_heads else ()
        found.append(BarVoices(treble, under, low, above))
    return found
