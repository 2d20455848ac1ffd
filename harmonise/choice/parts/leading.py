"""From one four-part chord to the next: what is forbidden, and what a step costs.

Each hard rule is one function from two slots' voicings to a table of faults, [before,
here]; the registry `HARD` names them for the remarks. All are common practice of
four-part writing. The soprano is the tune, so of its own steps only that of a seventh
is judged. Broken hard rules cost `NEVER` each; the rest is taste.
"""

from collections.abc import Callable, Iterable
from itertools import combinations, pairwise, permutations
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.costs import NEVER
from harmonise.choice.parts.forms import NONE
from harmonise.choice.parts.voicings import Voicings
from harmonise.choice.weights import BASS_LEAPS, INNER_LEAPS, PartWeights

Flags = NDArray[np.bool_]
Costs = NDArray[np.int32]
Facts = NDArray[Any]
SOPRANO, ALTO, TENOR, BASS = range(4)
LOWER = (ALTO, TENOR, BASS)
OUTER = (SOPRANO, BASS)
PAIRS = tuple(combinations(range(4), 2))


class PartStep(NamedTuple):
    """Two slots in a row; row r is the voicing before, column s the one here.

    Attributes:
        before: Voicings of the slot before.
        here: Voicings of this slot.
        old: Shape (4, R, 1): notes at the end of the slot before.
        new: Shape (4, 1, S): notes at the start of this one.
        rise: Semitones that each voice moves, each of shape (R, S).
        same: Shape (R, S): whether the chord stays, its bass member too.
    """

    before: Voicings
    here: Voicings
    old: NDArray[np.int16]
    new: NDArray[np.int16]
    rise: list[NDArray[np.int16]]
    same: Flags


def step_between(before: Voicings, here: Voicings) -> PartStep:
    """Return two slots' voicings side by side."""
    # The tune has moved inside the slot, the other voices not: from its last note the
    # step is taken.
    leave = before.notes.copy()
    leave[:, SOPRANO] = before.leave
    old, new = leave.T[:, :, None], here.notes.T[:, None, :]
    rise = [new[v] - old[v] for v in range(4)]
    family = each(before, here, "family")
    same = (family[0] == family[1]) & (new[BASS] % 12 == old[BASS] % 12)
    return PartStep(before, here, old, new, rise, same)


def each(before: Voicings, here: Voicings, fact: str) -> tuple[Facts, Facts]:
    """Return a fact of the forms for every voicing: a column and a row."""
    old = getattr(before.facts, fact)[before.form]
    new = getattr(here.facts, fact)[here.form]
    return old[:, None], new[None, :]


def _any(flags: Iterable[Flags]) -> Flags:
    """Return where one of several things holds."""
    found: Flags = np.logical_or.reduce(list(flags))
    return found


def _consecutive(step: PartStep, pair: tuple[int, int], interval: int) -> Flags:
    upper, lower = pair
    was = (step.old[upper] - step.old[lower]) % 12 == interval
    now = (step.new[upper] - step.new[lower]) % 12 == interval
    found: Flags = was & now & (step.rise[upper] != 0) & (step.rise[lower] != 0)
    return found


def consecutive_fifths(step: PartStep) -> Flags:
    """Return where two voices go from fifth to fifth, in whatever direction."""
    return _any(_consecutive(step, pair, 7) for pair in PAIRS)


def consecutive_octaves(step: PartStep) -> Flags:
    """Return where two voices go from octave to octave, in whatever direction.

    Tune and bass may do so in contrary motion under 5-1, from V to I in root position:
    common practice at closes, where there is no other way.
    """
    found = _any(_consecutive(step, pair, 0) for pair in PAIRS if pair != OUTER)
    return found | (_consecutive(step, OUTER, 0) & ~contrary_close(step))


def contrary_close(step: PartStep) -> Flags:
    """Return where tune and bass go 5-1 in contrary motion, V to I in root position."""
    dominant = each(step.before, step.here, "dominant")[0]
    tonic = each(step.before, step.here, "tonic")[1]
    was, now = each(step.before, step.here, "inversion")
    against = np.sign(step.rise[SOPRANO]) * step.rise[BASS] < 0
    falls = (step.rise[SOPRANO] % 12 == 5) & _consecutive(step, OUTER, 0) & against
    found: Flags = dominant & tonic & (was == 0) & (now == 0) & falls
    return found


def hidden(step: PartStep) -> Flags:
    """Return where outer voices reach a fifth or octave together, the soprano by leap.

    A leap is more than two semitones.
    """
    together = np.sign(step.rise[SOPRANO]) * np.sign(step.rise[BASS]) > 0
    interval = (step.new[SOPRANO] - step.new[BASS]) % 12
    perfect = (interval == 0) | (interval == 7)
    found: Flags = perfect & (np.abs(step.rise[SOPRANO]) > 2) & together
    return found


def overlap(step: PartStep) -> Flags:
    """Return where a voice passes the note that its neighbour has just left."""
    return _any(
        (step.new[lower] > step.old[upper]) | (step.new[upper] < step.old[lower])
        for upper, lower in pairwise(range(4))
    )


def augmented_second(step: PartStep) -> Flags:
    """Return where a lower voice moves three semitones between neighbouring letters."""
    letters = step.here.steps.T[:, None] - step.before.steps.T[:, :, None]
    return _any(
        (np.abs(step.rise[voice]) == 3) & (np.abs(letters[voice]) == 1)
        for voice in LOWER
    )


def leading_note(step: PartStep) -> Flags:
    """Return where a leading note of a lower voice does not rise.

    It need not where the next chord lacks the note it leads to or keeps it itself. In
    alto and tenor it may fall a third to the fifth of the tonic in root position.
    """
    return unled(step, LOWER) & ~frustrated(step)


def unled(step: PartStep, voices: tuple[int, ...] = (SOPRANO,)) -> Flags:
    """Return where one of some voices leaves a leading note otherwise than upward."""
    note = step.before.facts.leading[step.before.form][:, None]
    members = step.here.facts.member[step.here.form]
    bound = (note != NONE) & _holds(members, note + 1) & ~_holds(members, note)
    found: Flags = bound & _any(
        (step.old[voice] % 12 == note) & (step.rise[voice] != 1) for voice in voices
    )
    return found


def _holds(members: Flags, classes: NDArray[np.int64]) -> Flags:
    """Return, shape (R, S), whether chord s has pitch class r."""
    found: Flags = members.T[classes[:, 0] % 12]
    return found


def frustrated(step: PartStep) -> Flags:
    """Return where alto or tenor falls from leading note to fifth, I in root position.

    Common practice at closes, where otherwise the tonic would lack its fifth.
    """
    tonic = step.here.facts.tonic & (step.here.facts.inversion == 0)
    note = step.before.facts.leading[step.before.form][:, None]
    falls = _any(
        (step.rise[voice] == -4) & (step.old[voice] % 12 == note)
        for voice in (ALTO, TENOR)
    )
    found: Flags = falls & tonic[step.here.form] & (note != NONE)
    return found


def seventh(step: PartStep) -> Flags:
    """Return where a seventh, in the tune too, neither falls a step nor stays.

    Inside the same chord another voice may take it over. Where the next chord has no
    note a step below nothing is asked.
    """
    note = step.before.facts.seventh[step.before.form][:, None]
    members = step.here.facts.member[step.here.form]
    goals = _any(_holds(members, note - fall) for fall in (0, 1, 2))
    families = each(step.before, step.here, "family")
    bound = (note != NONE) & goals & (families[0] != families[1])
    astray: Flags = bound & _any(
        (step.old[voice] % 12 == note)
        & ((step.rise[voice] > 0) | (step.rise[voice] < -2))
        for voice in range(4)
    )
    return astray


HARD: dict[str, Callable[[PartStep], Flags]] = {
    "consecutive fifths": consecutive_fifths,
    "consecutive octaves": consecutive_octaves,
    "a hidden fifth or octave between tune and bass": hidden,
    "voices that overlap": overlap,
    "an augmented second": augmented_second,
    "a leading note that does not rise": leading_note,
    "a seventh that does not fall": seventh,
}
"""The hard rules between two chords, by the name of their breach."""


def faults(before: Voicings, here: Voicings) -> tuple[str, ...]:
    """Return the names of the rules that two single voicings break."""
    step = step_between(before, here)
    return tuple(name for name, rule in HARD.items() if rule(step)[0, 0])


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
    covered: Flags = _any(parallels) & moves
    return covered


def _cross(step: PartStep) -> Flags:
    """Return where a letter returns in another voice with another sign."""
    old, new = step.before.steps.T[:, :, None] % 7, step.here.steps.T[:, None, :] % 7
    crosses = _any(
        (old[a] == new[b]) & ((step.new[b] - step.old[a]) % 12 != 0)
        for a, b in permutations(range(4), 2)
    )
    # Where one voice makes the chromatic step itself, the ear follows that voice.
    kept = _any((old[v] == new[v]) & (np.abs(step.rise[v]) == 1) for v in range(4))
    return crosses & ~kept


TASTES: dict[str, Callable[[PartStep], Flags]] = {
    "similar": lambda s: np.sign(s.rise[SOPRANO]) * np.sign(s.rise[BASS]) > 0,
    "contrary": lambda s: np.sign(s.rise[SOPRANO]) * np.sign(s.rise[BASS]) < 0,
    "on_beats": _covered,
    "contrary_close": contrary_close,
    "frustrated": frustrated,
    "soprano_leading": unled,
    "cross": _cross,
}
"""What costs by taste wherever it stands in the bar, by the name of its weight."""


def leading_costs(before: Voicings, here: Voicings, weights: PartWeights) -> Costs:
    """Return, shape (R, S), what every step costs wherever it stands in the bar."""
    step = step_between(before, here)
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
    return cost


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


def _six_fours(step: PartStep, weight: int, weights: PartWeights) -> Costs:
    """Return what chords on their fifth cost: the cadential one gains, loose ones pay.

    A chord on its fifth is entered and left by a bass that steps or stays (a passing or
    pedal chord), or inside the same harmony. The tonic 6/4 may be leapt to on a beat no
    weaker than the one before; over a held bass it goes on to V at the close of a line.
    """
    was, now = (member == 2 for member in each(step.before, step.here, "inversion"))
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
