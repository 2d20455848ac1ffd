"""The chain that is fitted: many tunes side by side, chances and their gradient.

The chance of a row of chords falls off exponentially with its cost. Here everything is
a *gain*, the negative of a cost in units of 1,000 milli-costs.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fitting.facts import Facts, facts
from fitting.fit_tunes import Example
from fitting.layout import layout
from fitting.palettes import choose_palette, permitted
from harmonise.choice.fitted.chord_facts import EDGE_NAMES, FIT_NAMES
from harmonise.choice.fitted.table import TWINS, CostTable
from harmonise.choice.fitted.words import SIZE, Flags, Floats, Ints, Sight, look

ALL = np.arange(SIZE)
# The palettes among which the human's chords are to win: every chord (0), and those of
# the levels 3 and 1.
AIMS = (0, 3, 1)
# Single precision halves the time of a fit; the table is rounded far more coarsely.
Singles = NDArray[np.float32]


class Batch(NamedTuple):
    """All tunes side by side: first the first slots of all, then the second, and so on.

    The longest tune comes first, so that the tunes that still go on lead each group.

    Attributes:
        x: Facts of the tune, [row, fact].
        fits: Facts of fit, [fact, row, chord].
        edge: Facts of the boundary before each slot, [row, fact].
        allowed: Whether a chord may be chosen, [row, aim of `AIMS`, chord].
        label: The human's chord of each row, or -1.
        length: Length of each slot as a share of the longest of its tune.
        active: Number of tunes that have a first, second, ... slot.
        offset: First row of the first, second, ... slots, and the number of rows.
        previous: Row of the slot before, for all rows but those of first slots.
    """

    x: Singles
    fits: Singles
    edge: Singles
    allowed: Flags
    label: Ints
    length: Floats
    active: Ints
    offset: Ints
    previous: Ints


def pooled(rows: Floats, twin: Ints) -> Floats:
    """Mix rows of facts with the mean over identical bars, as `table.py` does."""
    _, group = np.unique(twin, return_inverse=True)
    total = np.zeros((group.max() + 1, *rows.shape[1:]))
    np.add.at(total, group, rows)
    mean = total / np.bincount(group).reshape(-1, *[1] * (rows.ndim - 1))
    return (1.0 - TWINS) * rows + TWINS * mean[group]


def mixed(seen: Facts) -> tuple[Singles, Singles, Singles]:
    """Return facts of the tune, of fit (slot first) and of boundaries, mixed."""
    x, fits = pooled(seen.x, seen.twin), pooled(seen.fits.swapaxes(0, 1), seen.twin)
    return x.astype(np.float32), fits.astype(np.float32), seen.edge.astype(np.float32)


def allow(sight: Sight) -> Flags:
    """Mark what may be chosen under each of the aims, [slot, aim, chord]."""
    every = np.ones((len(sight.slots.start), SIZE), bool)
    return np.stack(
        [
            permitted(sight, choose_palette(sight, level)) if level else every
            for level in AIMS
        ],
        axis=1,
    )


def side_by_side(parts: list[NDArray[Any]], rows: Ints) -> NDArray[Any]:
    """Join the rows of the tunes and put each where the batch has it."""
    joined = np.concatenate(parts)
    out = np.empty_like(joined)
    out[rows] = joined
    return out


def pack(examples: list[Example]) -> Batch:
    """Lay the tunes side by side."""
    tunes = sorted(examples, key=lambda tune: -len(tune.label))
    counts = np.array([len(t.label) for t in tunes])
    active = np.array([int((counts > k).sum()) for k in range(counts[0])])
    offset = np.r_[0, np.cumsum(active)]
    rows = np.concatenate([offset[:n] + k for k, n in enumerate(counts)])
    sights = [look(t.slots, t.notes) for t in tunes]
    seen = [mixed(facts(sight, ALL)) for sight in sights]
    lengths = [t.slots.length / t.slots.length.max() for t in tunes]
    before = [offset[k - 1] + np.arange(active[k]) for k in range(1, len(active))]
    none = np.zeros(0, np.int64)
    return Batch(
        x=side_by_side([part[0] for part in seen], rows),
        fits=side_by_side([part[1] for part in seen], rows).transpose(1, 0, 2).copy(),
        edge=side_by_side([part[2] for part in seen], rows),
        allowed=side_by_side([allow(sight) for sight in sights], rows),
        label=side_by_side([t.label for t in tunes], rows),
        length=side_by_side(lengths, rows),
        active=active,
        offset=offset,
        previous=np.concatenate((none, *before)),
    )


class Chances(NamedTuple):
    """What the chain says of a batch.

    Attributes:
        total: Log of the sum of the weights of all rows of chords.
        chord: Chance of each chord, [row, chord].
        step: Chance of each step, [row but those of first slots, chord, next chord].
    """

    total: float
    chord: Singles
    step: Singles


def chances(batch: Batch, unary: Singles, step: Singles) -> Chances:
    """Go forwards and backwards through the chain.

    Args:
        batch: The tunes.
        unary: Log weight of each chord, [row, chord].
        step: Weight of each step from the slot before, [row, chord, next chord].
    """
    peak = unary.max(1, keepdims=True)
    weight = np.exp(unary - peak)
    ahead, scale = go_forwards(batch, weight, step)
    back = go_backwards(batch, weight, scale, step)
    first = batch.active[0]
    after = (back * weight / scale[:, None])[first:]
    steps = step[first:] * ahead[batch.previous][:, :, None] * after[:, None, :]
    total = float((np.log(scale.astype(float)) + peak[:, 0]).sum())
    return Chances(total, ahead * back, steps)


def go_forwards(
    batch: Batch, weight: Singles, step: Singles
) -> tuple[Singles, Singles]:
    """Return each chord's chance given all before it, and the scale of each row."""
    ahead, scale = np.empty_like(weight), np.ones(len(weight), np.float32)
    for k, n in enumerate(batch.active):
        here = slice(batch.offset[k], batch.offset[k] + n)
        value = weight[here]
        if k:
            there = batch.offset[k - 1]
            before = ahead[there : there + n, None]
            value = np.matmul(before, step[here])[:, 0] * value
        scale[here] = value.sum(1)
        ahead[here] = value / scale[here, None]
    return ahead, scale


def go_backwards(
    batch: Batch, weight: Singles, scale: Singles, step: Singles
) -> Singles:
    """Return the weight of all that comes after each chord."""
    back = np.ones_like(weight)
    for k in range(len(batch.active) - 1, 0, -1):
        here, there = slice(batch.offset[k], batch.offset[k + 1]), batch.offset[k - 1]
        value = (back[here] * weight[here] / scale[here, None])[:, :, None]
        back[there : there + batch.active[k]] = np.matmul(step[here], value)[:, :, 0]
    return back


def potentials(batch: Batch, table: CostTable) -> tuple[Singles, Singles]:
    """Return log weights of chords and weights of steps; the table holds gains."""
    fits = np.tensordot(table.fits.astype(np.float32), batch.fits, 1)
    unary = batch.x @ table.x.astype(np.float32) + fits
    cells = table.edge.reshape(len(EDGE_NAMES), -1).astype(np.float32)
    return unary, np.exp(batch.edge @ cells).reshape(-1, SIZE, SIZE)


def collect(batch: Batch, unary: Singles, steps: Singles) -> Floats:
    """Turn differences of chances into a gradient by row of the table."""
    size = layout().size
    out = np.zeros(size + 1)
    of_x = (batch.x.T @ unary).ravel()
    of_edge = batch.edge[batch.active[0] :].T @ steps.reshape(-1, SIZE * SIZE)
    for cells, grad in ((layout().x, of_x), (layout().edge, of_edge.ravel())):
        for cell in cells:
            row = np.where(cell < 0, size, cell).ravel()
            out += np.bincount(row, grad, size + 1)
    of_fits = np.tensordot(batch.fits, unary, ((1, 2), (0, 1)))
    out[layout().fits : layout().fits + len(FIT_NAMES)] += of_fits
    return out[:size]
