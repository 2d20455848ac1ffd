"""Where the beats lie: to a click, or found from the notes alone.

To a click the length of a beat is known, and what is left to find is how late the
whole comes: singers answer the click, and computers need time of their own. Without
one, the cheapest reading of all notes at once is found: each lasts a plain number of
quarters of a crotchet, at a tempo that may bend a little from note to note. Common
lengths are cheap, so is a tempo near that of most songs; a tune read at half or double
its tempo stays right in proportion, which is why it is asked about.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from harmonise.notation.recording.click import Click
from harmonise.notation.recording.contour import Floats

_LATEST, _STEP = 0.07, 0.005
"""Seconds by which the first note may stray, and between two trials."""
_STRAY = 0.03
"""Seconds by which onsets stray from the grid."""
_FAR = 3.5
_SIMPLE = ((1, 0.0), (2, 0.4), (4, 1.2))
_COMPOUND = ((2, 0.0), (4, 1.5))
"""Parts of a crotchet, and what a note costs that needs them."""
_ANSWER = 0.08
"""Seconds by which whoever sings to a click comes after it, computers included."""

_TEMPOS = np.exp(np.linspace(np.log(0.32), np.log(1.3), 72))
"""Seconds of a crotchet that are tried: 46 to 188 a minute."""
_USUAL = 0.62
_WIDTH = 0.30
"""Seconds of a crotchet in most songs, and the spread of its logarithm."""
_LENGTHS = np.array([1, 2, 3, 4, 6, 8, 10, 12, 14, 16, 20, 24, 32])
_PRICES = np.array([3.2, 1.2, 3.6, 0.6, 2.4, 1.6, 5.0, 2.8, 5.5, 3.2, 5.0, 5.0, 5.0])
"""Lengths in quarters of a crotchet, and how rarely songs use each."""
_LOOSE = 0.05
"""Part of a note's length by which free singing strays beside `_STRAY`."""
_BEND = 0.5
"""Price of one step of the tempo between two notes, squared."""


_FEWEST = 8
_NEAR_TEMPO, _TEMPO_STEP = 0.08, 0.0005
"""Part of a crotchet to each side in which a steady one is sought, and the step."""
_FITS = 0.65
"""Misfit a note up to which a tempo is a steady one."""


class HeardPulse(NamedTuple):
    """Where crotchets lie in a recording.

    Attributes:
        seconds: Times, rising; two where the tempo is a steady one.
        crotchets: The places of these times, from the first beat of the first bar.
    """

    seconds: Floats
    crotchets: Floats

    @property
    def is_steady(self) -> bool:
        """Whether one tempo holds from beginning to end."""
        return len(self.seconds) == 2

    def place(self, second: float) -> float:
        """Return the place of a time, in crotchets."""
        return _along(self.seconds, self.crotchets, second)

    def second(self, place: float) -> float:
        """Return the time of a place, in seconds."""
        return _along(self.crotchets, self.seconds, place)


def _along(known: Floats, wanted: Floats, at: float) -> float:
    """Return a value between known ones, going on evenly at both ends."""
    right = int(np.clip(np.searchsorted(known, at), 1, len(known) - 1))
    a, b = known[right - 1], known[right]
    share = (at - a) / (b - a)
    return float(wanted[right - 1] + share * (wanted[right] - wanted[right - 1]))


def to_click(begins: Floats, crotchet: float, click: Click) -> HeardPulse:
    """Return the pulse of a recording that was made to a click.

    Args:
        begins: Onsets in seconds.
        crotchet: Seconds of a crotchet.
        click: What was heard; where bar 1 was clicked, if that is known.
    """
    first = float(begins[0])
    _, late = _lateness(begins - first, crotchet, _divisions(click))
    origin = first + late
    if click.down is not None and click.tempo is not None:
        origin = _nearest_beat(begins, origin, click.down, click)
    starts = np.array([0.0, 1.0])
    if click.down is None:
        starts -= float(click.before)
    return HeardPulse(np.array([origin, origin + crotchet]), starts)


def _nearest_beat(begins: Floats, origin: float, down: float, click: Click) -> float:
    """Return when bar 1 began for the singer, who answers its click a little late.

    How late nobody knows to a sixteenth, but most notes begin on beats.
    """
    crotchet = click.crotchet or 1.0
    quarter = crotchet / 4
    middle = origin - round((origin - down - _ANSWER) / quarter) * quarter

    def price(start: float) -> float:
        places = (begins - start) / crotchet
        prices = np.full(len(places), _FAR)
        for parts, cost in reversed(_divisions(click)):
            near = np.abs(places * parts - np.round(places * parts)) < parts / 9
            prices[near] = cost
        late = (start - down - _ANSWER) / _ANSWER
        return float(prices.sum() + late**2 / 2)

    return min((middle + step * quarter for step in (-1, 0, 1)), key=price)


def _divisions(click: Click) -> Sequence[tuple[float, float]]:
    return _COMPOUND if click.metre.beat.numerator == 3 else _SIMPLE


def _lateness(
    since: Floats, crotchet: float, divisions: Sequence[tuple[float, float]]
) -> tuple[float, float]:
    """Return the misfit, and by how much the grid lies later than the first note.

    Args:
        since: Onsets in seconds after the first.
        crotchet: Seconds of a crotchet.
        divisions: Parts of a crotchet and what a note costs that needs them.

    Returns:
        The misfit of all notes together, and seconds.
    """
    trials = np.arange(-_LATEST, _LATEST + _STEP / 2, _STEP)
    places = (since[None, :] - trials[:, None]) / crotchet
    rows = [
        price
        + (np.abs(places * n - np.round(places * n)) / n * crotchet / _STRAY) ** 2 / 2
        for n, price in divisions
    ]
    cheapest = np.minimum(np.min(rows, axis=0), _FAR).sum(axis=1)
    # The first note strays like any other, so the grid lies near it.
    misfits = cheapest + (trials / _STRAY) ** 2 / 2
    best = int(np.lexsort((np.abs(trials), misfits))[0])
    return float(misfits[best]), float(trials[best])


def freely(begins: Floats, click: Click) -> tuple[HeardPulse, float]:
    """Return the likeliest pulse of a recording without a click.

    Most people hold a tempo well, even without one: where one and the same tempo fits
    all notes they are set to that, as if it had been clicked.

    Args:
        begins: Onsets in seconds, two at least.
        click: How they are counted.

    Returns:
        The pulse, and the seconds of its crotchet at the middle.
    """
    gaps = np.diff(begins)
    lengths, tempos = _read(gaps)
    places = np.concatenate([[0.0], np.cumsum(lengths) / 4]) - float(click.before)
    crotchet = float(np.median(_TEMPOS[tempos]))
    steady = _steady(begins - begins[0], crotchet, click)
    if steady is not None:
        return to_click(begins, steady, click), steady
    return HeardPulse(begins.astype(float), places), crotchet


def _steady(since: Floats, crotchet: float, click: Click) -> float | None:
    """Return the one crotchet near another that fits all notes; None if none does."""
    if len(since) < _FEWEST:
        return None
    trials = crotchet * (1 + np.arange(-_NEAR_TEMPO, _NEAR_TEMPO, _TEMPO_STEP))
    divisions = _divisions(click)
    misfits = [_lateness(since, trial, divisions)[0] for trial in trials]
    best = int(np.argmin(misfits))
    return float(trials[best]) if misfits[best] < _FITS * len(since) else None


def _read(gaps: Floats) -> tuple[Floats, Sequence[int]]:
    """Return the length of each gap in quarters, and the number of its tempo."""
    unit = _TEMPOS[:, None] / 4
    meant = unit * _LENGTHS[None, :]
    start = (np.log(_TEMPOS / _USUAL) / _WIDTH) ** 2 / 2 * (1 + len(gaps) / 3)
    steps = np.arange(len(_TEMPOS))
    bend = _BEND * (steps[:, None] - steps[None, :]) ** 2
    total, back, chosen = start, [], []
    for number, gap in enumerate(gaps):
        spread = np.hypot(_STRAY, _LOOSE * meant)
        cost = ((gap - meant) / spread) ** 2 / 2 + _PRICES + np.log(spread / _STRAY)
        chosen.append(_LENGTHS[np.argmin(cost, axis=1)])
        ways = total[:, None] + bend if number else np.where(bend == 0, total, np.inf)
        back.append(np.argmin(ways, axis=0))
        total = np.min(ways, axis=0) + np.min(cost, axis=1)
    tempo = int(np.argmin(total))
    tempos = []
    for row in reversed(back):
        tempos.append(tempo)
        tempo = int(row[tempo])
    tempos.reverse()
    picked = [float(row[tempo]) for row, tempo in zip(chosen, tempos, strict=True)]
    return np.array(picked), tempos
