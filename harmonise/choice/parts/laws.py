"""From one four-part chord to the next: what is forbidden.

Each hard rule is one function from two slots' voicings to a table of faults, [before,
here]; the registry `HARD` names them for the remarks. All are common practice of
four-part writing. The soprano is the tune, so of its own steps only that of a seventh
is judged. Where in its bar and line a step stands is told by a `Join`.
"""

from collections.abc import Callable, Iterable
from itertools import combinations, pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.parts.forms import NONE
from harmonise.choice.parts.voicings import Voicings

Flags = NDArray[np.bool_]
Facts = NDArray[Any]
SOPRANO, ALTO, TENOR, BASS = range(4)
LOWER = (ALTO, TENOR, BASS)
OUTER = (SOPRANO, BASS)
PAIRS = tuple(combinations(range(4), 2))

FALLS, LEVEL, RISES, BAR_LINE, CLOSES = range(5)
"""How metric weight goes on: to a weaker beat, not at all, to a stronger one, over the
bar line; or to a weaker beat at the close of a line."""


class Join(NamedTuple):
    """Where in its bar and line one slot follows another.

    Attributes:
        weight: `FALLS`, `LEVEL`, `RISES`, `BAR_LINE` or `CLOSES`.
        opens: Whether a line begins with the later slot.
        closes: Whether the last note of a line begins there, or one like it before it.
        held: Whether that note is held over into it.
        tied: Whether any note is.
    """

    weight: int = LEVEL
    opens: bool = False
    closes: bool = False
    held: bool = False
    tied: bool = False


class PartStep(NamedTuple):
    """Two slots in a row; row r is the voicing before, column s the one here.

    Attributes:
        before: Voicings of the slot before.
        here: Voicings of this slot.
        join: Where the step stands.
        old: Shape (4, R, 1): notes at the end of the slot before.
        new: Shape (4, 1, S): notes at the start of this one.
        rise: Semitones that each voice moves, each of shape (R, S).
        same: Shape (R, S): whether the chord stays, its bass member too.
    """

    before: Voicings
    here: Voicings
    join: Join
    old: NDArray[np.int16]
    new: NDArray[np.int16]
    rise: list[NDArray[np.int16]]
    same: Flags


def step_between(before: Voicings, here: Voicings, join: Join) -> PartStep:
    """Return two slots' voicings side by side."""
    # The tune has moved inside the slot, the other voices not: from its last note the
    # step is taken.
    leave = before.notes.copy()
    leave[:, SOPRANO] = before.leave
    old, new = leave.T[:, :, None], here.notes.T[:, None, :]
    rise = [new[v] - old[v] for v in range(4)]
    family = each(before, here, "family")
    same = (family[0] == family[1]) & (new[BASS] % 12 == old[BASS] % 12)
    return PartStep(before, here, join, old, new, rise, same)


def each(before: Voicings, here: Voicings, fact: str) -> tuple[Facts, Facts]:
    """Return a fact of the forms for every voicing: a column and a row."""
    old = getattr(before.facts, fact)[before.form]
    new = getattr(here.facts, fact)[here.form]
    return old[:, None], new[None, :]


def any_of(flags: Iterable[Flags]) -> Flags:
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
    return any_of(_consecutive(step, pair, 7) for pair in PAIRS)


def consecutive_octaves(step: PartStep) -> Flags:
    """Return where two voices go from octave to octave, in whatever direction.

    Tune and bass may do so in contrary motion under 5-1, from V to I in root position:
    common practice at the close of a line, where there is no other way.
    """
    found = any_of(_consecutive(step, pair, 0) for pair in PAIRS if pair != OUTER)
    outer = _consecutive(step, OUTER, 0)
    return found | (outer & ~contrary_close(step) if step.join.closes else outer)


def contrary_close(step: PartStep) -> Flags:
    """Return where tune and bass go 5-1 in contrary motion, V to I in root position."""
    dominant = each(step.before, step.here, "dominant")[0]
    tonic = each(step.before, step.here, "tonic")[1]
    was, now = each(step.before, step.here, "inversion")
    against = np.sign(step.rise[SOPRANO]) * step.rise[BASS] < 0
    falls = (step.rise[SOPRANO] % 12 == 5) & _consecutive(step, OUTER, 0) & against
    found: Flags = dominant & tonic & (was == 0) & (now == 0) & falls
    return found


def opened_fifth(step: PartStep) -> Flags:
    """Return where a diminished fifth over the bass rises to a perfect one."""
    return any_of(
        ((step.old[upper] - step.old[BASS]) % 12 == 6)
        & ((step.new[upper] - step.new[BASS]) % 12 == 7)
        & (step.rise[upper] > 0)
        & (step.rise[BASS] > 0)
        for upper in range(BASS)
    )


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
    """Return where a voice passes the note that its neighbour has just left.

    From line to line nobody hears it: there the voices breathe and begin anew.
    """
    if step.join.opens:
        return np.zeros_like(step.same)
    return any_of(
        (step.new[lower] > step.old[upper]) | (step.new[upper] < step.old[lower])
        for upper, lower in pairwise(range(4))
    )


def augmented_second(step: PartStep) -> Flags:
    """Return where a lower voice moves three semitones between neighbouring letters."""
    letters = step.here.steps.T[:, None] - step.before.steps.T[:, :, None]
    return any_of(
        (np.abs(step.rise[voice]) == 3) & (np.abs(letters[voice]) == 1)
        for voice in LOWER
    )


def leading_note(step: PartStep) -> Flags:
    """Return where a leading note of a lower voice does not rise.

    It need not where the next chord lacks the note it leads to or keeps it itself. In
    alto and tenor it may fall a third to the fifth of the tonic in root position, and
    after a half close a new line may begin without it.
    """
    if step.join.opens:
        return np.zeros_like(step.same)
    return unled(step, LOWER) & ~frustrated(step)


def unled(step: PartStep, voices: tuple[int, ...] = (SOPRANO,)) -> Flags:
    """Return where one of some voices leaves a leading note otherwise than upward."""
    note = step.before.facts.leading[step.before.form][:, None]
    members = step.here.facts.member[step.here.form]
    bound = (note != NONE) & _holds(members, note + 1) & ~_holds(members, note)
    found: Flags = bound & any_of(
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
    falls = any_of(
        (step.rise[voice] == -4) & (step.old[voice] % 12 == note)
        for voice in (ALTO, TENOR)
    )
    found: Flags = falls & tonic[step.here.form] & (note != NONE)
    return found


def leading_bass(step: PartStep) -> Flags:
    """Return where a leading note in the bass goes anywhere but up, its chord left.

    It may sink to the seventh of the next dominant, a chromatic step (F# F under
    D7/F# G7/F).
    """
    note = step.before.facts.leading[step.before.form][:, None]
    roots = each(step.before, step.here, "root")
    seventh = each(step.before, step.here, "seventh")[1]
    sinks = (step.rise[BASS] == -1) & (step.new[BASS] % 12 == seventh)
    leads = (note != NONE) & (step.old[BASS] % 12 == note) & (roots[0] != roots[1])
    found: Flags = leads & (step.rise[BASS] != 1) & ~sinks
    return found


def seventh(step: PartStep) -> Flags:
    """Return where a seventh, in the tune too, neither falls a step nor stays.

    While the chord stays another voice may take it over.
    """
    note = step.before.facts.seventh[step.before.form][:, None]
    members = step.here.facts.member[step.here.form]
    roots = each(step.before, step.here, "root")
    bound = (note != NONE) & ~((roots[0] == roots[1]) & _holds(members, note))
    astray: Flags = bound & any_of(
        (step.old[voice] % 12 == note)
        & ((step.rise[voice] > 0) | (step.rise[voice] < -2))
        for voice in range(4)
    )
    return astray


def leapt_seventh(step: PartStep) -> Flags:
    """Return where a lower voice leaps to the seventh of a chord that is no dominant.

    Such a seventh is prepared: held from the chord before, or come to by step.
    """
    note = each(step.before, step.here, "seventh")[1]
    soft = (note != NONE) & (each(step.before, step.here, "leading")[1] == NONE)
    found: Flags = soft & any_of(
        (step.new[voice] % 12 == note) & (np.abs(step.rise[voice]) > 2)
        for voice in LOWER
    )
    return found


def moved_under_held(step: PartStep) -> Flags:
    """Return where a lower voice moves while the tune holds the last note of a line.

    Over the held bass of V its octave may fall to the seventh, and the sixth and
    fourth of a cadential 6/4 to fifth and third.
    """
    if not step.join.held:
        return np.zeros_like(step.same)
    moves = any_of(step.rise[voice] != 0 for voice in LOWER)
    gentle = [(step.rise[v] <= 0) & (step.rise[v] >= -2) for v in (ALTO, TENOR)]
    settles = (step.rise[BASS] == 0) & np.logical_and.reduce(gentle)
    stands = each(step.before, step.here, "stands")
    dominant = each(step.before, step.here, "dominant")[1]
    found: Flags = moves & ~(settles & dominant & (stands[0] == stands[1]))
    return found


HARD: dict[str, Callable[[PartStep], Flags]] = {
    "consecutive fifths": consecutive_fifths,
    "consecutive octaves": consecutive_octaves,
    "a diminished fifth that opens to a fifth": opened_fifth,
    "a hidden fifth or octave between tune and bass": hidden,
    "voices that overlap": overlap,
    "an augmented second": augmented_second,
    "a leading note that does not rise": leading_note,
    "a leading note in the bass that does not rise": leading_bass,
    "a seventh that does not fall": seventh,
    "a leap to a seventh": leapt_seventh,
    "a step under the held last note of a line": moved_under_held,
}
"""The hard rules between two chords, by the name of their breach."""


def faults(before: Voicings, here: Voicings, join: Join) -> tuple[str, ...]:
    """Return the names of the rules that two single voicings break."""
    step = step_between(before, here, join)
    return tuple(name for name, rule in HARD.items() if rule(step)[0, 0])
