"""One exact cheapest row of chords under the rules of the trade; marginal costs."""

from typing import NamedTuple

import numpy as np

from fitting.features_base import BAR_START, CHORD_NAMES, MEMBERS, Flags, Ints
from fitting.features_heard import Sight
from fitting.table import SIZE

NEVER, HARD, FIRM = 10**7, 10**6, 10**5
LATE_CHANGE = 5 * 10**4
NOWHERE, UNREACHED = 10**13, 10**12
TONICS = (CHORD_NAMES.index("I"), CHORD_NAMES.index("i"))
ALL = np.arange(SIZE)


class PathCosts(NamedTuple):
    """Costs of a tune.

    Attributes:
        unary: Costs [slot, chord].
        pair: Costs [slot, chord before, chord]; those of slot 0 mean nothing.
    """

    unary: Ints
    pair: Ints


def add_rules(costs: PathCosts, sight: Sight, palette: Flags) -> PathCosts:
    """Add the rules of the trade to the costs of a table.

    The last chord is the tonic if the tune ends on the keynote or its third (common
    practice). H05: a note that fills its slot is a chord note. H03: one chord under the
    last note of the tune.
    """
    unary = np.where(palette, costs.unary, costs.unary + NEVER)
    midi = sight.notes.midi
    end = int((midi[midi >= 0][-1] - sight.slots.tonic[-1]) % 12)
    if end in (0, 3, 4):
        unary[-1, ~np.isin(ALL, TONICS)] += HARD
    unary = np.where(outside_full_notes(sight), unary + FIRM, unary)
    late = sight.slots.start > sight.notes.onset[midi >= 0][-1]
    pair = costs.pair.copy()
    pair[late] += np.where(np.eye(SIZE, dtype=bool), 0, LATE_CHANGE)
    return PathCosts(unary, pair)


def outside_full_notes(sight: Sight) -> Flags:
    """Mark chords that lack the note that fills the slot (H05), [slot, chord]."""
    share = sight.heard.share
    full: Flags = (share.max(1) == 1)[:, None]
    return full & ~((share @ MEMBERS) > 0.99)


class Stage(NamedTuple):
    """Where the path stands after a slot.

    Attributes:
        cost: Cheapest cost of each state, [begun inside a bar, chord].
        chord: Chord before on that cheapest path.
        inside: Whether that chord was begun inside a bar.
    """

    cost: Ints
    chord: Ints
    inside: Ints


def cheapest_row(costs: PathCosts, place: Ints, syncopation: int) -> Ints:
    """Return the cheapest row of chords.

    Args:
        costs: Costs of the tune, rules included.
        place: Place of each slot.
        syncopation: Cost of holding over a bar line a chord begun inside a bar (H07).
    """
    nothing = np.zeros((2, SIZE), np.int64)
    first = np.full((2, SIZE), UNREACHED, np.int64)
    first[0] = costs.unary[0]
    stages = [Stage(first, nothing, nothing)]
    for k in range(1, len(costs.unary)):
        at_bar = place[k] == BAR_START
        stage = hold(stages[-1].cost, costs.pair[k], syncopation if at_bar else None)
        stage = change(stage, stages[-1].cost, costs.pair[k], into=0 if at_bar else 1)
        stages.append(stage._replace(cost=stage.cost + costs.unary[k]))
    return trace(stages)


def hold(cost: Ints, pair: Ints, syncopation: int | None) -> Stage:
    """Hold every chord; over a bar line (`syncopation` given) all states become 0."""
    held = cost + pair[ALL, ALL]
    chord, inside = np.stack((ALL, ALL)), np.zeros((2, SIZE), np.int64)
    if syncopation is None:
        inside[1] = 1
        return Stage(held, chord, inside)
    tied = held[1] + syncopation
    inside[0] = tied < held[0]
    nowhere = np.full(SIZE, NOWHERE, np.int64)
    return Stage(np.stack((np.minimum(held[0], tied), nowhere)), chord, inside)


def change(stage: Stage, cost: Ints, pair: Ints, *, into: int) -> Stage:
    """Change to each chord where that is cheaper than to hold it."""
    steps = cost.min(0)[:, None] + pair
    steps[ALL, ALL] = NOWHERE
    source = steps.argmin(0)
    price = steps[source, ALL]
    better = price < stage.cost[into]
    new = Stage(*(part.copy() for part in stage))
    new.cost[into, better] = price[better]
    new.chord[into, better] = source[better]
    new.inside[into, better] = cost.argmin(0)[source[better]]
    return new


def trace(stages: list[Stage]) -> Ints:
    """Follow the path back from the cheapest end."""
    inside, chord = divmod(int(stages[-1].cost.argmin()), SIZE)
    path = [chord]
    for stage in reversed(stages[1:]):
        before = int(stage.chord[inside, chord])
        inside, chord = int(stage.inside[inside, chord]), before
        path.append(chord)
    return np.array(path[::-1])


def marginal_costs(costs: PathCosts) -> Ints:
    """Return the cost of the cheapest row through each chord of each slot (no H07)."""
    unary, pair = costs
    ahead, back = unary.copy(), np.zeros_like(unary)
    for k in range(1, len(unary)):
        ahead[k] += (ahead[k - 1][:, None] + pair[k]).min(0)
    for k in range(len(unary) - 2, -1, -1):
        back[k] = (pair[k + 1] + (unary[k + 1] + back[k + 1])[None]).min(1)
    return ahead + back
