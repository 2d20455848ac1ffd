"""The notes of a recording: its steps, set to the pulse, and cut where struck again."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from harmonise.notation.recording.click import Click
from harmonise.notation.recording.contour import Floats, SungContour
from harmonise.notation.recording.free_pulse import freely
from harmonise.notation.recording.pulse import HeardPulse, to_click
from harmonise.notation.recording.repeats import (
    GridPlace,
    attacks,
    inner_span,
    odds,
    onsets,
    signs,
)
from harmonise.notation.recording.semitones import HeldPitch, steps
from harmonise.theory.metre import TimeSignature

_SURE = 1.2
"""Odds, as a logarithm, up to which a cut, or none, is doubtful."""
_TWICE = 0.05
"""Seconds between two onsets at least."""
_QUARTERS = 0.2
"""Crotchets between two cuts at least."""


class HeardNote(NamedTuple):
    """A note as it was heard.

    Attributes:
        place: Crotchets from the first beat of the first bar where it begins.
        end: Where it ends.
        midi: Note number.
        other: The next likely note number.
        doubt: From 0 to 1: how near the other comes.
        odds: Logarithm of the odds that it was struck at all, not held on; None for
            the first of its pitch.
        unstruck: Places inside it at which it may have been struck again.
    """

    place: float
    end: float
    midi: int
    other: int
    doubt: float
    odds: float | None = None
    unstruck: tuple[float, ...] = ()


class HeardLine(NamedTuple):
    """All notes of a recording.

    Attributes:
        notes: In order.
        crotchet: Seconds of a crotchet.
        pulse: Where the crotchets lie in the recording; None without a note.
    """

    notes: tuple[HeardNote, ...]
    crotchet: float
    pulse: HeardPulse | None = None


def hear_line(contour: SungContour, click: Click) -> HeardLine:
    """Return the notes of a recording, on the places where they were sung."""
    line = steps(contour)
    if not line:
        return HeardLine((), 0.0)
    rows = signs(contour)
    begins = onsets(rows, line)
    crotchet = click.crotchet
    if crotchet is not None:
        pulse = to_click(begins, crotchet, click)
    elif len(line) > 1:
        pulse, _ = freely(begins, click)
        first = list(grid_places(line, begins, pulse, click.metre))
        again = _struck_again(first, odds(contour, rows, line, first))
        found = np.concatenate([begins, attacks(rows, line, again)])
        pulse, crotchet = freely(_apart(found), click)
    else:
        crotchet = 0.6
        pulse = to_click(begins, crotchet, click)
    places = list(grid_places(line, begins, pulse, click.metre))
    chances = odds(contour, rows, line, places)
    notes = tuple(_notes(line, begins, pulse, places, chances))
    return HeardLine(notes, crotchet, pulse)


def _struck_again(places: Sequence[GridPlace], chances: Floats) -> list[float]:
    """Return about when held pitches are surely struck again, in seconds.

    A pulse that is a first guess will do: its places lie so near to each other that
    each stroke is near one of them, and the sound says when it was. All notes together
    then tell the pulse better than those that change the pitch.
    """
    rows = zip(places, chances, strict=True)
    return [place.at for place, chance in rows if chance > _SURE]


def _apart(begins: Floats) -> Floats:
    """Return onsets in order, without those that are the onset before heard twice."""
    begins = np.sort(begins)
    return begins[np.diff(begins, prepend=-np.inf) > _TWICE]


def grid_places(
    line: Sequence[HeldPitch], begins: Floats, pulse: HeardPulse, time: TimeSignature
) -> Iterator[GridPlace]:
    """Yield the places inside held notes at which they may be struck again."""
    beat = 6 if Click(time=time).is_compound else 4
    for number, step in enumerate(line):
        start = pulse.place(float(begins[number]))
        end = pulse.place(step.end)
        first, last = (4 * pulse.place(second) for second in inner_span(step))
        for quarter in range(int(np.ceil(first)), int(np.floor(last)) + 1):
            at, place = pulse.second(quarter / 4), quarter / 4
            yield GridPlace(
                number, at, quarter, quarter % beat, end - start, place - start,
                end - place,
            )  # fmt: skip


def _notes(
    line: Sequence[HeldPitch],
    begins: Floats,
    pulse: HeardPulse,
    places: Sequence[GridPlace],
    chances: Floats,
) -> Iterator[HeardNote]:
    for number, step in enumerate(line):
        here = [
            (place.quarter / 4, float(chance))
            for place, chance in zip(places, chances, strict=True)
            if place.step == number
        ]
        cuts = _cuts(here)
        start, end = pulse.place(float(begins[number])), pulse.place(step.end)
        edges = [(start, None), *cuts, (end, None)]
        maybe = [at for at, chance in here if -_SURE < chance <= 0]
        for (at, chance), (stop, _) in pairwise(edges):
            inside = tuple(p for p in maybe if _clear(p, at) and p < stop - _QUARTERS)
            yield HeardNote(at, stop, step.midi, step.other, step.doubt, chance, inside)


def _clear(place: float, at: float) -> bool:
    return place > at + _QUARTERS


def _cuts(here: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return the likeliest cuts, none so near another that the note is no note."""
    cuts: list[tuple[float, float]] = []
    for place, chance in sorted(here, key=lambda row: -row[1]):
        if chance > 0 and all(abs(place - at) > _QUARTERS for at, _ in cuts):
            cuts.append((place, chance))
    return sorted(cuts)


def is_doubtful(note: HeardNote) -> bool:
    """Whether a note may be the one before it, held on."""
    return note.odds is not None and note.odds < _SURE
