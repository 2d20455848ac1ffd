"""Where the beats lie that nobody gave: found from the notes alone.

Every tempo is tried at which a tune may be sung, in beats of two halves and in beats of
three thirds: each note is set to the nearest place of that grid, and what it strays,
how rare its place and how rare its length is are the price of the reading. Most people
hold a tempo well even without a click, so the cheapest one is kept where it fits all
notes. Where none does, the tempo may bend a little from note to note: then the cheapest
path over lengths and tempos is found. A tune read at half or double its tempo stays
right in proportion, which is why it is asked about.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from harmonise.notation.recording.click import Click
from harmonise.notation.recording.contour import Floats
from harmonise.notation.recording.pulse import HeardPulse, divisions, lateness, to_click

_LENGTHS = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 18, 20, 22, 24, 28, 32])
"""Quarters of a crotchet from one note to the next."""
_RARE = 8.0
"""Price of a length that no tune has."""
_STRAY = 0.035
"""Seconds by which onsets stray from the grid of a free singer, as they are heard."""
_FAR = 4.0
_STARTS = np.arange(-0.06, 0.061, 0.02)
"""Seconds by which the grid may lie later than the first note."""
_LISTENED = 64
"""So many onsets choose the tempo; whether it fits, all of them say."""
_FINEST, _LAST = 0.0005, 0.02
"""Step of the tempos tried, as a part, and by how many seconds it moves the last."""
_USUAL_SPREAD = 0.4
"""Spread of the logarithm of the tempo of songs."""
_NEAR, _STEP = 0.02, 0.0005
"""Part of a crotchet to each side in which a steady one is sought, and the step."""
_FEWEST = 8
_SURELY_FITS, _FITS = 0.65, 0.9
"""Misfit a note up to which a tempo is a steady one, and may be."""
_MOVES, _HALF_NEAR, _HALF_STEP = 0.2, 0.08, 0.002
"""What each note gains if both halves have a tempo of their own, where it moves; and
how far from the other tempo these are sought."""

_TEMPOS = np.exp(np.linspace(np.log(0.25), np.log(1.3), 80))
"""Seconds of a crotchet between which a tempo may bend."""
_LOOSE = 0.03
"""Part of a note's length by which free singing strays beside `_STRAY`."""
_BEND = 0.5
"""Price of one step of the tempo between two notes, squared."""
_BENT_SPREAD = 0.3


class BeatKind(NamedTuple):
    """How beats divide, and what tunes with such beats are like.

    Attributes:
        beat: Quarters of a crotchet in a beat.
        usual: Seconds of a crotchet in most songs.
        between: The shortest and the longest that is tried.
        off: Price of a place between the beats, and of a quarter among them.
        prices: Of each of `_LENGTHS`: the logarithm of how rare it is in 267 old
            tunes of music21's corpus, counted from one change of pitch to the next.
    """

    beat: int
    usual: float
    between: tuple[float, float]
    off: tuple[float, float]
    prices: Floats


SIMPLE = BeatKind(4, 0.62, (0.3, 1.3), (0.2, 0.6), np.array([
    2.1, 0.9, 3.2, 1.4, 5.2, 2.8, 6.9, 2.6, 6.7, 4.5, 3.9, 6.0, 4.5, 7.0, 6.0, 7.0,
    6.0, 7.0, 6.0,
]))  # fmt: skip
COMPOUND = BeatKind(6, 0.42, (0.22, 0.8), (0.3, 0.8), np.array([
    2.0, 0.8, 2.9, 1.7, 4.6, 2.4, 6.0, 3.5, 6.0, 4.2, 5.1, 6.6, 6.0, 6.0, 6.0, 6.0,
    6.0, 7.0, 7.0,
]))  # fmt: skip


class _Steady(NamedTuple):
    """The cheapest reading at one tempo."""

    price: float
    crotchet: float


def freely(begins: Floats, click: Click) -> tuple[HeardPulse, float]:
    """Return the likeliest pulse of a recording without a click.

    Args:
        begins: Onsets in seconds, two at least.
        click: How they are counted.

    Returns:
        The pulse, and the seconds of its crotchet at the middle.
    """
    kind = COMPOUND if click.is_compound else SIMPLE
    crotchet = _steady_tempo(begins, kind, float(click.before)).crotchet
    steady = _fitting(begins - begins[0], crotchet, click)
    if steady is not None:
        return to_click(begins, steady, click), steady
    lengths, tempos = _bent(np.diff(begins), kind)
    places = np.concatenate([[0.0], np.cumsum(lengths) / 4]) - float(click.before)
    return HeardPulse(begins.astype(float), places), float(np.median(_TEMPOS[tempos]))


def gain_of_thirds(begins: Floats) -> float:
    """Return by how much beats of three thirds fit onsets better than halves do."""
    simple, compound = (_steady_tempo(begins, kind, 0.0) for kind in (SIMPLE, COMPOUND))
    return simple.price - compound.price


def _steady_tempo(begins: Floats, kind: BeatKind, before: float) -> _Steady:
    """Return the cheapest reading at one tempo.

    Args:
        begins: Onsets in seconds, two at least.
        kind: How beats divide.
        before: Crotchets of the pickup.
    """
    since = begins[:_LISTENED] - begins[0]
    step = max(min(_LAST / max(float(since[-1]), 1.0), 0.01), _FINEST)
    low, high = kind.between
    crotchets = np.exp(np.arange(np.log(low), np.log(high), step))
    far = np.log(crotchets / kind.usual) / _USUAL_SPREAD
    usual = far**2 / 2 * (1 + len(since) / 6)
    best = _Steady(np.inf, kind.usual)
    for start in _STARTS:
        own = (start / _STRAY) ** 2 / 2
        prices = usual + own + _prices(since - start, crotchets, kind, before)
        least = int(np.argmin(prices))
        best = min(best, _Steady(float(prices[least]), float(crotchets[least])))
    return best


def _prices(since: Floats, crotchets: Floats, kind: BeatKind, before: float) -> Floats:
    """Return what onsets cost at each of some tempos, all together."""
    quarter = crotchets[:, None] / 4
    places = since[None, :] / quarter
    fine, of_fine = _set_to(1, places, quarter, kind, before)
    halves, of_halves = _set_to(2, places, quarter, kind, before)
    plain = of_halves <= of_fine
    gaps = np.diff(np.where(plain, halves, fine), axis=1)
    table = np.full(_LENGTHS[-1] + 2, _RARE)
    table[_LENGTHS] = kind.prices
    lengths = table[np.clip(gaps, 0, len(table) - 1).astype(int)].sum(axis=1)
    total: Floats = np.where(plain, of_halves, of_fine).sum(axis=1) + lengths
    return total


def _set_to(
    part: int, places: Floats, quarter: Floats, kind: BeatKind, before: float
) -> tuple[Floats, Floats]:
    """Return places set to whole parts of so many quarters, and the price of each."""
    whole = np.round(places / part) * part
    strays = np.minimum(((places - whole) * quarter / _STRAY) ** 2 / 2, _FAR)
    of_beat = (whole - round(4 * before)) % kind.beat
    between, odd = kind.off
    return whole, strays + np.where(
        of_beat % 2 != 0, odd, np.where(of_beat != 0, between, 0.0)
    )


def _fitting(since: Floats, crotchet: float, click: Click) -> float | None:
    """Return the one crotchet near another that fits all notes; None if none does."""
    if len(since) < _FEWEST:
        return None
    misfit, best = _nearest_tempo(since, crotchet, click, (_NEAR, _STEP))
    if misfit >= _FITS * len(since):
        return None
    half = len(since) // 2
    halves = sum(
        _nearest_tempo(part - part[0], best, click, (_HALF_NEAR, _HALF_STEP))[0]
        for part in (since[:half], since[half:])
    )
    moves = misfit - halves > _MOVES * len(since)
    return None if moves and misfit >= _SURELY_FITS * len(since) else best


def _nearest_tempo(
    since: Floats, crotchet: float, click: Click, near: tuple[float, float]
) -> tuple[float, float]:
    """Return the misfit, and the crotchet near another that fits onsets best.

    Args:
        since: Onsets in seconds after the first.
        crotchet: Seconds.
        click: How they are counted.
        near: Part of the crotchet to each side that is tried, and the step.
    """
    trials = crotchet * (1 + np.arange(-near[0], near[0], near[1]))
    parts = divisions(click)
    misfits = [lateness(since, trial, parts)[0] for trial in trials]
    best = int(np.argmin(misfits))
    return float(misfits[best]), float(trials[best])


def _bent(gaps: Floats, kind: BeatKind) -> tuple[Floats, Sequence[int]]:
    """Return the length of each gap in quarters, and the number of its tempo."""
    meant = _TEMPOS[:, None] / 4 * _LENGTHS[None, :]
    far = np.log(_TEMPOS / kind.usual) / _BENT_SPREAD
    total = far**2 / 2 * (1 + len(gaps) / 3)
    steps = np.arange(len(_TEMPOS))
    bend = _BEND * (steps[:, None] - steps[None, :]) ** 2
    back, chosen = [], []
    spread = np.hypot(_STRAY, _LOOSE * meant)
    price = kind.prices + np.log(spread / _STRAY)
    for number, gap in enumerate(gaps):
        cost = ((gap - meant) / spread) ** 2 / 2 + price
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
