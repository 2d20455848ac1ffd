"""From one four-part chord to the next: what each step costs.

Broken hard rules (`laws`) cost `NEVER` each; the rest is taste, weighed in
`PartWeights`. All tastes are common practice of four-part writing.
"""

from collections.abc import Callable
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.costs import NEVER
from harmonise.choice.parts.laws import (
    BAR_LINE,
    BASS,
    CLOSES,
    FALLS,
    HARD,
    LOWER,
    RISES,
    SOPRANO,
    Flags,
    Join,
    PartStep,
    any_of,
    contrary_close,
    each,
    frustrated,
    step_between,
    unled,
)
from harmonise.choice.parts.voicings import Voicings
from harmonise.choice.weights import BASS_LEAPS, INNER_LEAPS, PartWeights

Costs = NDArray[np.int32]


def _covered(step: PartStep) -> Flags:
    """Return where a passing note of the tune covers parallels from beat to beat."""
    entry = step.before.notes[:, SOPRANO][:, None]
    moves = step.before.leave != entry[0, 0]
    rise = np.sign(step.new[SOPRANO] - entry)
    parallels = []
    for lower in LOWER:
        was = (entry - step.old[lower]) % 12
        now = (step.new[SOPRANO] - step.new[lower]) % 12
        perfect = (was == now) & ((now == 0) | (now == 7))
        parallels.append(perfect & (rise * step.rise[lower] > 0))
    covered: Flags = any_of(parallels) & moves
    return covered


def _cross(step: PartStep) -> Flags:
    """Return where a letter returns in another voice with another sign."""
    old, new = step.before.steps.T[:, :, None] % 7, step.here.steps.T[:, None, :] % 7
    crosses = any_of(
        (old[a] == new[b]) & ((step.new[b] - step.old[a]) % 12 != 0)
        for a, b in permutations(range(4), 2)
    )
    # Where one voice makes the chromatic step itself, the ear follows that voice.
    kept = any_of((old[v] == new[v]) & (np.abs(step.rise[v]) == 1) for v in range(4))
    return crosses & ~kept


def _astray(step: PartStep) -> Flags:
    """Return where a chord that is bound to another goes elsewhere inside a line."""
    leads = step.before.facts.leads[step.before.form]
    stands = step.here.facts.stands[step.here.form]
    bound: Flags = ~leads[:, stands] & ~_rises_a_step(step)
    return bound & (not step.join.opens)


def _rises_a_step(step: PartStep) -> Flags:
    """Return where a secondary dominant goes up a step, as V does to vi."""
    applied = step.before.facts.applied[step.before.form][:, None]
    root = step.before.facts.root[step.before.form][:, None]
    rise = (step.here.facts.stands[step.here.form] - root) % 12
    found: Flags = applied & ((rise == 1) | (rise == 2))
    return found


def _weak_close(step: PartStep) -> Flags:
    """Return where a line closes on I otherwise than from V in root position."""
    weak = each(step.before, step.here, "weak")[0]
    tonic = each(step.before, step.here, "tonic")[1]
    found: Flags = weak & tonic & step.join.closes
    return found


def _odd_end(step: PartStep) -> Flags:
    """Return where a line ends on such a chord as ii, without its own dominant."""
    odd = each(step.before, step.here, "odd")[1]
    applied = each(step.before, step.here, "applied")[0]
    roots = each(step.before, step.here, "root")
    brought = applied & ((roots[1] - roots[0]) % 12 == 5)
    found: Flags = odd & ~brought & step.join.closes
    return found


def _leapt_bass(step: PartStep) -> Flags:
    """Return where the bass leaps to the seventh of a new chord.

    The bass of a 4/2 comes by step or is there already (common practice).
    """
    turned = each(step.before, step.here, "inversion")[1] == 3
    roots = each(step.before, step.here, "root")
    found: Flags = turned & (roots[0] != roots[1]) & (np.abs(step.rise[BASS]) > 2)
    return found


TASTES: dict[str, Callable[[PartStep], Flags]] = {
    "similar": lambda s: np.sign(s.rise[SOPRANO]) * np.sign(s.rise[BASS]) > 0,
    "contrary": lambda s: np.sign(s.rise[SOPRANO]) * np.sign(s.rise[BASS]) < 0,
    "on_beats": _covered,
    "contrary_close": contrary_close,
    "frustrated": frustrated,
    "soprano_leading": unled,
    "left_open": lambda s: unled(s, LOWER) & s.join.opens,
    "cross": _cross,
    "astray": _astray,
    "deceived": _rises_a_step,
    "weak_close": _weak_close,
    "odd_end": _odd_end,
    "leapt_bass": _leapt_bass,
}
"""What costs by taste, by the name of its weight."""


def leading_costs(
    before: Voicings, here: Voicings, join: Join, weights: PartWeights
) -> Costs:
    """Return, shape (R, S), what every step costs.

    Args:
        before: Voicings of the slot before.
        here: Voicings of this slot.
        join: Where the step stands.
        weights: The tastes.
    """
    step = step_between(before, here, join)
    cost = np.zeros(step.same.shape, np.int32)
    for rule in HARD.values():
        cost += np.int32(NEVER) * rule(step)
    for name, taste in TASTES.items():
        cost += np.int32(getattr(weights, name)) * taste(step)
    # Each lower voice pays for its leaps: the bass little for fourths and fifths, the
    # others next to nothing for a common tone or a step.
    for voice in LOWER:
        prices = np.array(BASS_LEAPS if voice == BASS else INNER_LEAPS, np.int32)
        cost += prices[np.minimum(np.abs(step.rise[voice]), len(prices) - 1)]
    # Inversions are there for a bass that steps: into one, out of one, or both.
    was, now = each(before, here, "inversion")
    steps = (np.abs(step.rise[BASS]) == 1) | (np.abs(step.rise[BASS]) == 2)
    turned = (was > 0).astype(np.int32) + (now > 0)
    cost += np.int32(weights.smooth_bass) * steps * turned
    if join.tied:
        # Nobody moves to sing the same chord again while the tune holds its note.
        roots = each(before, here, "root")
        moved = sum((step.rise[voice] != 0).astype(np.int32) for voice in LOWER)
        cost += np.int32(weights.restless) * moved * (roots[0] == roots[1])
    return cost + _six_fours(step, weights) + _syncopations(step, weights)


def _syncopations(step: PartStep, weights: PartWeights) -> Costs:
    """Return what a chord costs that goes on from a weaker to a stronger beat."""
    cost = np.zeros(step.same.shape, np.int32)
    weight = step.join.weight
    if weight not in (RISES, BAR_LINE):
        return cost
    family = each(step.before, step.here, "family")
    stays = family[0] == family[1]
    shifted = np.where(step.same, weights.syncopation, weights.shifted)
    if weight == RISES:
        shifted = shifted // 2
    cost += np.where(stays, shifted, 0).astype(np.int32)
    if weight == BAR_LINE:
        stale = ~stays & (step.rise[BASS] == 0)
        cost += np.where(stale, weights.stale_bass, 0).astype(np.int32)
    return cost


def _six_fours(step: PartStep, weights: PartWeights) -> Costs:
    """Return what chords on their fifth cost: the cadential one gains, loose ones pay.

    A chord on its fifth is entered by a bass that steps or stays, or inside the same
    harmony, and left by a bass that steps or stays (a passing or pedal chord). The
    tonic 6/4 may be leapt to on a beat no weaker than the one before, and stands only
    before V over the same bass, at the close of a line. No line begins with one.
    """
    weight = step.join.weight
    was, now = (member == 2 for member in each(step.before, step.here, "inversion"))
    families = each(step.before, step.here, "family")
    bass = np.abs(step.rise[BASS])
    enters = (bass <= 2) | (families[0] == families[1])
    tonic_was, tonic_now = each(step.before, step.here, "tonic")
    dominant = each(step.before, step.here, "dominant")[1]
    closes = was & tonic_was & dominant & (bass == 0) & (weight == CLOSES)
    loose = was & np.where(tonic_was, ~closes, bass > 2)
    loose |= now & ~enters & (~tonic_now | (weight in (FALLS, CLOSES)))
    loose |= now & step.join.opens
    cost = np.where(loose, weights.loose_six_four, 0)
    return (cost + np.where(closes, weights.cadential, 0)).astype(np.int32)
