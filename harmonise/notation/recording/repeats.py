"""Where one pitch is struck again: dips and fresh attacks inside a held note.

Singers repeat a note with an l or an n, in which the level hardly falls and the high
partials do; players with a tongue, a finger or a bow. Each place of the grid inside a
held note is asked. What speaks for an onset there are the dips of three levels, the
rise behind them, how many bands rise at once, and how the pitch stumbles. How much of
that is an onset and how much the player's own swell the recording says itself: each
sign is also compared with what it is where the pitch changes, which are onsets for
certain, and with what it is inside held notes; how like such a beginning the place is
as a whole says `beginnings.py`. A weighted sum gives the odds; its weights are a
logistic regression on one half of the old tunes (`tests/fitting/hearing.py`).
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from harmonise.notation.recording.beginnings import (
    Ints,
    frames_between,
    likeness,
    low_level,
    shapes,
    strongest,
)
from harmonise.notation.recording.contour import FINE, HOP, Floats, SungContour
from harmonise.notation.recording.semitones import HeldPitch

_BESIDE = round(0.16 / FINE)
"""Frames to each side in which the level before and after a dip is sought."""
_NEAR = round(0.032 / FINE)
_EARLY, _LATE = 5, 7
"""Frames before and after a place of the grid in which its onset is sought."""
_HEAD, _TAIL = 0.11, 0.07
"""Seconds at both ends of a held note in which none begins again."""
_USUAL = (8.0, 10.0, 8.0, 8.0, 10.0, 4.0, 2.0, 4.0)
"""The signs of an onset where a recording has too few to say its own."""
_FEW = 4
_SILENCE = 0.1
"""Seconds of silence after which a note tells nothing of how others begin."""

WEIGHTS = (
    1.78, 3.09, -2.05, -1.19, 0.05, 0.48, -1.28, 0.68,
    1.2, -1.52, 0.75, 0.34, 0.89, -2.04, -0.69, 0.48,
    0.31, -0.37, 0.04, -0.86, -0.87, 1.18, -0.22, -0.16,
    1.15, 0.99, -0.09, 0.4, 0.83, 0.41, -0.97, 0.34,
    3.55, -3.03, 0.01, 1.95, 0.53, -0.36, 1.12, -0.16,
    -0.9, 1.04, 1.42, -0.22, -0.38, -0.43, -0.04, -0.05,
    0.86, -1.06, -1.1, 3.21, 2.01, -3.31, -0.4, 0.8,
    0.47, -0.74, -0.17, -6.58,
)  # fmt: skip
"""Of the likeness, the levels around / 10, the signs / 10, the signs over their usual,
the signs over those of held notes, the place in bar and run, and 1; in natural
logarithms of odds."""


class GridPlace(NamedTuple):
    """A place of the grid inside a held note.

    Attributes:
        step: Number of the held note in the line.
        at: Seconds.
        quarter: Quarters of a crotchet from the first beat of the first bar.
        of_beat: Quarters of a crotchet from the beat before it.
        run: Crotchets that the held note lasts.
        since: Crotchets from its beginning.
        left: Crotchets to its end.
    """

    step: int
    at: float
    quarter: int
    of_beat: int
    run: float
    since: float
    left: float


def signs(contour: SungContour) -> Floats:
    """Return what speaks for an onset, eight columns, one row a frame of 8 ms."""
    level, high, low = contour.level, contour.high, low_level(contour)
    frames = np.arange(len(level)) * FINE
    coarse = np.arange(len(contour.pitch)) * HOP
    voiced = np.interp(frames, coarse, contour.voiced)
    pitch = np.interp(frames, coarse, contour.pitch)
    stumble = np.clip(strongest(np.abs(np.gradient(pitch)), _NEAR, _NEAR), 0, 1)
    return np.column_stack(
        [
            _dip(level),
            _dip(high),
            _dip(low),
            _rise(level),
            _rise(high),
            _fresh(contour.bands),
            10 * _dip(voiced),
            10 * stumble,
        ]
    )


def _dip(level: Floats) -> Floats:
    """Return how far a level lies below the lesser of its tops on both sides."""
    least = -strongest(-level, _NEAR, _NEAR)
    tops = np.minimum(strongest(level, _BESIDE, 0), strongest(level, 0, _BESIDE))
    dip: Floats = np.clip(tops - least, 0, 30)
    return dip


def _rise(level: Floats) -> Floats:
    least = -strongest(-level, 2 * _NEAR, 0)
    rise: Floats = np.clip(strongest(level, 0, 2 * _NEAR) - least, 0, 30)
    return rise


def _fresh(bands: Floats) -> Floats:
    """Return the mean rise of all bands within 48 milliseconds, in decibels."""
    ahead = np.pad(bands, ((0, 3), (0, 0)), mode="edge")[3:]
    behind = np.pad(bands, ((3, 0), (0, 0)), mode="edge")[:-3]
    rise: Floats = np.clip(ahead - behind, 0, 20).mean(axis=1)
    return rise


def _joined(line: Sequence[HeldPitch]) -> list[int]:
    """Return the numbers of the held notes that follow another without a silence."""
    pairs = enumerate(pairwise(line), 1)
    return [n for n, (before, after) in pairs if after.start - before.end < _SILENCE]


def usual_signs(rows: Floats, line: Sequence[HeldPitch]) -> Floats:
    """Return the signs as they are where this recording surely has an onset."""
    frames = [round(line[number].start / FINE) for number in _joined(line)]
    places = [slice(max(frame - 6, 0), frame + 4) for frame in frames]
    tops = [rows[place].max(axis=0) for place in places if len(rows[place])]
    if len(tops) < _FEW:
        return np.array(_USUAL)
    usual: Floats = np.percentile(np.array(tops), 40, axis=0)
    return usual


def _novelty(rows: Floats, line: Sequence[HeldPitch]) -> Floats:
    novelty: Floats = (rows / (usual_signs(rows, line) + 1)).sum(axis=1)
    return novelty


def onsets(rows: Floats, line: Sequence[HeldPitch]) -> Floats:
    """Return when the notes of a line begin, in seconds.

    The mean of where the path changes and where the signs are strongest nearby: each
    strays by half as much as the other does from it.
    """
    novelty = _novelty(rows, line)
    begins = []
    for step in line:
        frame = int(step.start / FINE)
        first = max(frame - 12, 0)
        near = novelty[first : frame + 5]
        strongest = first + int(np.argmax(near)) if len(near) else frame
        begins.append((strongest * FINE + step.start) / 2)
    return np.array(begins)


def attacks(rows: Floats, line: Sequence[HeldPitch], places: Sequence[float]) -> Floats:
    """Return where, near some places, the signs of an onset are strongest; seconds."""
    frames = np.array([round(place / FINE) for place in places], np.int64)
    near = _nearest(_novelty(rows, line), np.minimum(frames, len(rows) - 1))
    return near.astype(float) * FINE


def inner_span(step: HeldPitch) -> tuple[float, float]:
    """Return the seconds between which a held note may be struck again."""
    return step.start + _HEAD, step.end - _TAIL


def facts(
    contour: SungContour,
    rows: Floats,
    line: Sequence[HeldPitch],
    places: Sequence[GridPlace],
) -> Floats:
    """Return what speaks for and against an onset, one row for each place.

    Args:
        contour: The recording.
        rows: Its signs.
        line: Its stretches of one pitch.
        places: Places of the grid inside them.
    """
    last = len(rows) - 1
    frames = np.array([min(max(round(p.at / FINE), 0), last) for p in places], np.int64)
    begun = onsets(rows, line)[_joined(line)]
    spans = [inner_span(step) for step in line]
    held = frames_between([(round(a / FINE), round(b / FINE)) for a, b in spans], last)
    begins = np.minimum(np.round(begun / FINE).astype(np.int64), last)
    alike = likeness(contour, begins, held, frames)
    near = _nearest(_novelty(rows, line), frames)
    moves = np.clip(shapes(contour, near) / 10, -2, 2)
    where = np.array([_where(place) for place in places], float).reshape(-1, 9)
    return np.hstack([alike, moves, *_signs_there(rows, line, held, frames), where])


def _nearest(novelty: Floats, frames: Ints) -> Ints:
    """Return where, around each frame, an onset would be."""
    firsts = np.maximum(frames - _EARLY, 0)
    tops = [
        first + int(np.argmax(novelty[first : frame + _LATE + 1]))
        for first, frame in zip(firsts, frames, strict=True)
    ]
    return np.array(tops, np.int64)


def _signs_there(
    rows: Floats, line: Sequence[HeldPitch], held: Ints, frames: Ints
) -> tuple[Floats, Floats, Floats]:
    """Return the signs, over those of onsets, and over those of held notes."""
    wide = np.column_stack([strongest(row, _EARLY, _LATE) for row in rows.T])
    here = wide[frames]
    against = np.clip(here / (usual_signs(rows, line) + 1), 0, 2.5)
    beyond = np.zeros_like(here)
    if len(held):
        middle, upper = np.percentile(wide[held], [40, 80], axis=0)
        beyond = np.clip((here - middle) / (upper - middle + 1), -1, 4)
    return here / 10, against, beyond


def _where(place: GridPlace) -> tuple[float, ...]:
    """Return what the place alone says: few notes begin again off the beat."""
    on_beat = place.of_beat == 0
    return (
        on_beat,
        not on_beat and place.of_beat % 2 == 0,
        place.of_beat % 2,
        min(place.run, 4),
        min(place.since, 1),
        min(place.left, 1),
        min(place.since, place.left) < 0.35,
        on_beat and place.run > 1.4,
        1.0,
    )


def odds(
    contour: SungContour,
    rows: Floats,
    line: Sequence[HeldPitch],
    places: Sequence[GridPlace],
) -> Floats:
    """Return the logarithm of the odds that a note begins again at each place."""
    if not places:
        return np.zeros(0)
    sums: Floats = facts(contour, rows, line, places) @ np.array(WEIGHTS)
    return sums
