"""From one four-part chord to the next: what every step costs.

Broken hard rules cost `NEVER` each; the rest is taste.
"""

import numpy as np

from harmonise.choice.costs import NEVER
from harmonise.choice.parts.rules import (
    BASS,
    HARD,
    LOWER,
    SOPRANO,
    Costs,
    Flags,
    Step,
    contrary_close,
    each,
    frustrated,
    step_between,
    unled,
)
from harmonise.choice.parts.voicings import Voicings
from harmonise.choice.parts.weights import BASS_LEAPS, INNER_LEAPS, PartWeights


def leading_costs(before: Voicings, here: Voicings, weights: PartWeights) -> Costs:
    """Return, shape (R, S), what every step costs wherever it stands in the bar."""
    step = step_between(before, here)
    cost = np.zeros(step.same.shape, np.int32)
    for rule in HARD.values():
        cost += NEVER * rule(step).astype(np.int32)
    cost += _melodies(step)
    cost += _outer(step, weights)
    cost += weights.on_beats * _covered(step).astype(np.int32)
    cost += weights.contrary_close * contrary_close(step).astype(np.int32)
    cost += weights.frustrated * frustrated(step).astype(np.int32)
    cost += weights.soprano_leading * unled(step, (SOPRANO,)).astype(np.int32)
    cost += weights.cross * _cross(step).astype(np.int32)
    return cost + _smooth_bass(step, weights)


def _melodies(step: Step) -> Costs:
    """Return what the leaps of the three lower voices cost."""
    cost = np.zeros(step.same.shape, np.int32)
    for voice in LOWER:
        prices = np.array(BASS_LEAPS if voice == BASS else INNER_LEAPS, np.int32)
        cost += prices[np.minimum(np.abs(step.rise[voice]), len(prices) - 1)]
    return cost


def _outer(step: Step, weights: PartWeights) -> Costs:
    """Return what similar and contrary motion of the outer voices cost."""
    sign = np.sign(step.rise[SOPRANO]) * np.sign(step.rise[BASS])
    similar = np.where(sign > 0, weights.similar, 0)
    return (similar + np.where(sign < 0, weights.contrary, 0)).astype(np.int32)


def _covered(step: Step) -> Flags:
    """Return where a passing note of the tune covers parallels from beat to beat."""
    found = np.zeros(step.same.shape, np.bool_)
    entry = step.before.notes[:, SOPRANO][:, None]
    if step.before.leave == step.before.notes[0, SOPRANO]:
        return found
    for lower in LOWER:
        was = (entry - step.old[lower]) % 12
        now = (step.new[SOPRANO] - step.new[lower]) % 12
        perfect = (was == now) & ((now == 0) | (now == 7))
        rise = np.sign(step.new[SOPRANO] - entry) * step.rise[lower]
        found |= perfect & (rise > 0)
    return found


def _cross(step: Step) -> Flags:
    """Return where a letter returns in another voice with another sign."""
    found = np.zeros(step.same.shape, np.bool_)
    old, new = step.before.steps.T[:, :, None] % 7, step.here.steps.T[:, None, :] % 7
    for before in range(4):
        for here in range(4):
            if here != before:
                letter = old[before] == new[here]
                found |= letter & ((step.new[here] - step.old[before]) % 12 != 0)
    kept = np.zeros(step.same.shape, np.bool_)
    for voice in range(4):
        kept |= (old[voice] == new[voice]) & (np.abs(step.rise[voice]) == 1)
    return found & ~kept


def _smooth_bass(step: Step, weights: PartWeights) -> Costs:
    """Return the gain of a bass that steps into or out of an inversion."""
    before, here = each(step.before, step.here, "inversion")
    steps = (np.abs(step.rise[BASS]) == 1) | (np.abs(step.rise[BASS]) == 2)
    turned = (before > 0).astype(np.int32) + (here > 0)
    gain: Costs = (weights.smooth_bass * steps * turned).astype(np.int32)
    return gain


FALLS, LEVEL, RISES, BAR_LINE, CLOSES = range(5)
"""How metric weight goes on: to a weaker beat, not at all, to a stronger one, over the
bar line; or to a weaker beat at the close of a line."""


def metric_costs(
    before: Voicings, here: Voicings, weight: int, weights: PartWeights
) -> Costs:
    """Return, shape (R, S), what a step costs by its place in the bar.

    Args:
        before: Voicings of the slot before.
        here: Voicings of this slot.
        weight: `FALLS`, `LEVEL`, `RISES`, `BAR_LINE` or `CLOSES`.
        weights: The tastes.
    """
    step = step_between(before, here)
    cost = _six_fours(step, weight, weights)
    if weight in (RISES, BAR_LINE):
        family = each(before, here, "family")
        stays = family[0] == family[1]
        shifted = np.where(step.same, weights.syncopation, weights.shifted)
        if weight == RISES:
            shifted = shifted // 2
        cost += np.where(stays, shifted, 0).astype(np.int32)
        if weight == BAR_LINE:
            stale = ~stays & (step.rise[BASS] == 0)
            cost += np.where(stale, weights.stale_bass, 0).astype(np.int32)
    return cost


def _six_fours(step: Step, weight: int, weights: PartWeights) -> Costs:
    """Return what chords on their fifth cost: the cadential one gains, loose ones pay.

    A chord on its fifth is entered and left by a bass that steps or stays (a passing or
    pedal chord), or inside the same harmony. The tonic 6/4 may be leapt to on a beat no
    weaker than the one before; over a held bass it goes on to V at the close of a line.
    """
    was, now = each(step.before, step.here, "six_four")
    families = each(step.before, step.here, "family")
    bass = np.abs(step.rise[BASS])
    near = (bass <= 2) | (families[0] == families[1])
    tonic_was, tonic_now = each(step.before, step.here, "tonic")
    dominant = each(step.before, step.here, "dominant")[1]
    closes = was & tonic_was & dominant & (bass == 0) & (weight == CLOSES)
    loose = was & (~near | (tonic_was & (bass == 0) & ~closes))
    loose |= now & ~near & (~tonic_now | (weight in (FALLS, CLOSES)))
    cost = np.where(loose, weights.loose_six_four, 0)
    return (cost + np.where(closes, weights.cadential, 0)).astype(np.int32)
