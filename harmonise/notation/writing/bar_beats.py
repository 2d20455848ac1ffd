"""Bars as chords and strokes: one for each beat, where nothing is sung.

"C / F /" is a bar of four beats, two on each chord. Beats are those that are counted:
a bar of 6/8 has two. Chords that share a beat stand in brackets, with a stroke first if
none of them begins it.
"""

from collections.abc import Sequence
from typing import NamedTuple

from harmonise.notation.writing.chart_lines import Stretch
from harmonise.notation.writing.sung_pieces import ChordNames
from harmonise.theory.tune import Bar, Tune

STROKE = "/"
NO_CHORD = "N.C."
BARS_A_ROW = 4


class BarBeats(NamedTuple):
    """One bar, or the part of it that stands on a line.

    Attributes:
        beats: What is played on each beat.
        held: The chord in force before it; `NO_CHORD` before the first.
        whole: Whether it counts as a bar: a pickup and the second part of a split bar
            do not.
    """

    beats: tuple[str, ...]
    held: str
    whole: bool


def bars_of_line(tune: Tune, chords: ChordNames, stretch: Stretch) -> list[BarBeats]:
    """Return the bars that a line of a chart holds.

    Args:
        tune: The tune.
        chords: The symbols, in order.
        stretch: The line; it may begin or end inside a bar.
    """
    before = [name for onset, name in chords.items() if onset <= stretch.start]
    inside = {
        onset: name
        for onset, name in chords.items()
        if stretch.start <= onset < stretch.end
    }
    held = before[-1] if before else NO_CHORD
    found = []
    for bar in tune.bars:
        start, end = max(bar.start, stretch.start), min(bar.end, stretch.end)
        if start < end:
            own = {at: name for at, name in inside.items() if start <= at < end}
            beats = _beats(bar, own, Stretch(start, end))
            whole = not bar.offset and start == bar.start
            alone = not own and held == NO_CHORD
            found.append(BarBeats((NO_CHORD,) if alone else beats, held, whole))
            held = [held, *own.values()][-1]
    return found


def _beats(bar: Bar, chords: ChordNames, part: Stretch) -> tuple[str, ...]:
    """Return what is played on each beat of a bar, or of the part of it."""
    beats = []
    edge = bar.start - bar.offset
    while edge < part.end:
        following = edge + bar.time.beat
        if following > part.start:
            start = max(edge, part.start)
            names = [name for at, name in chords.items() if start <= at < following]
            names = names if start in chords else [STROKE, *names]
            beats.append(names[0] if len(names) == 1 else f"({' '.join(names)})")
        edge = following
    return tuple(beats)


def rows_of_bars(
    bars: Sequence[BarBeats], across: int = BARS_A_ROW
) -> list[tuple[str, ...]]:
    """Return bars as rows of text; a row begins with the chord in force.

    Args:
        bars: The bars.
        across: How many full bars stand in a row.
    """
    rows: list[list[BarBeats]] = [[]]
    for bar in bars:
        if bar.whole and sum(own.whole for own in rows[-1]) == across:
            rows.append([])
        rows[-1].append(bar)
    return [
        (_text(row[0], opens=True), *(_text(bar, opens=False) for bar in row[1:]))
        for row in rows
        if row
    ]


def _text(bar: BarBeats, *, opens: bool) -> str:
    beats = bar.beats
    if opens and beats[0] == STROKE:
        beats = (bar.held, *beats[1:])
    return " ".join(beats)
