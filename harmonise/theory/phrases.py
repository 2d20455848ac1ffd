"""Lines of a tune of which its page says nothing, and slices of a tune.

A typed tune has the lines that were typed, and so has a file that tells them. Where
nothing tells them they are found from the tune. Repeats, double bars, labels and
fermatas end lines for certain. A stretch between them that is too long for one line is
cut where the tune breathes: after a rest or a long note, or where the two bars of its
start come again; and unless these say otherwise, in groups of four bars.

A slice is a tune whose times begin at 0. Notes that sound over a cut end there; those
that sound into a slice are struck at its start, as a player who comes back to that
place must do.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby, pairwise
from math import lcm
from operator import attrgetter
from statistics import median
from typing import NamedTuple, TypeVar

from harmonise.theory.arrangement import Slot, SoundingNote
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Tempo, Tune, TuneNote

_COST = {2: 2.6, 3: 1.5, 4: 0.0, 5: 2.0, 6: 2.5, 7: 3.0, 8: 1.5}
"""Price of a line by its full bars: four are a line, others need a reason."""
_WHOLE = 6
"""A stretch of fewer full bars is a line and not looked into."""
_SECTION = 8
"""Bars from which on a line end also ends a section, where no sign does."""
_BREATH, _AGAIN = 1.0, 1.0
"""What a rest or long note before a line is worth, and bars heard before."""


class _Place(NamedTuple):
    """A place where a line may begin.

    Attributes:
        onset: Crotchets from the start; before the bar line if notes lead to it.
        bars: Full bars from the start of the stretch.
        worth: What speaks for it.
    """

    onset: Fraction
    bars: int
    worth: float


def find_lines(notes: Sequence[TuneNote], bars: Sequence[Bar]) -> tuple[Fraction, ...]:
    """Return the onsets at which lines of a tune end; the last is its end.

    Args:
        notes: Its notes and rests, without gap.
        bars: Its bars.
    """
    end = bars[-1].end
    known = _section_ends(bars)
    known |= {note.end for note in notes if note.fermata and note.pitch}
    edges = [Fraction(0), *sorted(at for at in known if 0 < at < end), end]
    ends: list[Fraction] = []
    for first, last in pairwise(edges):
        ends += [*_cuts(notes, bars, first, last), last]
    return tuple(ends)


def settle_lines(
    told: Sequence[Fraction], notes: Sequence[TuneNote], bars: Sequence[Bar]
) -> tuple[Fraction, ...]:
    """Return where lines end: as told, or found where one line holds a whole song."""
    full = sum(not bar.offset for bar in bars)
    return tuple(told) if told[1:] or full < _WHOLE else find_lines(notes, bars)


def before_pickup(tune: Tune, end: Fraction) -> Fraction:
    """Return where a line ends without the pickup to the next one.

    A tune that begins with a pickup has one before its other lines as well (common
    practice), and a page that breaks its lines at bar lines leaves it in the line
    before: there a note, or a rest, begins as long before the line ends as the pickup
    lasts.

    Args:
        tune: The tune.
        end: Where the line ends on the page, in crotchets.
    """
    first = tune.bars[0]
    if not first.offset:
        return end
    onset = end - first.length
    bar = tune.bar_at(onset)
    whole = bar.end == end and not bar.offset and bar.length == bar.time.bar_length
    at = bisect_left(tune.notes, onset, key=attrgetter("onset"))
    parted = any(note.onset == onset for note in tune.notes[at : at + 1])
    return onset if whole and parted else end


def sections_of(tune: Tune) -> tuple[int, ...]:
    """Return the number of the section that each bar stands in, counted from 0.

    A sign on the page ends a section (a double bar, a repeat, a label), and so does a
    line once the section has eight bars, as in most folk tunes (common practice).
    """
    lines = frozenset(tune.phrases)
    section = length = 0
    sections = []
    for bar, after in zip(tune.bars, (*tune.bars[1:], None), strict=True):
        sections.append(section)
        length += 1
        if after is None:
            break
        sign = bar.double or bar.repeat_end > 1 or after.repeat_start or after.section
        if sign or (length >= _SECTION and after.start in lines):
            section, length = section + 1, 0
    return tuple(sections)


def closing_beats(tune: Tune, alike: Sequence[int]) -> frozenset[Fraction]:
    """Return the beats that may bring the chords of a close, in crotchets.

    They are the beats of the last bar of a section, and the last beat before the last
    note of a line, where the tune strikes a note there (common practice: "B A G F# | E"
    must be able to have V); and the same beats of bars that must have the same chords.

    Args:
        tune: The tune.
        alike: For each bar the first one whose chords it must have.
    """
    sections = sections_of(tune)
    of_metre = {time: time.beat_starts for time in {bar.time for bar in tune.bars}}
    # Whole numbers are much quicker than fractions, and there are many.
    parts, (onsets, begins, skipped, lines, *metres) = in_whole_numbers(
        [note.onset for note in tune.sounding],
        [bar.start for bar in tune.bars] + [tune.end],
        [bar.offset for bar in tune.bars],
        tune.phrases,
        *((time.beat, *starts) for time, starts in of_metre.items()),
    )
    known = dict(zip(of_metre, metres, strict=True))
    ends, beats = set(lines), set[int]()
    for at, (bar, section) in enumerate(zip(tune.bars, sections, strict=True)):
        if section not in sections[at + 1 : at + 2]:
            ends.add(begins[at + 1])
            line = begins[at] - skipped[at]
            beats.update(line + start for start in known[bar.time][1:])
    for end in ends:
        number = bisect_left(onsets, end) - 1
        if number > 0:
            last, at = onsets[number], bisect_right(begins, onsets[number]) - 1
            beat = known[tune.bars[at].time][0]
            beats.add(last - ((last - begins[at] + skipped[at]) % beat or beat))
    places = dict[int, set[int]]()
    for beat in beats.intersection(onsets):
        at = bisect_right(begins, beat) - 1
        places.setdefault(alike[at], set()).add(beat - begins[at])
    return frozenset(
        Fraction(begins[at] + place, parts)
        for at, model in enumerate(alike)
        for place in places.get(model, ())
    )


def in_whole_numbers(*times: Sequence[Fraction]) -> tuple[int, list[list[int]]]:
    """Return times counted in the largest part of a crotchet that all of them are.

    >>> in_whole_numbers([Fraction(1, 2), Fraction(2)], [Fraction(4, 3)])
    (6, [[3, 12], [8]])
    """
    parts = lcm(*{time.denominator for row in times for time in row})
    whole = [[t.numerator * (parts // t.denominator) for t in row] for row in times]
    return parts, whole


def _section_ends(bars: Sequence[Bar]) -> set[Fraction]:
    """Return where sections and endings begin and end."""
    ends = {bar.start for bar in bars if bar.repeat_start or bar.section}
    ends |= {bar.end for bar in bars if bar.repeat_end > 1 or bar.double}
    for bar, after in pairwise(bars):
        if bar.ending and bar.ending != after.ending:
            ends.add(bar.end)
    return ends


def _cuts(
    notes: Sequence[TuneNote], bars: Sequence[Bar], first: Fraction, last: Fraction
) -> list[Fraction]:
    """Return where lines end inside a stretch, at the lowest price of all."""
    inside = [bar for bar in bars if first <= bar.start < last and not bar.offset]
    if len(inside) < _WHOLE:
        return []
    places = [_Place(first, 0, 0.0), *_places(notes, inside, first)]
    places.append(_Place(last, len(inside), 0.0))
    # Price of the best way to each place, and the number of the place before it.
    best: list[tuple[float, int]] = [(0.0, 0)]
    for number, place in enumerate(places[1:], 1):
        prices = [
            (best[before][0] + _COST[size] - place.worth, before)
            for before in range(max(number - 8, 0), number)
            if (size := place.bars - places[before].bars) in _COST
        ]
        best.append(min(prices, default=(float("inf"), 0)))
    cuts: list[Fraction] = []
    number = best[-1][1]
    while number:
        cuts.insert(0, places[number].onset)
        number = best[number][1]
    return cuts


def _places(
    notes: Sequence[TuneNote], bars: Sequence[Bar], first: Fraction
) -> list[_Place]:
    """Return the places near bar lines at which a note or rest begins."""
    lead = bars[0].start - first
    before = {note.end: note for note in notes}
    usual = median(note.length for note in notes if note.pitch)
    figures = _figures(notes, bars)
    opening = figures[:2]
    places = []
    for count, bar in enumerate(bars[1:], 1):
        # A stretch that begins with a pickup has one before each of its lines.
        onset = bar.start - lead if bar.start - lead in before else bar.start
        if onset not in before:
            continue
        note, again = before[onset], figures[count : count + 2] == opening
        long = note.pitch is None or note.length >= 2 * usual
        worth = _BREATH * long + _AGAIN * again
        places.append(_Place(onset, count, worth))
    return places


def _figures(
    notes: Sequence[TuneNote], bars: Sequence[Bar]
) -> list[tuple[object, ...]]:
    """Return what each bar has, to tell whether it was heard before."""
    onsets = [note.onset for note in notes]
    return [
        tuple(
            (note.onset - bar.start, note.length, note.pitch)
            for note in notes[
                bisect_left(onsets, bar.start) : bisect_left(onsets, bar.end)
            ]
        )
        for bar in bars
    ]


_Lasting = TypeVar("_Lasting", TuneNote, Slot, SoundingNote)


_Placed = TypeVar("_Placed", TuneNote, Slot, SoundingNote, KeyChange, Tempo)


_Mark = TypeVar("_Mark", KeyChange, Tempo)


def cut_tune(tune: Tune, start: Fraction, end: Fraction) -> Tune:
    """Return a slice of a tune.

    Args:
        tune: The tune.
        start: Where it begins, in crotchets.
        end: Where it ends, more than `start`.
    """
    return tune._replace(
        notes=tuple(_cut_notes(tune, start, end)),
        bars=_cut_bars(tune, start, end),
        keys=_in_force(tune.keys, start, end),
        tempos=_in_force(tune.tempos, start, end),
        phrases=tuple(at - start for at in tune.phrases if start < at <= end),
        locks=_cut_chords(tune.locks, start, end),
        symbols=_cut_chords(tune.symbols, start, end),
        end_text=tuple(
            (at - start, text) for at, text in tune.end_text if start < at <= end
        ),
    )


def clipped(
    things: Iterable[_Lasting], start: Fraction, end: Fraction
) -> Iterator[_Lasting]:
    """Yield what is left of things between two places, with times from the first."""
    for thing in things:
        onset = max(thing.onset, start)
        stop = min(thing.onset + thing.length, end)
        if onset < stop:
            yield thing._replace(onset=onset - start, length=stop - onset)


def _cut_notes(tune: Tune, start: Fraction, end: Fraction) -> Iterator[TuneNote]:
    inside = (note for note in tune.notes if note.onset < end and note.end > start)
    for whole, left in zip(inside, clipped(tune.notes, start, end), strict=True):
        note = left._replace(slur_ends=0) if whole.end > end else left
        # A syllable, a grace note and a slur belong to the stroke that was cut off.
        if whole.onset < start:
            silent = (None,) * len(note.syllables)
            note = note._replace(syllables=silent, graces=(), slur_starts=0)
        yield note


def _cut_bars(tune: Tune, start: Fraction, end: Fraction) -> tuple[Bar, ...]:
    bars = []
    for bar in tune.bars:
        begin, stop = max(bar.start, start), min(bar.end, end)
        if begin < stop:
            offset = bar.offset + begin - bar.start
            bars.append(
                bar._replace(start=begin - start, length=stop - begin, offset=offset)
            )
    return tuple(bars)


def _in_force(
    marks: tuple[_Mark, ...], start: Fraction, end: Fraction
) -> tuple[_Mark, ...]:
    """Return the mark that is in force at the start of a slice, and those inside it."""
    begun = sum(mark.onset <= start for mark in marks)
    until = sum(mark.onset < end for mark in marks)
    return tuple(
        mark._replace(onset=max(mark.onset - start, Fraction(0)))
        for mark in marks[max(begun - 1, 0) : until]
    )


def _cut_chords(
    chords: tuple[ChordAt, ...], start: Fraction, end: Fraction
) -> tuple[ChordAt, ...]:
    return tuple(
        lock._replace(
            onset=max(lock.onset, start) - start, end=min(lock.end, end) - start
        )
        for lock in chords
        if lock.onset < end and lock.end > start
    )


def one_tune(
    tunes: Sequence[Tune], numbered: Sequence[bool], ends: set[Fraction]
) -> Tune:
    """Return tunes as one; lines end where theirs do and at `ends`."""
    phrases = ends.union(*(tune.phrases for tune in tunes))
    verses = max(tune.verses for tune in tunes)
    keys = (change for tune in tunes for change in tune.keys)
    tempos = (mark for tune in tunes for mark in tune.tempos)
    return tunes[0]._replace(
        notes=tuple(_sung(note, verses) for tune in tunes for note in tune.notes),
        bars=tuple(_counted(tunes, numbered)),
        keys=_new(keys),
        tempos=_new(tempos),
        phrases=tuple(sorted(phrases)),
        locks=tuple(lock for tune in tunes for lock in tune.locks),
        symbols=tuple(symbol for tune in tunes for symbol in tune.symbols),
        verses=verses,
        end_text=tuple(words for tune in tunes for words in tune.end_text),
    )


def _sung(note: TuneNote, verses: int) -> TuneNote:
    """Return a note with an entry for every verse, if it has words at all."""
    lacks = verses - len(note.syllables)
    if not note.syllables or lacks <= 0:
        return note
    return note._replace(syllables=(*note.syllables, *([None] * lacks)))


def later_tune(tune: Tune, by: Fraction) -> Tune:
    """Return a tune that begins later, by crotchets."""
    return tune._replace(
        notes=later(tune.notes, by),
        bars=tuple(bar._replace(start=bar.start + by) for bar in tune.bars),
        keys=later(tune.keys, by),
        tempos=later(tune.tempos, by),
        phrases=tuple(at + by for at in tune.phrases),
        locks=_chords_later(tune.locks, by),
        symbols=_chords_later(tune.symbols, by),
        end_text=tuple((at + by, text) for at, text in tune.end_text),
    )


def later(things: Iterable[_Placed], by: Fraction) -> tuple[_Placed, ...]:
    """Return things that begin later, by crotchets."""
    return tuple(thing._replace(onset=thing.onset + by) for thing in things)


def _chords_later(chords: tuple[ChordAt, ...], by: Fraction) -> tuple[ChordAt, ...]:
    return tuple(
        lock._replace(onset=lock.onset + by, end=lock.end + by) for lock in chords
    )


def _counted(tunes: Sequence[Tune], numbered: Sequence[bool]) -> Iterator[Bar]:
    """Yield all bars; those of tunes that are not numbered count on."""
    last = 0
    for tune, has_numbers in zip(tunes, numbered, strict=True):
        for bar in tune.bars:
            # A part of a bar goes by the number of the bar that it completes.
            last = bar.number if has_numbers else last + (not bar.offset)
            yield bar._replace(number=last)


def _new(marks: Iterable[_Mark]) -> tuple[_Mark, ...]:
    """Return the marks that say something else than the one before them."""
    same = groupby(marks, key=lambda mark: mark._replace(onset=Fraction(0)))
    return tuple(next(group) for _, group in same)
