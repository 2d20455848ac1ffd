"""How notes begin in one recording: learned from those that begin with a new pitch.

Each voice and instrument begins its notes in its own way, and swells and fades in its
own way too. Where the pitch changes a note begins for certain; inside a note that is
held none does. What tells the one from the other in this very recording is a linear
discriminant (R. A. Fisher, "The use of multiple measurements in taxonomic problems",
1936) of the levels around a frame, and it is asked again wherever one pitch may be
struck anew.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from harmonise.notation.recording.contour import Floats, SungContour

Ints = npt.NDArray[np.int64]

_WINDOWS = np.array(
    [(-24, -14), (-14, -8), (-8, -4), (-4, 0), (0, 4), (4, 8), (8, 14), (14, 24)]
)
"""Frames of 8 ms around an onset over which levels are averaged, shorter near it."""
_FEW, _FEW_HELD = 4, 20
"""Beginnings, and frames of held notes, below which nothing is learned."""
_SPREAD = 16.0
"""Decibels squared that each level strays by beside what the held notes show."""
_USUAL = 40
"""Percentile of the beginnings that is called a usual one."""
_MOST_USUAL, _MOST_SPREADS = 2.0, 6.0
_EARLY, _LATE = 5, 7


def strongest(values: Floats, before: int, after: int) -> Floats:
    """Return the greatest value from some frames before to some after each frame."""
    padded = np.pad(values, (before, after), mode="edge")
    rows = np.lib.stride_tricks.sliding_window_view(padded, before + after + 1)
    most: Floats = rows.max(axis=1)
    return most


def low_level(contour: SungContour) -> Floats:
    """Return the decibels between 80 Hz and 1 kHz, one a frame of 8 ms."""
    low: Floats = 10 * np.log10(np.sum(10 ** (contour.bands[:, 1:4] / 10), axis=1))
    return low


def shapes(contour: SungContour, frames: Ints) -> Floats:
    """Return how all, high and low levels move around frames, from their own mean.

    Args:
        contour: The recording.
        frames: Numbers of frames of 8 ms.

    Returns:
        A row a frame, 24 columns in decibels: a window after the other, three levels
        in each.
    """
    return _around(_three(contour), frames)


def _three(contour: SungContour) -> Floats:
    return np.column_stack([contour.level, contour.high, low_level(contour)])


def _around(levels: Floats, frames: Ints) -> Floats:
    """Return levels in the windows around frames, less their mean over the windows."""
    count = len(levels)
    sums = np.concatenate([np.zeros((1, levels.shape[1])), np.cumsum(levels, axis=0)])
    places = frames[:, None, None] + _WINDOWS[None, :, :]
    begin = np.clip(places[:, :, 0], 0, count - 1)
    end = np.maximum(np.clip(places[:, :, 1], 1, count), begin + 1)
    means = (sums[end] - sums[begin]) / (end - begin)[:, :, None]
    moved: Floats = means - means.mean(axis=1, keepdims=True)
    return np.reshape(moved, (len(frames), -1))


def likeness(contour: SungContour, begun: Ints, held: Ints, asked: Ints) -> Floats:
    """Return how like the beginnings of this recording some frames are.

    Args:
        contour: The recording.
        begun: Frames of 8 ms at which notes begin for certain.
        held: Frames inside held notes.
        asked: Frames in question.

    Returns:
        A row a frame asked: likeness where a usual beginning has 1, likeness in thirds
        of the spread of held notes, and a usual beginning in these; zeros where the
        recording has too little to learn from.
    """
    if len(begun) < _FEW or len(held) <= _FEW_HELD:
        return np.zeros((len(asked), 3))
    levels = np.column_stack([_three(contour), contour.bands[:, 1:8]])
    rows = _around(levels, np.arange(len(levels)))
    middle = rows[held].mean(axis=0)
    spread = np.cov(rows[held].T) + _SPREAD * np.eye(rows.shape[1])
    way = np.linalg.solve(spread, rows[begun].mean(axis=0) - middle)
    sums = (rows - middle) @ way
    usual = float(np.percentile(sums[begun], _USUAL))
    stray = float(sums[held].std()) + 1e-3
    here = strongest(sums, _EARLY, _LATE)[asked]
    of_usual = np.clip(here / (abs(usual) + 1e-3), -_MOST_USUAL, _MOST_USUAL)
    of_stray = np.clip(here / stray, -_MOST_USUAL, _MOST_SPREADS) / 3
    clear = np.clip(usual / stray, 0, _MOST_SPREADS) / 3
    return np.column_stack([of_usual, of_stray, np.full(len(asked), clear)])


def frames_between(spans: Sequence[tuple[int, int]], count: int) -> Ints:
    """Return the numbers of all frames in spans, those of the recording alone."""
    inside = [np.arange(max(a, 0), min(b, count)) for a, b in spans]
    return np.concatenate([*inside, np.zeros(0, np.int64)]).astype(np.int64)
