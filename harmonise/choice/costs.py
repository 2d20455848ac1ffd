"""Named costs of chords, and the one table of weights.

All costs are whole thousandths, added up along a path. The names of notes depend on the
chords before and after, so a note at the edge of its slot is charged on the way from
one chord to the next, and the sum along a path is exact.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.board import Board, member_of_parts
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.nonchord import Contour, charge, name_parts, trace
from harmonise.theory.key import Mode

NEVER = 1 << 26
"""Cost of a broken hard rule: more than any path of 2,000 bars costs by taste."""


class Weights(NamedTuple):
    """Every weight of the choice, in thousandths.

    Note costs are per crotchet; the others are charged once. The figures began as rules
    of thumb and were moved, one at a time, to where the chords agree best with those
    that human arrangers wrote under 110 folk tunes; DEVELOPERS.md tells how well.

    Attributes:
        weak: Cost of each `Name` on a weak place.
        strong: Cost of each `Name` on a slot's first beat.
        change_at_bar: A new chord at a bar line.
        change_inside: A new chord inside a bar.
        syncopation: A chord begun on a weaker beat that is still there on a stronger.
        retreat: V to IV or ii.
        poor_step: Another progression that is usually avoided.
        fair_step: A progression that is fine but not usual.
        not_tonic_first: The first full bar does not begin on the tonic.
        plagal: Last change IV to I.
        other_close: Last change from any other chord than V.
        late_dominant: No cadence, or one more than two bars before the end.
        not_tonic_last: The last chord is not the tonic.
        open_line: A line that ends on 2 or 7 without V.
        rested_line: A line that ends on 1, 3 or 5 without I (or vi; V under 5).
        unresolved: A dominant seventh that does not go to I or vi.
        motion: A semitone that an inner voice moves.
        parallel: A pair of voices in parallel fifths or octaves.
        revoiced: A right hand of other shape than the complete close triad.
        low_bass: A left-hand note below its usual window.
    """

    weak: tuple[int, ...] = (0, 430, 490, 610, 750, 260, 900, 1500)
    strong: tuple[int, ...] = (0, 700, 1010, 800, 730, 2430, 2430, 2000)
    change_at_bar: int = 120
    change_inside: int = 160
    syncopation: int = 600
    retreat: int = 4050
    poor_step: int = 1500
    fair_step: int = 140
    not_tonic_first: int = 1230
    plagal: int = 420
    other_close: int = 2260
    late_dominant: int = 2000
    not_tonic_last: int = 20000
    open_line: int = 830
    rested_line: int = 2160
    unresolved: int = 1170
    motion: int = 5
    parallel: int = 45
    revoiced: int = 110
    low_bass: int = 50


PLAIN_WEIGHTS = Weights()


class ChordCosts(NamedTuple):
    """What chords cost before any voicing is looked at. C counts columns of the board.

    Attributes:
        here: Shape (slots, C).
        step: Shape (slots, C, C): from the chord before (rows) to the chord here.
        fits: Shape (slots, C): whether the hard rules allow the chord here.
        notes: Shape (slots, C): the part of `here` that the notes of the tune make.
        form: Shape (slots, C): the part of `here` that line ends and beginnings make.
        progression: Shape (stretches, C, C): the part of `step` that the progression
            makes.
    """

    here: NDArray[np.int64]
    step: NDArray[np.int32]
    fits: Flags
    notes: NDArray[np.int32]
    form: NDArray[np.int64]
    progression: NDArray[np.int32]


def chord_costs(
    grid: Grid, board: Board, weights: Weights, *, every_beat: bool
) -> ChordCosts:
    """Return the costs of every chord and every step between two chords.

    Args:
        grid: The parts of the tune.
        board: What is on offer.
        weights: The table of weights.
        every_beat: Whether each slot's first note must be a chord note.
    """
    member = member_of_parts(grid, board)
    fits = _fits(grid, member, every_beat=every_beat) & ~_false_relation(grid, board)
    note_here, note_step = _note_costs(grid, member, weights)
    use = _uses(board)[board.stretch]
    here = note_here + use + np.where(fits, 0, NEVER)
    here[~(board.allowed & board.real[board.stretch])] = 8 * NEVER
    progression = _step_table(board, weights)
    step = note_step + progression[board.stretch]
    form = np.zeros_like(here, np.int64)
    return ChordCosts(here.astype(np.int64), step, fits, note_here, form, progression)


def _fits(grid: Grid, member: Flags, *, every_beat: bool) -> Flags:
    """Return where no hard rule breaks: a note that fills its slot is in the chord."""
    span = np.diff(grid.slot_start)
    bound = grid.length == span[grid.slot]
    if every_beat:
        bound |= grid.order == 0
    broken = np.zeros((grid.slots, member.shape[1]), np.bool_)
    np.logical_or.at(broken, grid.slot[bound], ~member[bound])
    return ~broken


def _false_relation(grid: Grid, board: Board) -> Flags:
    """Return where the natural 7th of a minor tune would meet the raised one.

    Common practice: in minor no dominant sounds under the natural 7th degree.
    """
    tonic = np.array([key.tonic.pitch_class for key in board.keys])
    minor = np.array([key.mode is Mode.MINOR for key in board.keys])
    own = tonic[board.stretch]
    raised = board.member[np.arange(len(tonic)), :, (tonic + 11) % 12]
    natural = grid.midi % 12 == (own[grid.slot] + 10) % 12
    natural &= (grid.midi >= 0) & minor[board.stretch[grid.slot]]
    meets = np.zeros(grid.slots, np.bool_)
    meets[grid.slot[natural]] = True
    found: Flags = meets[:, None] & raised[board.stretch]
    return found


def _note_costs(
    grid: Grid, member: Flags, weights: Weights
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return the note costs of each chord and of each step between chords."""
    contour = trace(grid)
    rates = np.array((weights.weak, weights.strong))
    width = member.shape[1]
    before, after = _neighbours(member)
    inside_before = np.where(contour.before[:, None] == 0, before, False)  # noqa: FBT003
    inside_after = np.where(contour.after[:, None] == 0, after, False)  # noqa: FBT003
    floor = charge(
        grid, name_parts(grid, contour, member, inside_before, inside_after), rates
    )
    here = np.zeros((grid.slots, width), np.int32)
    np.add.at(here, grid.slot, floor)
    step = np.zeros((grid.slots, width, width), np.int32)
    _edge_back(grid, contour, member, (inside_after, floor, rates), step)
    _edge_on(grid, contour, member, (inside_before, floor, rates), step)
    return here, step


def _neighbours(member: Flags) -> tuple[Flags, Flags]:
    """Return whether the part before, and after, is in the chord of its own slot."""
    before, after = np.zeros_like(member), np.zeros_like(member)
    before[1:] = member[:-1]
    after[:-1] = member[1:]
    return before, after


_Edge = tuple[Flags, NDArray[np.int32], Ints]


def _edge_back(
    grid: Grid, contour: Contour, member: Flags, edge: _Edge, step: NDArray[np.int32]
) -> None:
    """Charge the first part of a slot by whether the note before was a chord note."""
    inside_after, floor, rates = edge
    at = np.flatnonzero(contour.before == 1)
    if not len(at):
        return
    allowed = np.ones_like(member)
    names = name_parts(grid, contour, member, allowed, inside_after)
    gain = (charge(grid, names, rates) - floor)[at]
    step[grid.slot[at]] += member[at - 1][:, :, None] * gain[:, None, :]


def _edge_on(
    grid: Grid, contour: Contour, member: Flags, edge: _Edge, step: NDArray[np.int32]
) -> None:
    """Charge the last part of a slot by whether the note after is a chord note."""
    inside_before, floor, rates = edge
    at = np.flatnonzero((contour.after == 1) & (contour.before == 0))
    if not len(at):
        return
    allowed = np.ones_like(member)
    names = name_parts(grid, contour, member, inside_before, allowed)
    gain = (charge(grid, names, rates) - floor)[at]
    step[grid.slot[at + 1]] += gain[:, :, None] * member[at + 1][:, None, :]


def _uses(board: Board) -> Ints:
    """Return, shape (stretches, C), what the mere use of each chord costs."""
    table = np.zeros(board.real.shape, np.int64)
    for at, row in enumerate(board.offers):
        table[at, : len(row)] = [offer.cost for offer in row]
    return table


_USUAL, _FAIR, _POOR, _RETREAT = range(4)
_RETREATS = frozenset({("V", "IV"), ("V", "ii"), ("V", "iv"), ("V", "ii°")})
_MAJOR_STEPS = {
    "I": ("IV V vi V/V V/IV V/ii V/vi", "ii iii iv"),
    "ii": ("V V/V", "IV vi"),
    "iii": ("IV vi", "ii V/vi"),
    "IV": ("I V ii V/V", "vi iv"),
    "V": ("I", "vi V/vi"),
    "vi": ("IV ii V/V V/ii", "I iii V"),
    "iv": ("I V", "IV"),
    "V/V": ("V", "I"),
    "V/IV": ("IV", "ii"),
    "V/ii": ("ii", "V/V"),
    "V/vi": ("vi", "IV"),
}
_MINOR_STEPS = {
    "i": ("iv V VI VII", "III ii° v IV V/iv"),
    "iv": ("i V", "VII ii° VI"),
    "ii°": ("V", "i"),
    "V": ("i", "VI"),
    "VI": ("iv VII", "III i ii° V"),
    "III": ("VI iv VII", "i V v"),
    "VII": ("III i", "VI v"),
    "v": ("i", "VI VII IV iv"),
    "IV": ("V i", "VII v"),
    "V/iv": ("iv", "IV"),
}


def _step_table(board: Board, weights: Weights) -> NDArray[np.int32]:
    """Return, shape (stretches, C, C), what each progression costs."""
    price = (0, weights.fair_step, weights.poor_step, weights.retreat)
    table = np.zeros((*board.real.shape, board.real.shape[1]), np.int32)
    for at, (key, row) in enumerate(zip(board.keys, board.offers, strict=True)):
        for before, first in enumerate(row):
            for after, second in enumerate(row):
                if before == after:
                    continue
                cost = price[grade_step(first.family, second.family, key.mode)]
                cost += _bound_step(first.numeral, second.family, weights)
                table[at, before, after] = cost
    return table


def grade_step(before: str, after: str, mode: Mode) -> int:
    """Return how usual one triad after another is: 0 usual, 1 fair, 2 poor, 3 V to IV.

    Source: common practice for major and minor; modes are free.
    """
    if before == after:
        return _USUAL
    if (before, after) in _RETREATS and mode in (Mode.MAJOR, Mode.MINOR):
        return _RETREAT
    table = {Mode.MAJOR: _MAJOR_STEPS, Mode.MINOR: _MINOR_STEPS}.get(mode)
    if table is None or before not in table:
        return _USUAL
    usual, fair = table[before]
    if after in usual.split():
        return _USUAL
    return _FAIR if after in fair.split() else _POOR


def _bound_step(before: str, after: str, weights: Weights) -> int:
    """Charge chords that are bound to one successor: V7, V/x and the cadential 6/4."""
    if before == "V7" and after not in ("I", "i", "vi", "VI", "V"):
        return weights.unresolved
    if before in ("I6/4", "i6/4") and after != "V":
        return 4 * weights.unresolved
    if "/" in before and not before.endswith("/4") and before[0] == "V":
        target = before.partition("/")[2]
        return 0 if after == target else weights.unresolved
    return 0
