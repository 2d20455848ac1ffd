"""Bars: where they begin, their numbers, pickups, split bars, repeats, endings.

A pickup is bar 0. Two short bars in a row that make a full one are the parts of a split
bar; they share a number if the second is not counted, and so do the parts of a measure
with a repeat or double bar in its middle, which becomes two bars. Other bars that are
too short or too long stay as they are, with a remark.
Source: W3C, MusicXML 4.0, `measure`; common practice.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from fractions import Fraction
from operator import attrgetter
from typing import NamedTuple

from harmonise.errors import Place, format_beat
from harmonise.notation.reading.musicxml.barlines import Barlines, read_barlines
from harmonise.notation.reading.musicxml.remarks import Code, Remarks
from harmonise.notation.reading.musicxml.times import measure_times
from harmonise.notation.reading.musicxml.tree import whole
from harmonise.notation.reading.musicxml.walk import Measure
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar


class Page(NamedTuple):
    """A part with its measures laid end to end.

    Attributes:
        measures: The part's measures.
        starts: Onset of each measure, and last the end of the music.
        bars: The bars of the tune; a measure may be two of them.
        staff: The staff that holds the tune.
        barlines: Repeats, endings and double bars.
    """

    measures: tuple[Measure, ...]
    starts: tuple[Fraction, ...]
    bars: tuple[Bar, ...]
    staff: int
    barlines: Barlines

    @property
    def end(self) -> Fraction:
        """Length of the music in crotchets."""
        return self.starts[-1]

    def measure_at(self, onset: Fraction) -> int:
        """Return the count, from 0, of the measure that holds an onset."""
        return bisect_right(self.starts, onset) - 1

    def bar_at(self, onset: Fraction) -> Bar:
        """Return the bar that holds an onset; the last bar for the very end."""
        return self.bars[bisect_right(self.bars, onset, key=attrgetter("start")) - 1]

    def bar_before(self, onset: Fraction) -> Bar:
        """Return the bar that ends at an onset, or holds it."""
        return self.bars[bisect_left(self.bars, onset, key=attrgetter("start")) - 1]

    def place(self, onset: Fraction) -> Place:
        """Return bar and beat of an onset, as `Tune.place` counts them."""
        bar = self.bar_at(onset)
        return Place(bar.number, (onset - bar.start) / bar.time.unit + 1)


class _Piece(NamedTuple):
    """A measure, or the part of one between two barlines."""

    measure: Measure
    start: Fraction
    length: Fraction
    time: TimeSignature
    continues: bool


def lay_bars(measures: tuple[Measure, ...], staff: int, remarks: Remarks) -> Page:
    """Return the measures with their bars.

    Raises:
        NotationError: If a time signature cannot be, with its bar.
    """
    times = measure_times(measures, staff, remarks)
    starts = [Fraction(0)]
    for measure, time in zip(measures, times, strict=True):
        # An empty measure is a bar of silence, as several programs write it.
        starts.append(starts[-1] + (measure.length or time.bar_length))
    barlines = read_barlines(measures, tuple(starts), remarks)
    pieces = list(_cut(measures, starts, times, barlines))
    bars = tuple(_marked(_number(pieces, barlines), barlines))
    page = Page(measures, tuple(starts), bars, staff, barlines)
    _tell_lengths(page, remarks)
    _tell_overdrawn(page, remarks)
    return page


def _cut(
    measures: tuple[Measure, ...],
    starts: list[Fraction],
    times: tuple[TimeSignature, ...],
    barlines: Barlines,
) -> Iterator[_Piece]:
    """Yield the measures, cut where a section ends in their middle."""
    places = sorted(barlines.sections)
    for count, measure in enumerate(measures):
        first, last = starts[count], starts[count + 1]
        inside = places[bisect_right(places, first) : bisect_left(places, last)]
        cuts = [first, *inside, last]
        for number, start in enumerate(cuts[:-1]):
            length = cuts[number + 1] - start
            yield _Piece(measure, start, length, times[count], number > 0)


def _number(pieces: list[_Piece], barlines: Barlines) -> list[Bar]:
    """Return the bars with their numbers and what they lack at the front."""
    bars: list[Bar] = []
    shift = _shift(pieces)
    for piece in pieces:
        missing = piece.time.bar_length - piece.length
        before = bars[-1] if bars else None
        if before and _completes(before, piece, barlines):
            offset = before.offset + before.length
            part = _is_uncounted(piece, str(before.number))
            number = before.number if part else _next_number(piece, before, shift)
        elif before is None and missing > 0 and _is_pickup(pieces):
            number, offset = 0, missing
        else:
            number = _next_number(piece, before, shift)
            leads_in = missing > 0 and _is_new_pickup(piece, barlines)
            offset = missing if leads_in else Fraction(0)
        bars.append(Bar(number, piece.start, piece.length, piece.time, offset=offset))
    return bars


def _shift(pieces: list[_Piece]) -> int:
    """Return 1 if the file counts the pickup as bar 1, else 0."""
    first = pieces[0]
    short = first.length < first.time.bar_length and _is_pickup(pieces)
    return 1 if short and whole(first.measure.label) == 1 else 0


def _next_number(piece: _Piece, before: Bar | None, shift: int) -> int:
    """Return the printed number if it counts on, else the next one."""
    printed = whole(piece.measure.label)
    if before is None:
        return 1 if printed is None else max(printed, 0)
    counted = before.number if piece.measure.implicit else before.number + 1
    return counted if printed is None else max(printed - shift, counted)


def _is_pickup(pieces: list[_Piece]) -> bool:
    """Whether a first bar that is short is a pickup, not half of a split bar."""
    first = pieces[0]
    if len(pieces) == 1:
        return first.measure.implicit or whole(first.measure.label) == 0
    second = pieces[1]
    whole_bar = first.length + second.length == first.time.bar_length
    return not (whole_bar and _is_uncounted(second, first.measure.label))


def _is_uncounted(piece: _Piece, label_before: str) -> bool:
    label = piece.measure.label
    return (
        piece.continues
        or piece.measure.implicit
        or whole(label) is None
        or label == label_before
    )


def _completes(before: Bar, piece: _Piece, barlines: Barlines) -> bool:
    """Whether a piece is the rest of the bar before it."""
    full = before.time.bar_length
    if piece.continues:
        return True
    if before.time != piece.time or before.offset + before.length >= full:
        return False
    if before.offset + before.length + piece.length != full:
        return False
    # Both endings of a tune with a pickup are short.
    ending = barlines.ending_at(piece.start)
    return ending is None or ending.start != piece.start


def _is_new_pickup(piece: _Piece, barlines: Barlines) -> bool:
    """Whether a short bar inside the tune leads into a new section."""
    end = piece.start + piece.length
    ending = barlines.ending_at(piece.start)
    closes = end in barlines.sections or (ending is not None and ending.end == end)
    return piece.start in barlines.sections and not closes


def _marked(bars: list[Bar], barlines: Barlines) -> Iterator[Bar]:
    last = bars[-1].end
    for bar in bars:
        ending = barlines.ending_at(bar.start)
        yield bar._replace(
            repeat_start=bar.start in barlines.forward,
            repeat_end=barlines.backward.get(bar.end, 1),
            double=bar.end in barlines.double
            and bar.end not in barlines.backward
            and bar.end not in barlines.forward
            and bar.end != last,
            ending=ending.numbers if ending else (),
        )


def _tell_lengths(page: Page, remarks: Remarks) -> None:
    """Say which bars do not hold what their time signature says."""
    pickups = {bar.length for bar in page.bars if bar.offset}
    ends = {*page.barlines.sections, *(e.end for e in page.barlines.endings), page.end}
    for number, bar in enumerate(page.bars):
        missing = bar.time.bar_length - bar.offset - bar.length
        after = page.bars[number + 1] if number + 1 < len(page.bars) else None
        goes_on = after is not None and after.offset == bar.offset + bar.length
        if missing == 0 or goes_on:
            continue
        if missing in pickups and bar.end in ends:
            continue
        beats = bar.length / bar.time.unit
        counted = "1 beat" if beats == 1 else f"{format_beat(beats)} beats"
        remarks.add(
            Code.LENGTH,
            f"the bar holds {counted} where {bar.time} has {bar.time.beats}; it was "
            "kept so.",
            bar.start,
            "Check its rests and note values.",
        )


def _tell_overdrawn(page: Page, remarks: Remarks) -> None:
    for count, measure in enumerate(page.measures):
        if measure.overdrawn is not None:
            remarks.add(
                Code.BACKUP,
                "a <backup> goes further back than the bar line; it was taken to lead "
                "to the bar line.",
                page.starts[count],
            )
