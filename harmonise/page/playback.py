"""What the page plays: notes, tempos, bars, in the order in which they sound.

As in `harmonise.notation.sound.performance`: repeats and jumps are played out, a note
held over the end of a passage stops there, and one held into its beginning is struck.
"""

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from itertools import accumulate
from typing import Annotated

from msgspec import Meta, Struct

from harmonise.errors import Remark
from harmonise.notation.sound.performance import USUAL_TEMPO
from harmonise.page.drawing import NotePlaces
from harmonise.theory.arrangement import Arrangement, Hand, Voice
from harmonise.theory.play_order import Passage, passages, played_bars
from harmonise.theory.tune import Tune

_SHORTEST = 1e-6
"""Crotchets; what is shorter has ended and is left over from rounding."""
MOST_BARS = 6000
"""Most bars that are played out: three hours of them."""
TOO_LONG = Remark(
    "LONG",
    "With all its repeats this would play for hours, so here it is played straight "
    "through.",
)


class Event(Struct, frozen=True, forbid_unknown_fields=True):
    """A note as it sounds.

    Attributes:
        t: When it begins.
        d: How long it sounds.
        midi: Its key.
        hand: Which hand plays it.
        voice: Which voice it is of.
        ids: Its heads in the engraving.
        onset: When it begins on the written page.
    """

    t: float
    d: Annotated[float, Meta(gt=0)]
    midi: Annotated[int, Meta(ge=0, le=127)]
    hand: Hand
    voice: Voice
    ids: Annotated[tuple[str, ...], Meta(min_length=1)]
    onset: Annotated[str, Meta(pattern="^[0-9]+(/[1-9][0-9]*)?$")]


class PlayedTempo(Struct, frozen=True, forbid_unknown_fields=True, rename="camel"):
    """A tempo from a time on, in crotchets a minute."""

    t: float
    per_minute: Annotated[float, Meta(gt=0)]


class CountIn(Struct, frozen=True, forbid_unknown_fields=True):
    """A bar of beats, and how late in its bar the tune begins."""

    beats: Annotated[int, Meta(ge=1)]
    beat: float
    late: float


class PlayedBar(Struct, frozen=True, forbid_unknown_fields=True):
    """When a bar begins, and which bar of the tune it is."""

    t: float
    index: Annotated[int, Meta(ge=0)]


class Playback(
    Struct, frozen=True, forbid_unknown_fields=True, rename="camel", kw_only=True
):
    """What is heard; times are crotchets from the start of playing."""

    events: Annotated[tuple[Event, ...], Meta(min_length=1)]
    tempos: Annotated[tuple[PlayedTempo, ...], Meta(min_length=1)]
    count_in: CountIn
    played_bars: Annotated[tuple[PlayedBar, ...], Meta(min_length=1)]


def too_long(tune: Tune) -> bool:
    """Whether a tune with all its repeats is far too long to play out."""
    return len(played_bars(tune)) > MOST_BARS


def playback(done: Arrangement, marks: NotePlaces) -> Playback:
    """Return notes, tempos, count-in and bars as they sound."""
    tune = done.tune
    order = played_bars(tune)
    if len(order) > MOST_BARS:
        order = tuple(range(len(tune.bars)))
    way = passages(tune.bars[index] for index in order)
    return Playback(
        events=tuple(_events(done, marks, way)),
        tempos=tuple(_tempos(tune, way)),
        count_in=_count_in(tune),
        played_bars=tuple(_bars(tune, order)),
    )


def _events(
    done: Arrangement, marks: NotePlaces, way: tuple[Passage, ...]
) -> Iterator[Event]:
    notes = done.notes
    onsets = [float(note.onset) for note in notes]
    ends = [float(note.onset + note.length) for note in notes]
    places = [str(note.onset) for note in notes]
    # When the longest-lived of all notes so far ends: never falls.
    held = list(accumulate(ends, max))
    for passage in way:
        begin, end, at = float(passage.start), float(passage.end), float(passage.at)
        found = []
        for number in range(bisect_left(held, begin), bisect_left(onsets, end)):
            start = max(onsets[number], begin)
            length = min(ends[number], end) - start
            if length > _SHORTEST:
                found.append((start, number, length))
        for start, number, length in sorted(found):
            note = notes[number]
            yield Event(
                at + start - begin,
                length,
                note.pitch.midi,
                note.hand,
                note.voice,
                marks.names[number],
                places[number],
            )


def _tempos(tune: Tune, way: tuple[Passage, ...]) -> Iterator[PlayedTempo]:
    """Yield the tempos, each passage's own at its start."""
    marks = [(Fraction(0), USUAL_TEMPO)]
    marks += [(mark.onset, mark.per_minute * mark.beat) for mark in tune.tempos]
    for passage in way:
        before = [speed for onset, speed in marks if onset <= passage.start]
        yield PlayedTempo(float(passage.at), float(before[-1]))
        for onset, speed in marks:
            if passage.start < onset < passage.end:
                at = passage.at + onset - passage.start
                yield PlayedTempo(float(at), float(speed))


def _count_in(tune: Tune) -> CountIn:
    first = tune.bars[0]
    return CountIn(
        len(first.time.beat_starts),
        float(first.time.beat),
        float(first.offset % first.time.bar_length),
    )


def _bars(tune: Tune, order: tuple[int, ...]) -> Iterator[PlayedBar]:
    now = Fraction(0)
    for index in order:
        yield PlayedBar(float(now), index)
        now += tune.bars[index].length
