"""Bars: time signatures, where they begin, numbers, pickups, repeats and endings.

Composite signatures keep their groups: 3+2/8, and 3/8+2/8+3/4 as 11/8 in 3+2+6. Where
the file gives no time signature, the commonest length of its bars is taken for one;
without bar measure (`<senza-misura>`) each bar is counted as long as it is.

A pickup is bar 0. Two short bars in a row that make a full one are the parts of a split
bar; they share a number if the second is not counted, and so do the parts of a measure
with a repeat or double bar in its middle, which becomes two bars. Other bars that are
too short or too long stay as they are, with a remark.
Source: W3C, MusicXML 4.0, `measure`, `time`; common practice.
"""

import re
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from math import ceil, lcm
from operator import attrgetter
from typing import NamedTuple

from harmonise.errors import NotationError, Place, format_beat
from harmonise.notation.musicxml.barlines import Barlines, read_barlines
from harmonise.notation.musicxml.elements import (
    Element,
    XmlCode,
    XmlRemarks,
    whole,
    words,
)
from harmonise.notation.musicxml.walk import Measure, TimedElement
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar

MOST_BEATS = 32
_BEAT_TYPES = (1, 2, 4, 8, 16, 32, 64, 128)
_BEATS = re.compile(r"[0-9]{1,3}(\s*\+\s*[0-9]{1,3})*$")


def measure_times(
    measures: tuple[Measure, ...], staff: int, remarks: XmlRemarks
) -> tuple[TimeSignature, ...]:
    """Return the time signature of each measure.

    Raises:
        NotationError: If one cannot be, with its bar.
    """
    changes: list[tuple[int, Fraction, TimeSignature | None]] = []
    for count, onset, time in _changes(measures, "time", staff):
        number = whole(measures[count].label)
        place = Place(count + 1 if number is None else number)
        changes.append((count, onset, _parse(time, place)))
    if not changes or changes[0][:2] > (0, 0):
        until = changes[0][0] if changes else len(measures)
        lengths = Counter(measure.length for measure in measures[:until])
        del lengths[Fraction(0)]
        # Of lengths that are equally common the longest: the others may be pickups.
        usual = max(lengths, key=lambda it: (lengths[it], it), default=Fraction(4))
        guess = _as_long_as(usual)
        what = f"the file gives no time signature here; its bars suggest {guess}."
        remarks.add(XmlCode.NO_TIME, what, Fraction(0))
        changes.insert(0, (0, Fraction(0), guess))
    return tuple(_spread(measures, changes, remarks))


def _changes(
    measures: tuple[Measure, ...], tag: str, staff: int
) -> Iterator[tuple[int, Fraction, Element]]:
    """Yield what changes on a staff, with the count of its measure and its place."""
    for count, measure in enumerate(measures):
        for item in measure.items:
            if item.element.tag != "attributes":
                continue
            for element in item.element.iterfind(tag):
                # Without a number it holds for all staves.
                if (whole(element.get("number")) or staff) == staff:
                    yield count, item.onset, element


def _spread(
    measures: tuple[Measure, ...],
    changes: list[tuple[int, Fraction, TimeSignature | None]],
    remarks: XmlRemarks,
) -> list[TimeSignature]:
    times: list[TimeSignature] = []
    start = Fraction(0)
    now: TimeSignature | None = None
    coming = list(reversed(changes))
    for count, measure in enumerate(measures):
        while coming and coming[-1][:2] <= (count, 0):
            now = coming.pop()[2]
        if now is None:
            remarks.add(
                XmlCode.UNMEASURED,
                "the music has no bar measure here; each bar is counted as it stands.",
                start,
            )
        times.append(now or _as_long_as(measure.length))
        start += measure.length or times[-1].bar_length
    return times


def _parse(time: Element, place: Place) -> TimeSignature | None:
    """Return the signature of a `<time>`; None for `<senza-misura>`."""
    if time.find("senza-misura") is not None and time.find("beats") is None:
        return None
    uppers = [words(beats.text) for beats in time.iterfind("beats")]
    lowers = [whole(lower.text) for lower in time.iterfind("beat-type")]
    shown = " + ".join(
        f"{upper}/{lower}" for upper, lower in zip(uppers, lowers, strict=False)
    )
    groups = _common_groups(uppers, lowers)
    if groups is None or len(uppers) != len(lowers):
        what = f'the time signature "{shown or "without beats"}" is not read.'
        remedy = "Both numbers must be whole, the lower one 1, 2, 4, 8 and so on."
        raise NotationError(what, place, remedy)
    sizes, lower = groups
    if not 0 < sum(sizes) <= MOST_BEATS or not all(sizes):
        what = f"the time signature {shown} has {sum(sizes)} beats in a bar."
        raise NotationError(what, place, f"From 1 to {MOST_BEATS} are read.")
    return TimeSignature(sum(sizes), lower, tuple(sizes) if len(sizes) > 1 else ())


def _common_groups(
    uppers: list[str], lowers: list[int | None]
) -> tuple[list[int], int] | None:
    """Return all groups counted in the shortest of the lower numbers' notes."""
    good = [lower for lower in lowers if lower in _BEAT_TYPES]
    if not uppers or len(good) != len(lowers) or not all(map(_BEATS.match, uppers)):
        return None
    common = lcm(*good)
    sizes = [
        int(size) * (common // lower)
        for upper, lower in zip(uppers, good, strict=False)
        for size in upper.split("+")
    ]
    return sizes, common


def _as_long_as(length: Fraction) -> TimeSignature:
    """Return the plainest signature whose bar has a length in crotchets.

    A length that no signature has within our limits (a stray third of a beat, say)
    gets the next longer bar that has one.
    """
    for lower in (4, 8, 16, 32):
        beats = length * lower / 4
        if beats.denominator == 1 and 0 < beats <= MOST_BEATS:
            return TimeSignature(int(beats), lower)
    return TimeSignature(min(max(ceil(length), 1), MOST_BEATS), 4)


class LaidPart(NamedTuple):
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

    def items(self, *tags: str) -> Iterator[tuple[Fraction, TimedElement]]:
        """Yield the elements of some kinds with their onsets, in file order."""
        for start, measure in zip(self.starts, self.measures, strict=False):
            for item in measure.items:
                if item.element.tag in tags:
                    yield start + item.onset, item

    def attributes(self, tag: str) -> Iterator[tuple[Fraction, Element]]:
        """Yield what changes on the tune's staff: keys, say, or transpositions."""
        for count, onset, element in _changes(self.measures, tag, self.staff):
            yield self.starts[count] + onset, element

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


class _MeasurePiece(NamedTuple):
    """A measure, or the part of one between two barlines."""

    measure: Measure
    start: Fraction
    length: Fraction
    time: TimeSignature
    continues: bool


def lay_bars(
    measures: tuple[Measure, ...], staff: int, remarks: XmlRemarks
) -> LaidPart:
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
    page = LaidPart(measures, tuple(starts), bars, staff, barlines)
    _tell_lengths(page, remarks)
    for start, measure in zip(starts, measures, strict=False):
        if measure.overdrawn is not None:
            remarks.add(
                XmlCode.BACKUP,
                "a <backup> goes further back than the bar line; it was taken to lead "
                "to the bar line.",
                start,
            )
    return page


def _cut(
    measures: tuple[Measure, ...],
    starts: list[Fraction],
    times: tuple[TimeSignature, ...],
    barlines: Barlines,
) -> Iterator[_MeasurePiece]:
    """Yield the measures, cut where a section ends in their middle."""
    # A repeat inside a measure ends a section there, so the bar is cut in two.
    places = sorted(barlines.sections)
    for count, measure in enumerate(measures):
        first, last = starts[count], starts[count + 1]
        inside = places[bisect_right(places, first) : bisect_left(places, last)]
        cuts = [first, *inside, last]
        for number, start in enumerate(cuts[:-1]):
            length = cuts[number + 1] - start
            yield _MeasurePiece(measure, start, length, times[count], number > 0)


def _number(pieces: list[_MeasurePiece], barlines: Barlines) -> list[Bar]:
    """Return the bars with their numbers and what they lack at the front."""
    bars: list[Bar] = []
    first = pieces[0]
    pickup = first.length < first.time.bar_length and _is_pickup(pieces)
    # Some programs count the pickup as bar 1.
    shift = int(pickup and whole(first.measure.label) == 1)
    for piece in pieces:
        missing = piece.time.bar_length - piece.length
        before = bars[-1] if bars else None
        if before and _completes(before, piece, barlines):
            offset = before.offset + before.length
            part = _is_uncounted(piece, str(before.number))
            number = before.number if part else _next_number(piece, before, shift)
        elif before is None and pickup:
            number, offset = 0, missing
        else:
            number = _next_number(piece, before, shift)
            leads_in = missing > 0 and _is_new_pickup(piece, barlines)
            offset = missing if leads_in else Fraction(0)
        bars.append(Bar(number, piece.start, piece.length, piece.time, offset=offset))
    return bars


def _next_number(piece: _MeasurePiece, before: Bar | None, shift: int) -> int:
    """Return the printed number if it counts on, else the next one."""
    # Bars count on where a file numbers them anew in each movement or not at all.
    printed = whole(piece.measure.label)
    if before is None:
        return 1 if printed is None else max(printed, 0)
    counted = before.number if piece.measure.implicit else before.number + 1
    return counted if printed is None else max(printed - shift, counted)


def _is_pickup(pieces: list[_MeasurePiece]) -> bool:
    """Whether a first bar that is short is a pickup, not half of a split bar."""
    first = pieces[0]
    if len(pieces) == 1:
        return first.measure.implicit or whole(first.measure.label) == 0
    second = pieces[1]
    whole_bar = first.length + second.length == first.time.bar_length
    return not (whole_bar and _is_uncounted(second, first.measure.label))


def _is_uncounted(piece: _MeasurePiece, label_before: str) -> bool:
    label = piece.measure.label
    return (
        piece.continues
        or piece.measure.implicit
        or whole(label) is None
        or label == label_before
    )


def _completes(before: Bar, piece: _MeasurePiece, barlines: Barlines) -> bool:
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


def _is_new_pickup(piece: _MeasurePiece, barlines: Barlines) -> bool:
    """Whether a short bar inside the tune leads into a new section."""
    end = piece.start + piece.length
    ending = barlines.ending_at(piece.start)
    closes = end in barlines.sections or (ending is not None and ending.end == end)
    return piece.start in barlines.sections and not closes


def _marked(bars: list[Bar], barlines: Barlines) -> Iterator[Bar]:
    # A repeat sign and the end of the tune are more than a double bar.
    double = barlines.double - barlines.backward.keys() - barlines.forward
    double -= {bars[-1].end}
    for bar in bars:
        ending = barlines.ending_at(bar.start)
        yield bar._replace(
            repeat_start=bar.start in barlines.forward,
            repeat_end=barlines.backward.get(bar.end, 1),
            double=bar.end in double,
            ending=ending.numbers if ending else (),
        )


def _tell_lengths(page: LaidPart, remarks: XmlRemarks) -> None:
    """Say which bars do not hold what their time signature says."""
    pickups = {bar.length for bar in page.bars if bar.offset}
    ends = {*page.barlines.sections, *(e.end for e in page.barlines.endings), page.end}
    for number, bar in enumerate(page.bars):
        missing = bar.time.bar_length - bar.offset - bar.length
        after = page.bars[number + 1] if number + 1 < len(page.bars) else None
        goes_on = after is not None and after.offset == bar.offset + bar.length
        # Before a repeat or at the end a bar may lack what the pickup brought.
        if missing == 0 or goes_on or (missing in pickups and bar.end in ends):
            continue
        beats = bar.length / bar.time.unit
        counted = "1 beat" if beats == 1 else f"{format_beat(beats)} beats"
        remarks.add(
            XmlCode.LENGTH,
            f"the bar holds {counted} where {bar.time} has {bar.time.beats}; it was "
            "kept so.",
            bar.start,
            "Check its rests and note values.",
        )
