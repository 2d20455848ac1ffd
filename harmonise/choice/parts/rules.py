"""What is forbidden from one four-part chord to the next.

Each hard rule is one function from two spots' voicings to a table of faults, [before,
here]; the registry `HARD` names them for the remarks. All are common practice of
four-part writing. The soprano is the tune, so of its own steps only that of a seventh
is judged.
"""

from collections.abc import Callable
from itertools import combinations, pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.parts.forms import NONE
from harmonise.choice.parts.voicings import Voicings

Flags = NDArray[np.bool_]
Costs = NDArray[np.int32]
Facts = NDArray[Any]
SOPRANO, ALTO, TENOR, BASS = range(4)
LOWER = (ALTO, TENOR, BASS)
PAIRS = tuple(combinations(range(4), 2))


class Step(NamedTuple):
    """Two spots in a row; row r is the voicing before, column s the one here.

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


def step_between(before: Voicings, here: Voicings) -> Step:
    """Return two spots' voicings side by side."""
    leave = before.notes.copy()
    leave[:, SOPRANO] = before.leave
    old, new = leave.T[:, :, None], here.notes.T[:, None, :]
    rise = [new[v] - old[v] for v in range(4)]
    family = each(before, here, "family")
    same = (family[0] == family[1]) & (new[BASS] % 12 == old[BASS] % 12)
    return Step(before, here, old, new, rise, same)


def each(before: Voicings, here: Voicings, fact: str) -> tuple[Facts, Facts]:
    """Return a fact of the forms for every voicing: a column and a row."""
    old = getattr(before.facts, fact)[before.form]
    new = getattr(here.facts, fact)[here.form]
    return old[:, None], new[None, :]


def _together(step: Step, upper: int, lower: int) -> Flags:
    """Return where two voices move in the same direction."""
    return np.sign(step.rise[upper]) * np.sign(step.rise[lower]) > 0


def _consecutive(step: Step, pair: tuple[int, int], interval: int) -> Flags:
    upper, lower = pair
    was = (step.old[upper] - step.old[lower]) % 12 == interval
    now = (step.new[upper] - step.new[lower]) % 12 == interval
    found: Flags = was & now & (step.rise[upper] != 0) & (step.rise[lower] != 0)
    return found


def consecutive_fifths(step: Step) -> Flags:
    """Return where two voices go from fifth to fifth, in whatever direction."""
    found = np.zeros(step.same.shape, np.bool_)
    for pair in PAIRS:
        found |= _consecutive(step, pair, 7)
    return found


def consecutive_octaves(step: Step) -> Flags:
    """Return where two voices go from octave to octave, in whatever direction.

    Tune and bass may do so in contrary motion under 5-1, from V to I in root position:
    common practice at closes, where there is no other way.
    """
    found = _consecutive(step, (SOPRANO, BASS), 0) & ~contrary_close(step)
    for pair in PAIRS:
        if pair != (SOPRANO, BASS):
            found |= _consecutive(step, pair, 0)
    return found


def contrary_close(step: Step) -> Flags:
    """Return where tune and bass go 5-1 in contrary motion, V to I in root position."""
    dominant = each(step.before, step.here, "dominant")[0]
    tonic = each(step.before, step.here, "tonic")[1]
    roots = [own == 0 for own in each(step.before, step.here, "inversion")]
    octaves = _consecutive(step, (SOPRANO, BASS), 0)
    against = np.sign(step.rise[SOPRANO]) * step.rise[BASS] < 0
    falls = (step.rise[SOPRANO] % 12 == 5) & octaves & against
    found: Flags = dominant & tonic & roots[0] & roots[1] & falls
    return found


def hidden(step: Step) -> Flags:
    """Return where outer voices reach a fifth or octave together, the soprano by leap.

    A leap is more than two semitones.
    """
    leaps = np.abs(step.rise[SOPRANO]) > 2
    interval = (step.new[SOPRANO] - step.new[BASS]) % 12
    perfect = (interval == 0) | (interval == 7)
    found: Flags = perfect & leaps & _together(step, SOPRANO, BASS)
    return found


def overlap(step: Step) -> Flags:
    """Return where a voice passes the note that its neighbour has just left."""
    found = np.zeros(step.same.shape, np.bool_)
    for upper, lower in pairwise(range(4)):
        found |= step.new[lower] > step.old[upper]
        found |= step.new[upper] < step.old[lower]
    return found


def augmented_second(step: Step) -> Flags:
    """Return where a lower voice moves three semitones between neighbouring letters."""
    found = np.zeros(step.same.shape, np.bool_)
    for voice in LOWER:
        letters = step.here.steps[:, voice] - step.before.steps[:, voice][:, None]
        found |= (np.abs(step.rise[voice]) == 3) & (np.abs(letters) == 1)
    return found


def leading_note(step: Step) -> Flags:
    """Return where a leading note of a lower voice does not rise.

    It need not where the next chord lacks the note it leads to or keeps it itself. In
    alto and tenor it may fall a third to the fifth of the tonic in root position.
    """
    return unled(step, LOWER) & ~frustrated(step)


def unled(step: Step, voices: tuple[int, ...]) -> Flags:
    """Return where one of some voices leaves a leading note otherwise than upward."""
    own = step.before.facts.leading[step.before.form][:, None]
    members = step.here.facts.member[step.here.form]
    bound = (own != NONE) & _holds(members, own + 1) & ~_holds(members, own)
    found = np.zeros(step.same.shape, np.bool_)
    for voice in voices:
        found |= bound & (step.old[voice] % 12 == own) & (step.rise[voice] != 1)
    return found


def _holds(members: Flags, classes: NDArray[np.int64]) -> Flags:
    """Return, shape (R, S), whether chord s has pitch class r."""
    found: Flags = members.T[classes[:, 0] % 12]
    return found


def frustrated(step: Step) -> Flags:
    """Return where alto or tenor falls from leading note to fifth, I in root position.

    Common practice at closes, where otherwise the tonic would lack its fifth.
    """
    tonic = step.here.facts.tonic & (step.here.facts.inversion == 0)
    home = tonic[step.here.form]
    own = step.before.facts.leading[step.before.form][:, None]
    falls = np.zeros(step.same.shape, np.bool_)
    for voice in (ALTO, TENOR):
        third = (step.rise[voice] == -4) & (step.old[voice] % 12 == own)
        falls |= third & home & (own != NONE)
    return falls


def seventh(step: Step) -> Flags:
    """Return where a seventh, in the tune too, neither falls a step nor stays.

    Inside the same chord another voice may take it over. Where the next chord has no
    note a step below nothing is asked.
    """
    own = step.before.facts.seventh[step.before.form][:, None]
    members = step.here.facts.member[step.here.form]
    falls = _holds(members, own - 1) | _holds(members, own - 2)
    stays = _holds(members, own)
    families = each(step.before, step.here, "family")
    bound = (own != NONE) & (falls | stays) & (families[0] != families[1])
    found = np.zeros(step.same.shape, np.bool_)
    for voice in range(4):
        rise = step.rise[voice]
        fine = (rise == -1) | (rise == -2) | (rise == 0)
        found |= bound & (step.old[voice] % 12 == own) & ~fine
    return found


HARD: dict[str, Callable[[Step], Flags]] = {
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
