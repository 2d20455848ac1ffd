"""Where the beats lie: to a click.

The length of a beat is known, and what is left to find is how late the whole comes:
singers answer the click, and computers need time of their own. Where nobody gave a beat
it is looked for (`free_pulse.py`), and then the notes are set to it in the same way.
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
    _, late = lateness(begins - first, crotchet, divisions(click))
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
        for parts, cost in reversed(divisions(click)):
            near = np.abs(places * parts - np.round(places * parts)) < parts / 9
            prices[near] = cost
        late = (start - down - _ANSWER) / _ANSWER
        return float(prices.sum() + late**2 / 2)

    return min((middle + step * quarter for step in (-1, 0, 1)), key=price)


def divisions(click: Click) -> Sequence[tuple[float, float]]:
    """Return parts of a crotchet, and what a note costs that needs them."""
    return _COMPOUND if click.metre.beat.numerator == 3 else _SIMPLE


def lateness(
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
