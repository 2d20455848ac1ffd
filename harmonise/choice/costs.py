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

from harmonise.choice.fitted.costing import Columns, columns_of, price
from harmonise.choice.fitted.table import FOLK, HYMN, CostTable, read_table
from harmonise.choice.fitted.view import View, view
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Menu, Offer, member_of_parts
from harmonise.choice.weights import Weights
from harmonise.theory.chord import QUALITIES, Inversion, Quality
from harmonise.theory.key import Mode
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


def bound_steps(menu: Menu, weights: Weights, *, every_beat: bool) -> NDArray[np.int32]:
    """Return, shape (stretches, C, C), what sevenths, figures and H12 ask for."""
    # Only with a chord on every beat is V to IV a fault of style (H12): the folk
    # arrangers of whom the other table tells do not mind it.
    weights = weights if every_beat else weights._replace(retreat=0)
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
        return 0 if after.role is Role.DOMINANT else 4 * weights.unresolved
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


def cadential(
    grid: Grid, menu: Menu, seen: View, weights: Weights
) -> NDArray[np.int32]:
    """Return, shape (slots, C, C), the gain of a 6/4 that leads to V at a close.

    The 6/4 stands on a stronger beat than its V, in the last two bars of a section
    (common practice).
    """
    first = menu.each(lambda o: o.is_triad(Role.TONIC, Inversion.SECOND)) > 0
    second = menu.each(
        lambda o: o.role is Role.DOMINANT and not o.chord.inversion
    ) > 0  # fmt: skip
    gain = np.zeros((grid.slots, *2 * menu.real.shape[1:]), np.int32)
    # The weight falls from 6/4 to V: the dissonance has the accent.
    falls = np.append(False, np.diff(grid.slot_weight) < 0)
    closes = seen.sight.frame.left[seen.first] <= 1
    slots = np.flatnonzero(falls & closes)
    before, here = menu.stretch[slots - 1], menu.stretch[slots]
    gain[slots] = weights.cadential * (
        first[before][:, :, None] & second[here][:, None]
    )
    return gain


def plagal(grid: Grid, menu: Menu, seen: View, weights: Weights) -> NDArray[np.int32]:
    """Return, shape (slots, C, C), the cost of IV to I in the last two bars (H10).

    Major and minor keys only: in modes a plagal close is as good as any other.
    """
    tonal = np.array([key.mode in (Mode.MAJOR, Mode.MINOR) for key in menu.keys])
    fourth = (menu.each(lambda o: o.role is Role.SUBDOMINANT) > 0) & tonal[:, None]
    first = menu.each(lambda o: o.role is Role.TONIC) > 0
    gain = np.zeros((grid.slots, *2 * menu.real.shape[1:]), np.int32)
    bar = seen.sight.frame.bar[seen.first]
    slots = np.flatnonzero(bar >= bar[-1] - 1)
    here = menu.stretch[slots]
    gain[slots] = weights.plagal * (fourth[here][:, :, None] & first[here][:, None])
    return gain


def lawful(grid: Grid, menu: Menu, member: Flags, *, every_beat: bool) -> Flags:
    """Return where no hard rule breaks, shape (slots, C).

    Args:
        grid: The parts.
        menu: What is on offer.
        member: Whether each part is in each chord, shape (parts, C).
        every_beat: Whether each slot's first note must be a chord note.
    """
    fits = _fits(grid, member, every_beat=every_beat)
    found: Flags = fits & ~_false_relation(grid, menu)
    return found & ~_bare_leading_note(grid, menu)


def _fits(grid: Grid, member: Flags, *, every_beat: bool) -> Flags:
    """Return where no hard rule breaks: a note that fills its slot is in the chord."""
    bound = grid.length == np.diff(grid.slot_start)[grid.slot]
    if every_beat:
        # In a hymn each beat has its chord for the sake of the note that is sung there.
        bound |= grid.order == 0
    broken = np.zeros((grid.slots, member.shape[1]), np.bool_)
    np.logical_or.at(broken, grid.slot[bound], ~member[bound])
    return ~broken


def accents(grid: Grid, member: Flags, weights: Weights) -> Ints:
    """Return, shape (slots, C), what long non-chord notes on first beats cost."""
    # A shorter note passes before the ear asks for its chord.
    long = (grid.order == 0) & (grid.length >= grid.beat)
    first = grid.slot_weight[grid.slot[long]] == 3
    cost = np.where(first, weights.accented, weights.accented // 2)[:, None]
    prices = np.zeros((grid.slots, member.shape[1]), np.int64)
    prices[grid.slot[long]] = np.where(member[long], 0, cost)
    return prices


def _where_sung(grid: Grid, menu: Menu, keys: Flags, above: int, parts: Flags) -> Flags:
    """Return the slots in which some parts sing a degree, in some stretches' keys.

    Args:
        grid: The parts.
        menu: What is on offer.
        keys: The stretches that count.
        above: The degree, in semitones above the keynote.
        parts: The parts that count.
    """
    tonic = np.array([key.tonic.pitch_class for key in menu.keys])
    stretch = menu.stretch[grid.slot]
    sung = parts & (grid.midi >= 0) & keys[stretch]
    sung &= grid.midi % 12 == (tonic[stretch] + above) % 12
    return np.bincount(grid.slot[sung], minlength=grid.slots) > 0


def _with_raised_seventh(menu: Menu) -> Flags:
    """Return, shape (slots, C), which chords hold the note below the keynote."""
    tonic = np.array([key.tonic.pitch_class for key in menu.keys])
    holds: Flags = menu.member[np.arange(len(tonic)), :, (tonic + 11) % 12]
    return holds[menu.stretch]


def _false_relation(grid: Grid, menu: Menu) -> Flags:
    """Return where the natural 7th of a minor or modal tune would meet the raised one.

    Common practice: no dominant with a raised third sounds under the natural 7th.
    """
    keys = np.array([key.mode is not Mode.MAJOR for key in menu.keys])
    meets = _where_sung(grid, menu, keys, 10, grid.midi >= 0)
    return meets[:, None] & _with_raised_seventh(menu)


def _bare_leading_note(grid: Grid, menu: Menu) -> Flags:
    """Return chords without the raised 7th where it opens and fills half of a slot.

    Minor tunes only; common practice: the leading note belongs to the dominant.
    """
    keys = np.array([key.mode.is_minor for key in menu.keys])
    half = 2 * grid.length >= np.diff(grid.slot_start)[grid.slot]
    bare = _where_sung(grid, menu, keys, 11, half & (grid.order == 0))
    holds = _with_raised_seventh(menu)
    # Where no chord on offer holds the note, the rule would forbid them all.
    return (bare & holds.any(axis=1))[:, None] & ~holds


NEVER = 1 << 26
"""Cost of a broken hard rule: more than any path of 2,000 bars costs by taste."""


class ChordCosts(NamedTuple):
    """What chords cost before any voicing is looked at. C counts columns of the menu.

    Attributes:
        here: Shape (slots, C).
        step: Shape (slots, C, C): from the chord before (rows) to the chord here.
        fits: Shape (slots, C): whether the hard rules allow the chord here.
        accent: Shape (slots, C): the part of `here` that long non-chord notes on
            first beats make.
        plain: Shape (slots, C): the part of `here` that chords cost because richer
            ones were asked for.
        table: The fitted table used.
        seen: The tune as the table sees it.
        kinds: Columns of each kind of key.
        kind: Kind of key of each place that the table sees.
        twin: Places with the same number are the same place of identical bars.
    """

    here: NDArray[np.int64]
    step: NDArray[np.int32]
    fits: Flags
    accent: Ints
    plain: Ints
    table: CostTable
    seen: View
    kinds: list[Columns]
    kind: Ints
    twin: Ints


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
    accent = accents(grid, member, weights)
    # A chord that breaks a hard rule stays on offer, for a slot may have no other; what
    # a lock rules out, and padding, must be dearer still.
    here += accent + np.where(fits, 0, NEVER)
    here[~(menu.allowed & menu.real[menu.stretch])] = 8 * NEVER
    bound = bound_steps(menu, weights, every_beat=every_beat)
    step = priced.step + bound[menu.stretch]
    step += cadential(grid, menu, seen, weights)
    step += plagal(grid, menu, seen, weights)
    plain = np.zeros_like(here)
    return ChordCosts(
        here, step, fits, accent, plain, table, seen, kinds, kind, priced.twin
    )  # fmt: skip


_TRIADS: dict[tuple[int, ...], str] = {(4, 7): "M", (3, 7): "m", (3, 6): "d"}
"""The table's triads by third and fifth; a seventh or sixth beside them counts not."""


def _kinds(menu: Menu, seen: View) -> tuple[list[Columns], Ints]:
    """Return the columns of each kind of key, and the kind of each place.

    Keys whose offers stand at the same degrees are of one kind: the table speaks of
    degrees, so what it says of C major holds for the G major of the next line too.
    """
    kinds: dict[bytes, Columns] = {}
    names = []
    for at, (key, row) in enumerate(zip(menu.keys, menu.offers, strict=True)):
        known = [QUALITIES[offer.chord.quality].semitones[1:3] for offer in row]
        triads = [_TRIADS.get(notes, "") for notes in known]
        triads += [""] * (menu.real.shape[1] - len(row))
        columns = columns_of(menu.root[at], triads, key.tonic.pitch_class)
        names.append(columns.triad.tobytes())
        kinds.setdefault(names[-1], columns)
    number = np.array([list(kinds).index(name) for name in names])
    return list(kinds.values()), number[menu.stretch[seen.group]]
