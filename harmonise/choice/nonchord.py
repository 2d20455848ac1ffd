"""Names for the tune notes that are not in the chord.

The names and their tests are common practice (passing note, neighbour note,
appoggiatura, suspension, anticipation, escape note). All tests are local to the tune:
p is the note before, q the note after, a step is a neighbouring letter name one or two
semitones away.
"""

from enum import IntEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.grid import Flags, Grid, Ints


class Name(IntEnum):
    """What a tune note is to its chord."""

    CHORD_NOTE = 0
    PASSING = 1
    NEIGHBOUR = 2
    APPOGGIATURA = 3
    SUSPENSION = 4
    ANTICIPATION = 5
    ESCAPE = 6
    UNEXPLAINED = 7


WORDS = {
    Name.CHORD_NOTE: "chord note",
    Name.PASSING: "passing note",
    Name.NEIGHBOUR: "neighbour note",
    Name.APPOGGIATURA: "appoggiatura",
    Name.SUSPENSION: "suspension",
    Name.ANTICIPATION: "anticipation",
    Name.ESCAPE: "escape note",
    Name.UNEXPLAINED: "unexplained note",
}


class Contour(NamedTuple):
    """How each part is approached and left in the tune alone.

    Attributes:
        into: Staff steps from the note before, 9 where there is none.
        out: Staff steps to the note after, 9 where there is none.
        step_in: Whether it is approached by step.
        step_out: Whether it is left by step.
        same_in: Whether the note before is the same pitch.
        same_out: Whether the note after is the same pitch.
        before: Slots back to the note before, 0 or 1.
        after: Slots on to the note after, 0 or 1.
    """

    into: Ints
    out: Ints
    step_in: Flags
    step_out: Flags
    same_in: Flags
    same_out: Flags
    before: Ints
    after: Ints


_NONE = 9


def trace(grid: Grid) -> Contour:
    """Return the contour around each part; rests cut it."""
    sounds = grid.midi >= 0
    # A step goes to the next letter, by a semitone or a tone; an augmented second is
    # none, nor is a chromatic note on the same letter.
    joined = sounds[1:] & sounds[:-1]
    rise = np.where(joined, np.diff(grid.step), _NONE)
    jump = np.where(joined, np.diff(grid.midi), _NONE)
    step = (np.abs(rise) == 1) & (np.abs(jump) <= 2) & (jump != 0)
    same = jump == 0
    apart = np.diff(grid.slot)
    return Contour(
        np.append(_NONE, rise), np.append(rise, _NONE), np.append(False, step),
        np.append(step, False), np.append(False, same), np.append(same, False),
        np.append(0, apart), np.append(apart, 0),
    )  # fmt: skip


def name_parts(
    grid: Grid, contour: Contour, member: Flags, before_ok: Flags, after_ok: Flags
) -> NDArray[np.int8]:
    """Return the name of each part under each chord.

    Args:
        grid: The parts.
        contour: Their contour.
        member: Shape (parts, C): whether the part is in the chord of its slot.
        before_ok: Same shape: whether the note before is in its own chord.
        after_ok: Same shape: whether the note after is in its own chord.

    Returns:
        Shape (parts, C), values of `Name`.
    """
    # What opens a slot is heard against its chord, so that only there notes lean
    # (appoggiatura, suspension), and only elsewhere they slip by.
    strong = (grid.order == 0)[:, None]
    step_in, step_out = contour.step_in[:, None], contour.step_out[:, None]
    onward = (contour.into == contour.out)[:, None]
    back = (contour.into == -contour.out)[:, None]
    run_on, run_back = _runs(contour, member)
    both = step_in & step_out
    passing = both & onward & (
        before_ok & after_ok | before_ok & run_on | after_ok & run_back
    )  # fmt: skip
    down = step_out & (contour.out < 0)[:, None]
    same_slot = (contour.after == 0)[:, None]
    brief = (grid.length <= grid.beat)[:, None]
    # The surest names come last and write over the others.
    names = np.full(member.shape, Name.UNEXPLAINED, np.int8)
    escape = (step_in & before_ok | step_out & after_ok) & ~strong
    names[escape] = Name.ESCAPE
    names[contour.same_out[:, None] & after_ok & brief & ~strong] = Name.ANTICIPATION
    names[strong & step_out & after_ok & same_slot] = Name.APPOGGIATURA
    names[strong & contour.same_in[:, None] & before_ok & down & after_ok] = (
        Name.SUSPENSION
    )
    names[both & back & before_ok & after_ok] = Name.NEIGHBOUR
    names[passing] = Name.PASSING
    names[member] = Name.CHORD_NOTE
    return names


def _runs(contour: Contour, member: Flags) -> tuple[Flags, Flags]:
    """Return whether a part begins, or ends, a double passing of two notes.

    The two notes and both chord notes around them stand in one slot and run on by step
    (A, then B C, then D over D minor).
    """
    step = contour.step_out & (contour.after == 0)
    rise = contour.out
    run_on, run_back = np.zeros_like(member), np.zeros_like(member)
    straight = step[:-1] & step[1:] & (rise[:-1] == rise[1:])
    run_on[:-2] = member[2:] & ~member[1:-1] & straight[:-1, None]
    run_back[2:] = member[:-2] & ~member[1:-1] & straight[:-1, None]
    run_back[1:] &= step[:-1, None]
    return run_on, run_back
