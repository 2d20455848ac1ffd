"""The line as steps of the scale: the singer's own A, and a cheapest path over it.

Nobody sings to a tuning fork. How far the line lies from equal temperament is taken
from its own steady frames, four seconds around each, so a slow drift is followed. On
that grid the path runs: at each frame the line is silent or on one semitone, each has
its misfit, each change its price, and the cheapest whole is found exactly. So vibrato
and scoops stay inside their note, and a slip of one frame is none.
"""

from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from harmonise.notation.recording.contour import HOP, VOICED, Floats, SungContour

Ints = npt.NDArray[np.int64]

SILENT = -1
"""The step of a frame in which nothing of the line sounds."""
_AROUND = 2.0
"""Seconds to each side from which the singer's A is taken."""
_TRUST = 0.15
"""Weight of the whole recording's A beside that of the seconds around."""
_STEADY = 0.35
"""Semitones between neighbours from which a frame is no steady one."""
_WIDTH = 0.55
"""Semitones off its note at which a frame costs one quarter of a whole misfit."""
_MISFIT = 4.0
"""What the farthest miss costs in a frame, in units of `_WIDTH` squared."""
_CHANGE = 9.0
"""Price of a change from one step to another."""
_UNSURE, _SURE = 0.15, 0.5
"""Confidence below which no pitch is heard, and what more makes it a sure one."""
_UNVOICED = 1.6
"""Cost of a note in a frame without any pitch."""
_SOUNDING = 2.2
"""Cost of silence in a frame with a sure pitch."""
_QUIET = 36.0
"""Decibels below the loud parts at which a line has ended."""
_SLIP = 0.14
_PARTIALS = (12, 19, 24)
"""Seconds that a slip to a partial lasts at most, and how many semitones it goes."""
_SHORTEST = 0.065
"""Seconds: what is shorter between two notes is the way from one to the other."""


class HeldPitch(NamedTuple):
    """A stretch of one pitch.

    Attributes:
        start: Seconds.
        end: Seconds.
        midi: Note number.
        other: The note number that is the next likely.
        doubt: From 0 to 1: how near the other comes.
    """

    start: float
    end: float
    midi: int
    other: int
    doubt: float


def tuning(contour: SungContour) -> Floats:
    """Return how far the singer's A lies above 440 Hz at each frame, in semitones."""
    pitch, sure = contour.pitch, contour.voiced
    moves = np.abs(np.diff(pitch, prepend=pitch[:1]))
    weight = sure * (sure >= VOICED) * (moves < _STEADY)
    # A circle of one semitone: what lies a quarter-tone high may lie as much low.
    turns = weight * np.exp(2j * np.pi * pitch)
    whole = turns.sum()
    if not weight.any():
        return np.zeros(len(pitch))
    size = round(_AROUND / HOP)
    window = np.hanning(2 * size + 3)[1:-1]
    near = np.convolve(turns, window, "same") if len(turns) >= len(window) else turns
    near = near if len(turns) >= len(window) else np.full(len(turns), whole)
    mean = whole / weight.sum() * window.sum()
    # Drift is followed from the recording's own mean, never by a whole semitone.
    turned = np.angle((near + _TRUST * mean) / (whole / abs(whole)))
    start = float(np.angle(whole))
    off: Floats = (start + turned) / (2 * np.pi)
    return off


def steps(contour: SungContour) -> tuple[HeldPitch, ...]:
    """Return the stretches of one pitch that a recording holds, in order."""
    pitch = contour.pitch - tuning(contour)
    heard = pitch[contour.voiced >= VOICED]
    if not len(heard):
        return ()
    low = int(np.floor(np.percentile(heard, 1))) - 1
    high = int(np.ceil(np.percentile(heard, 99))) + 1
    notes = np.arange(low, high + 1)
    off = np.abs(pitch[:, None] - notes[None, :]) / _WIDTH
    sure = np.clip((contour.voiced - _UNSURE) / _SURE, 0, 1)
    misfit = np.minimum(off**2, _MISFIT)
    cost = sure[:, None] * misfit + (1 - sure[:, None]) * _UNVOICED
    loud = _loudness(contour)
    quiet = np.clip((loud + _QUIET) / 10, 0, 1)
    silent = sure * quiet * _SOUNDING
    path = _cheapest(np.column_stack([silent, cost]))
    line = np.where(path == 0, SILENT, notes[np.maximum(path - 1, 0)])
    return tuple(_stretches(_without_ways(line), misfit, sure, low))


def _loudness(contour: SungContour) -> Floats:
    """Return the level at each frame of pitch, 0 where the recording is loud."""
    level = contour.level[::2][: len(contour.pitch)]
    short = len(contour.pitch) - len(level)
    level = np.pad(level, (0, short), mode="edge")
    loud: Floats = level - contour.loud
    return loud


def _cheapest(cost: Floats) -> Ints:
    """Return the columns of the cheapest path; each change has the same price."""
    count = len(cost)
    back = np.empty(cost.shape, np.int64)
    total = cost[0].copy()
    stay = np.arange(cost.shape[1])
    for row in range(1, count):
        best = int(np.argmin(total))
        moved = total[best] + _CHANGE
        changes = total > moved
        back[row] = np.where(changes, best, stay)
        total = np.where(changes, moved, total) + cost[row]
    path = np.empty(count, np.int64)
    path[-1] = int(np.argmin(total))
    for row in range(count - 1, 0, -1):
        path[row - 1] = back[row, path[row]]
    return path


def _runs(line: Ints) -> list[tuple[int, int]]:
    edges = [0, *(np.flatnonzero(np.diff(line)) + 1), len(line)]
    return [(int(a), int(b)) for a, b in pairwise(edges)]


def _without_slips(line: Ints) -> Ints:
    """Return the line without short slips to a partial of the note beside them.

    The beginning of a breathed or bowed note is often heard an octave away.
    """
    line = line.copy()
    runs = _runs(line)
    for (a, b), (_, end) in pairwise(runs):
        here, after = line[a], line[min(b, end - 1)]
        before = line[a - 1] if a else SILENT
        if here == SILENT or (b - a) * HOP > _SLIP:
            continue
        for other in (after, before):
            if other != SILENT and abs(int(other - here)) in _PARTIALS:
                line[a:b] = other
                break
    return line


def _without_ways(line: Ints) -> Ints:
    """Return the line without the short steps that a glide passes on its way."""
    line = _without_slips(line)
    shortest = round(_SHORTEST / HOP)
    runs = _runs(line)
    for (a, b), (_, end) in pairwise(runs):
        here, after = line[a], line[min(b, end - 1)]
        if SILENT in (here, after) or b - a > shortest:
            continue
        before = line[a - 1] if a else SILENT
        # Scoops lead into the next note; so a way belongs to what it leads to.
        if before in (SILENT, after) or (before - here) * (here - after) > 0:
            line[a:b] = after
    return line


def _stretches(line: Ints, misfit: Floats, sure: Floats, low: int) -> list[HeldPitch]:
    made = []
    for a, b in _runs(line):
        if line[a] == SILENT:
            continue
        middle = slice(a + (b - a) // 4, b - (b - a) // 4)
        weight = sure[middle] + 1e-6
        costs = (misfit[middle] * weight[:, None]).sum(axis=0) / weight.sum()
        midi = int(line[a])
        here = costs[midi - low]
        costs[midi - low] = np.inf
        other = int(np.argmin(costs)) + low
        doubt = float(np.clip(1 - (min(costs) - here) / _MISFIT, 0, 1))
        made.append(HeldPitch(a * HOP, b * HOP, midi, other, doubt))
    return made
