"""What the page plays: notes, tempos, bars, in the order in which they sound.

As in `harmonise.notation.sound.performance`: repeats and jumps are played out, a note
held over the end of a passage stops there, and one held into its beginning is struck.
"""

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from itertools import accumulate

from harmonise.errors import Remark
from harmonise.notation.sound.performance import USUAL_TEMPO
from harmonise.page.drawing import NotePlaces
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.play_order import Passage, passages, played_bars
from harmonise.theory.tune import Tune

Json = dict[str, object]

_SHORTEST = 1e-6
"""Crotchets; what is shorter has ended and is left over from rounding."""
MOST_BARS = 6000
"""Most bars that are played out: three hours of them."""
TOO_LONG = Remark(
    "LONG",
    "With all its repeats this would play for hours, so here it is played straight "
    "through.",
)


def too_long(tune: Tune) -> bool:
    """Whether a tune with all its repeats is far too long to play out."""
    return len(played_bars(tune)) > MOST_BARS


def heard(done: Arrangement, marks: NotePlaces) -> Json:
    """Return notes, tempos, count-in and bars as they sound.

    Times are crotchets from the start of playing.
    """
    tune = done.tune
    order = played_bars(tune)
    if len(order) > MOST_BARS:
        order = tuple(range(len(tune.bars)))
    way = passages(tune.bars[index] for index in order)
    return {
        "events": list(_events(done, marks, way)),
        "tempos": list(_tempos(tune, way)),
        "countIn": _count_in(tune),
        "playedBars": list(_bars(tune, order)),
    }


def _events(
    done: Arrangement, marks: NotePlaces, way: tuple[Passage, ...]
) -> Iterator[Json]:
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
            yield {
                "t": at + start - begin,
                "d": length,
                "midi": note.pitch.midi,
                "hand": note.hand.value,
                "voice": note.voice.value,
                "ids": marks.names[number],
                "onset": places[number],
            }


def _tempos(tune: Tune, way: tuple[Passage, ...]) -> Iterator[Json]:
    """Yield the tempos, each passage's own at its start."""
    marks = [(Fraction(0), USUAL_TEMPO)]
    marks += [(mark.onset, mark.per_minute * mark.beat) for mark in tune.tempos]
    for passage in way:
        before = [speed for onset, speed in marks if onset <= passage.start]
        yield {"t": float(passage.at), "perMinute": float(before[-1])}
        for onset, speed in marks:
            if passage.start < onset < passage.end:
                at = passage.at + onset - passage.start
                yield {"t": float(at), "perMinute": float(speed)}


def _count_in(tune: Tune) -> Json:
    """Return a bar of beats, and how late in its bar the tune begins."""
    first = tune.bars[0]
    return {
        "beats": len(first.time.beat_starts),
        "beat": float(first.time.beat),
        "late": float(first.offset % first.time.bar_length),
    }


def _bars(tune: Tune, order: tuple[int, ...]) -> Iterator[Json]:
    now = Fraction(0)
    for index in order:
        yield {"t": float(now), "index": index}
        now += tune.bars[index].length
