"""Which voice of the grand staff plays what in each bar, in ticks from the start.

Treble staff: where every inner note of a bar begins and ends with a tune note they are
block chords on one stem (voice 1); otherwise the tune is voice 1 and the inner notes
voice 2 (TRADE N02). Bass staff: voice 5. In four parts, where the left hand has an
inner voice too, each staff has two voices throughout: soprano (1) and alto (2), tenor
(4) and bass (5).
"""

from bisect import bisect_left
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from harmonise.theory.arrangement import Arrangement, Hand, Voice
from harmonise.theory.metre import strong_starts
from harmonise.theory.pitch import Pitch


class NoteHead(NamedTuple):
    """One struck note from its beginning to its end.

    Attributes:
        pitch: Its pitch.
        start: Ticks from the start.
        end: Ticks from the start.
        finger: 1 to 5, or 0.
        number: Its number among the sounding notes; None if it is not among them.
        tune: Its number among the notes and rests of the tune; None outside the tune.
    """

    pitch: Pitch
    start: int
    end: int
    finger: int = 0
    number: int | None = None
    tune: int | None = None

    @property
    def name(self) -> str:
        """Its id; tied parts after the first add a number to it."""
        return f"t{self.tune}" if self.number is None else f"n{self.number}"


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
    for metre in {bar.time for bar in tune.bars}:
        times += (metre.unit, metre.beat, metre.bar_length, *strong_starts(metre))
    return lcm(*{time.denominator for time in times})


def clock_of(divisions: int) -> Clock:
    """Return the function that turns crotchets into ticks."""

    def ticks(time: Fraction) -> int:
        return time.numerator * (divisions // time.denominator)

    return ticks


def _tune_heads(arrangement: Arrangement, ticks: Clock) -> dict[int, NoteHead]:
    """Return the struck notes of the tune, by number, with the fingers for them."""
    # Notes of the tune and sounding notes of its voice begin together.
    known = {
        ticks(note.onset): (number, note.finger)
        for number, note in enumerate(arrangement.notes)
        if note.voice is Voice.TUNE
    }
    heads = {}
    for number, note in enumerate(arrangement.tune.notes):
        if note.pitch:
            start = ticks(note.onset)
            end = start + ticks(note.length)
            sounding, finger = known.get(start, (None, 0))
            head = NoteHead(note.pitch, start, end, finger, sounding, number)
            heads[number] = head
    return heads


Edges = tuple[int, ...]
"""Start of every bar and the end of the last, in ticks."""


def _held(
    arrangement: Arrangement,
    hand: Hand,
    voice: Voice | None,
    edges: Edges,
    ticks: Clock,
) -> list[list[NoteHead]]:
    """Return what one hand plays besides the tune, as it sounds in each bar.

    Args:
        arrangement: The arrangement.
        hand: The hand.
        voice: The only voice wanted; None for all.
        edges: The bars.
        ticks: The clock.
    """
    heads = []
    for number, note in enumerate(arrangement.notes):
        if note.hand is not hand or voice not in (None, note.voice):
            continue
        start = ticks(note.onset)
        end = min(start + ticks(note.length), edges[-1])
        if note.voice is not Voice.TUNE and start < end:
            heads.append(NoteHead(note.pitch, start, end, note.finger, number))
    heads.sort(key=lambda head: (head.start, head.pitch.midi))
    by_bar: list[list[NoteHead]] = []
    held: list[NoteHead] = []
    place = 0
    for start, end in pairwise(edges):
        held = [head for head in held if head.end > start]
        # Heads come by onset: none before `place` is looked at again.
        while place < len(heads) and heads[place].start < end:
            held.append(heads[place])
            place += 1
        by_bar.append(list(held))
    return by_bar


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


TUNE, INNER, TENOR, BASS = "1", "2", "4", "5"
"""MusicXML's numbers of the voices."""


class VoicePart(NamedTuple):
    """What one voice plays in one bar.

    Attributes:
        voice: `TUNE`, `INNER`, `TENOR` or `BASS`.
        spans: Its notes and rests, or gaps of an inner voice.
        stem: "up" or "down" for all; "" where each note says it.
    """

    voice: str
    spans: tuple[VoiceSpan, ...]
    stem: str = ""


def _tune_spans(
    arrangement: Arrangement, edges: Edges, ticks: Clock
) -> list[tuple[VoiceSpan, ...]]:
    """Return the tune's notes and rests bar by bar, cut at the bar lines.

    Rests side by side become one, unless a fermata stands on one of them.
    """
    notes, struck = arrangement.tune.notes, _tune_heads(arrangement, ticks)
    by_bar: list[tuple[VoiceSpan, ...]] = []
    place = 0
    ends = [ticks(note.onset) + ticks(note.length) for note in notes]
    for start, end in pairwise(edges):
        spans: list[VoiceSpan] = []
        at, was_plain = start, False
        while at < end and place < len(ends):
            until = min(ends[place], end)
            heads = (struck[place],) if place in struck else ()
            plain = not (heads or notes[place].fermata)
            begin = spans.pop().start if plain and was_plain else at
            spans.append(VoiceSpan(begin, until, heads, place))
            at, was_plain = until, plain
            place += ends[place] <= end
        if at < end:
            # The tune has ended inside its last bar.
            spans.append(VoiceSpan(at, end, ()))
        by_bar.append(tuple(spans))
    return by_bar


def _slices(
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


def _blocks(
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
        heads = [*below, *span.heads]
        heads.sort(key=lambda head: (head.pitch.midi, head.tune is not None))
        chords.append(span._replace(heads=tuple(heads)))
    # What is left over begins or ends beside the tune.
    return None if under else tuple(chords)


def _two_voiced(
    chords: Sequence[tuple[VoiceSpan, ...] | None],
    inner: Sequence[Sequence[NoteHead]],
    edges: Edges,
) -> list[bool]:
    """Return which bars need two treble voices.

    An inner note that is tied over a bar line stays in its voice, so the bars that it
    joins are written alike.

    Args:
        chords: Each bar as block chords, or None where that cannot be.
        inner: The inner notes of each bar.
        edges: The bars.
    """
    needed = [chord is None for chord in chords]
    last = len(needed) - 1
    first = 0
    for number, end in enumerate(edges[1:]):
        if number < last and any(head.end > end for head in inner[number]):
            continue
        group = slice(first, number + 1)
        if any(needed[group]):
            needed[group] = [True] * len(needed[group])
        first = number + 1
    return needed


def tune_voices(
    arrangement: Arrangement, edges: Edges, ticks: Clock
) -> list[list[VoicePart]]:
    """Return the voice of every bar of a single staff: the tune alone."""
    tune = _tune_spans(arrangement, edges, ticks)
    return [[VoicePart(TUNE, spans)] for spans in tune]


def bar_voices(
    arrangement: Arrangement, edges: Edges, ticks: Clock, cuts: Iterable[int]
) -> list[list[VoicePart]]:
    """Return the voices of every bar, the tune first.

    Two voices on a staff turn their stems apart (TRADE N02).

    Args:
        arrangement: The arrangement.
        edges: Its bars.
        ticks: Its clock.
        cuts: Where the bass must show a note or rest of its own, in ticks.
    """
    tune = _tune_spans(arrangement, edges, ticks)
    inner = _held(arrangement, Hand.RIGHT, None, edges, ticks)
    bass = _held(arrangement, Hand.LEFT, Voice.BASS, edges, ticks)
    tenor = _held(arrangement, Hand.LEFT, Voice.INNER, edges, ticks)
    in_four = any(tenor)
    chords = [_blocks(*pair) for pair in zip(tune, inner, strict=True)]
    double = _two_voiced(chords, inner, edges)
    marks = sorted(cuts)
    by_bar = []
    for number, (start, end) in enumerate(pairwise(edges)):
        if in_four or double[number]:
            # A bar without inner notes has an empty voice 2, so that stems stay turned.
            under = _slices(inner[number], start, end)
            parts = [VoicePart(TUNE, tune[number], "up")]
            parts.append(VoicePart(INNER, under, "down"))
        else:
            parts = [VoicePart(TUNE, chords[number] or ())]
        if in_four:
            parts.append(VoicePart(TENOR, _slices(tenor[number], start, end), "up"))
        inside = marks[bisect_left(marks, start) : bisect_left(marks, end)]
        low = _slices(bass[number], start, end, inside)
        parts.append(VoicePart(BASS, low, "down" if in_four else ""))
        by_bar.append(parts)
    return by_bar
