"""What the page plays: notes, tempos, bars, in the order in which they sound.

It is what `harmonise.notation.sound.performance` finds for files that sound.
"""

from collections.abc import Iterator
from typing import Annotated

from msgspec import Meta, Struct

from harmonise.errors import Remark
from harmonise.notation.sound.performance import Performance, Playing, perform, rung
from harmonise.page.drawing import NotePlaces
from harmonise.theory.arrangement import Arrangement, Hand, Voice
from harmonise.theory.play_order import played_bars
from harmonise.theory.tune import Tune

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
        pedal: How long it sounds under the pedal.
        midi: Its key.
        hand: Which hand plays it.
        voice: Which voice it is of.
        ids: Its heads in the engraving.
    """

    t: float
    d: Annotated[float, Meta(gt=0)]
    pedal: Annotated[float, Meta(gt=0)]
    midi: Annotated[int, Meta(ge=0, le=127)]
    hand: Hand
    voice: Voice
    ids: Annotated[tuple[str, ...], Meta(min_length=1)]


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


def playback(arrangement: Arrangement, marks: NotePlaces) -> Playback:
    """Return notes, tempos, count-in and bars as they sound."""
    order = played_bars(arrangement.tune)
    if len(order) > MOST_BARS:
        order = tuple(range(len(arrangement.tune.bars)))
    played = perform(arrangement, Playing(pedal=True), order)
    first = arrangement.tune.bars[0]
    bars = zip(order, played.bars(), strict=True)
    return Playback(
        events=tuple(_events(arrangement, marks, played)),
        tempos=tuple(
            PlayedTempo(float(speed.at), float(speed.per_minute))
            for speed in played.speeds
        ),
        count_in=CountIn(
            len(first.time.beat_starts),
            float(first.time.beat),
            float(first.offset % first.time.bar_length),
        ),
        played_bars=tuple(PlayedBar(float(at), index) for index, (at, _) in bars),
    )


def _events(
    arrangement: Arrangement, marks: NotePlaces, played: Performance
) -> Iterator[Event]:
    for struck, length in zip(played.notes, rung(played), strict=True):
        number = struck.number or 0
        note = arrangement.notes[number]
        yield Event(
            float(struck.at),
            float(struck.length),
            float(length),
            struck.midi,
            note.hand,
            note.voice,
            marks.names[number],
        )
