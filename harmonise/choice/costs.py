"""What chords cost before any voicing is looked at.

All costs are whole thousandths, added up along a path. Which chord suits the tune and
which follows which is told by a table fitted to human arrangers' chords (`fitted/`);
beside it stand the rules between tune and chord that are never broken, and what the
table does not know: sevenths, figures and closes. `moves` tells how the hands move.
"""

from itertools import permutations
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.closes import (
    beginning,
    cadential,
    closes,
    falls_to_rest,
    half_closes,
    openings,
    plagal,
    rests,
    spare_changes,
    standing,
)
from harmonise.choice.fitted.costing import Columns, columns_of, price
from harmonise.choice.fitted.table import FOLK, HYMN, CostTable, read_table
from harmonise.choice.fitted.view import View, view
from harmonise.choice.foreign import (
    accents,
    bare_notes,
    holding,
    lawful,
    misspelled,
    unsung,
)
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Menu, Offer, member_of_parts
from harmonise.choice.shared_costs import alike_steps, shared
from harmonise.choice.weights import FORBIDDEN, Weights
from harmonise.theory.chord import QUALITIES, Chord, Inversion, Quality
from harmonise.theory.key import Key
from harmonise.theory.numerals import Role, goes_back
from harmonise.theory.tune import Tune


def sevenths(grid: Grid, menu: Menu, weights: Weights) -> Ints:
    """Return, shape (slots, C), the gain of a seventh that the tune itself sounds."""
    seventh = menu.each(_seventh_of, empty=-1)
    sounds = np.zeros((grid.slots, 12), np.bool_)
    heard = grid.midi >= 0
    sounds[grid.slot[heard], grid.midi[heard] % 12] = True
    # A triad has -1 here, which would look up B: the last term takes it out again.
    needed = seventh[menu.stretch]
    there = np.take_along_axis(sounds, np.maximum(needed, 0), axis=1) & (needed >= 0)
    return np.where(there, weights.seventh, 0)


def _seventh_of(offer: Offer) -> int:
    """Return the pitch class of a chord's seventh; -1 for a triad."""
    classes = offer.chord.pitch_classes
    return classes[3] if len(classes) > 3 else -1


def bound_steps(menu: Menu, weights: Weights) -> NDArray[np.int32]:
    """Return, shape (stretches, C, C), what sevenths, figures and H12 ask for."""
    table = np.zeros((*menu.real.shape, menu.real.shape[1]), np.int32)
    for at, row in enumerate(menu.offers):
        for before, after in permutations(range(len(row)), 2):
            table[at, before, after] = _bound_step(row[before], row[after], weights)
    return table


def _bound_step(before: Offer, after: Offer, weights: Weights) -> int:
    """Charge chords that are bound to one successor: V7, V/x and the cadential 6/4."""
    is_v7 = (
        before.role is Role.DOMINANT
        and before.chord.quality is Quality.DOMINANT_SEVENTH
        and not before.chord.inversion
    )
    if goes_back(before.role, after.role):
        return weights.retreat + (weights.unresolved if is_v7 else 0)
    if before.is_triad(Role.TONIC, Inversion.SECOND):
        # Its fourth and sixth hang over V; anywhere else they never come down.
        at_home = after.role is Role.DOMINANT and not after.chord.inversion
        return 0 if at_home else FORBIDDEN
    if before.family == after.family:
        # V to V7 adds a note, which costs little; V7 to V takes back what was said.
        loses = len(before.chord.pitch_classes) > len(after.chord.pitch_classes)
        return (3 if loses else 1) * weights.refigured
    if is_v7:
        # The close on I is a gain, the deceptive one on vi is free.
        goes_on = 0 if after.role is Role.SUBMEDIANT else weights.unresolved
        return weights.resolved if after.role is Role.TONIC else goes_on
    if before.role is Role.APPLIED:
        return 0 if before.leads_to(after) else weights.unresolved
    return 0


NEVER = 1 << 26
"""Cost of a broken hard rule: more than any path of 2,000 bars costs by taste."""


class ChordCosts(NamedTuple):
    """What chords cost before any voicing is looked at. C counts columns of the menu.

    Attributes:
        here: Shape (slots, C).
        step: Shape (slots, C, C): from the chord before (rows) to the chord here.
        fits: Shape (slots, C): whether the hard rules allow the chord here.
        plain: Shape (slots, C): the part of `here` that chords cost because richer
            ones were asked for.
        table: The fitted table used.
        seen: The tune as the table sees it.
        kinds: Columns of each kind of key.
        kind: Kind of key of each place that the table sees.
        twin: Places with the same number are the same place of identical bars.
        fresh: Shape (slots,): whether a slot opens a section other than the first.
    """

    here: NDArray[np.int64]
    step: NDArray[np.int32]
    fits: Flags
    plain: Ints
    table: CostTable
    seen: View
    kinds: list[Columns]
    kind: Ints
    twin: Ints
    fresh: Flags

    def joined(self, kept: Flags) -> "ChordCosts":
        """Return the costs of fewer slots, each with those after it that go.

        Args:
            kept: Whether each slot stays; the first one does.
        """
        first, seen = np.flatnonzero(kept), self.seen
        group = (np.cumsum(kept) - 1)[seen.group]
        return self._replace(
            here=np.add.reduceat(self.here, first, axis=0),
            step=self.step[first],
            fits=np.logical_and.reduceat(self.fits, first, axis=0),
            plain=np.add.reduceat(self.plain, first, axis=0),
            seen=seen._replace(group=group, first=seen.first[first]),
            fresh=self.fresh[first],
        )


def chord_costs(
    tune: Tune, grid: Grid, menu: Menu, weights: Weights, *, every_beat: bool
) -> ChordCosts:
    """Return the costs of every chord and every step between two chords.

    Args:
        tune: The tune.
        grid: Its parts.
        menu: What is on offer.
        weights: The weights beside the table.
        every_beat: Whether chords may change on every beat, as in hymns; then each
            slot's first note must be a chord note.
    """
    member = member_of_parts(grid, menu)
    fits = lawful(grid, menu, member, every_beat=every_beat)
    table = read_table(HYMN if every_beat else FOLK)
    seen = view(tune, grid, menu.keys, menu.stretch, every_beat=every_beat)
    kinds, kind = _kinds(menu, seen)
    priced = price(table, seen, kinds, kind)
    here = priced.here + sevenths(grid, menu, weights)
    here += menu.each(lambda offer: offer.cost)[menu.stretch]
    # A chord that breaks a hard rule stays on offer, for a slot may have no other; what
    # a lock rules out, and padding, must be dearer still.
    here += accents(grid, member, weights) + np.where(fits, 0, NEVER)
    here += bare_notes(grid, menu, member, weights)
    here += weights.clash * misspelled(grid, menu)[0]
    here += unsung(grid, menu, weights)
    here += openings(tune, grid, menu, member, weights)
    here += beginning(grid, menu, member, weights)
    here += half_closes(tune, grid, menu, weights)
    here[~(menu.allowed & menu.real[menu.stretch])] = 8 * NEVER
    bound = bound_steps(menu, weights)[menu.stretch]
    # A new line owes the last one nothing: V may stand before its IV (H12).
    ends = [int(end * grid.ticks) for end in tune.phrases[:-1]]
    lines = np.searchsorted(grid.slot_start[:-1], ends)
    lines = lines[lines < grid.slots]
    free = weights._replace(retreat=0)
    bound[lines] = bound_steps(menu, free)[menu.stretch[lines]]
    step = priced.step + bound
    step += cadential(grid, menu, seen, weights)
    if not every_beat:
        step += plagal(grid, menu, seen, weights)
    part = seen.sight.frame.part[seen.first]
    fresh = np.append(False, part[1:] != part[:-1])
    # No habit reaches over a section's end: what follows begins anew.
    step[fresh] = 0
    # A section closes on the root (common practice).
    closing, inverted = np.append(fresh[1:], True), menu.root != menu.bass
    step += closes(grid, menu, closing, weights)
    if not every_beat:
        step += standing(grid, menu, weights)
    holds = holding(grid, member, every_beat=every_beat)
    # In a hymn any beat may bring a chord; elsewhere only what a close needs.
    spare = weights._replace(spare=0) if every_beat else weights
    step += spare_changes(grid, menu, holds, spare)
    step += falls_to_rest(grid, menu, weights)
    step += rests(tune, grid, menu, closing, weights)
    here[closing] += FORBIDDEN * inverted[menu.stretch[closing]]
    # What must have one chord shares its costs.
    here = shared(here, grid.alike)
    step = shared(step, alike_steps(grid.alike, fresh))
    plain = np.zeros_like(here)
    return ChordCosts(
        here, step, fits, plain, table, seen, kinds, kind, priced.twin, fresh,
    )  # fmt: skip


def _as_known(chord: Chord, key: Key) -> tuple[int, str]:
    """Return root and triad by which the table knows a chord.

    It has next to nothing of vii°, which goes as V, for V7 without its root is the same
    chord; ii6/5 goes as IV, to which it adds a sixth (common practice).
    """
    root = int(chord.root.pitch_class)
    third = QUALITIES[chord.quality].semitones[1]
    triad = _TRIADS.get(QUALITIES[chord.quality].semitones[1:3], "")
    if triad == "d" and (root + 1) % 12 == key.tonic.pitch_class:
        return (root - 4) % 12, "M"
    if chord.quality is Quality.MINOR_SEVENTH and chord.inversion is Inversion.FIRST:
        return (root + third) % 12, "M"
    return root, triad


_TRIADS: dict[tuple[int, ...], str] = {(4, 7): "M", (3, 7): "m", (3, 6): "d"}
"""The table's triads by third and fifth; a seventh or sixth beside them counts not."""


def _kinds(menu: Menu, seen: View) -> tuple[list[Columns], Ints]:
    """Return the columns of each kind of key, and the kind of each place.

    Keys whose offers stand at the same degrees are of one kind: the table speaks of
    degrees, so what it says of C major holds for the G major of the next line too.
    """
    kinds: dict[bytes, Columns] = {}
    names = []
    for key, row in zip(menu.keys, menu.offers, strict=True):
        known = [_as_known(offer.chord, key) for offer in row]
        known += [(0, "")] * (menu.real.shape[1] - len(row))
        roots, triads = zip(*known, strict=True)
        columns = columns_of(np.array(roots), list(triads), key.tonic.pitch_class)
        names.append(columns.triad.tobytes())
        kinds.setdefault(names[-1], columns)
    number = np.array([list(kinds).index(name) for name in names])
    return list(kinds.values()), number[menu.stretch[seen.group]]
