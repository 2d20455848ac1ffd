"""What closes and the ends of lines ask for, in thousandths. Common practice."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.fitted.view import View
from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Menu, Offer
from harmonise.choice.weights import FORBIDDEN, Weights
from harmonise.theory.chord import Inversion
from harmonise.theory.key import Mode
from harmonise.theory.numerals import Role
from harmonise.theory.phrases import before_pickup
from harmonise.theory.tune import Tune

Steps = NDArray[np.int32]


def cadential(grid: Grid, menu: Menu, seen: View, weights: Weights) -> Steps:
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


def plagal(grid: Grid, menu: Menu, seen: View, weights: Weights) -> Steps:
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


def standing(grid: Grid, menu: Menu, weights: Weights) -> Steps:
    """Return, shape (slots, C, C), what staying over a bar line costs in minor.

    The tunes that the table was fitted to are few in minor and in modes, and it stands
    still there; players move (common practice: VII, III and iv beside i and V).
    """
    minor = np.array([key.mode is not Mode.MAJOR for key in menu.keys])
    step = np.zeros((grid.slots, *2 * menu.real.shape[1:]), np.int32)
    bars = (grid.slot_weight == _DOWN_BEAT) & minor[menu.stretch]
    step[bars] = weights.standing * np.eye(step.shape[1], dtype=np.int32)
    return step


_DOWN_BEAT = 3
"""Metric weight of a bar's first beat."""


def spare_changes(grid: Grid, menu: Menu, holds: Flags, weights: Weights) -> Steps:
    """Return, shape (slots, C, C), what a change costs where the metre has no slot.

    Such a beat is there for the dominant that a close needs and for the tonic that it
    goes to; other chords there are dearer (common practice). A note that fills the
    place before or after such a change is in its chord.

    Args:
        grid: The parts.
        menu: What is on offer.
        holds: Shape (slots, C): whether a chord holds the note that fills its slot.
        weights: The table of weights.
    """
    role = menu.each(lambda offer: offer.role.value)
    close = np.isin(role, (Role.TONIC.value, Role.DOMINANT.value))
    close |= menu.each(_leads_in_modes) > 0
    step = np.zeros((grid.slots, *2 * menu.real.shape[1:]), np.int32)
    slots = np.flatnonzero(grid.slot_spare)
    step[slots] = np.where(close, weights.spare, 2 * weights.spare)[
        menu.stretch[slots], None
    ]
    bare = ~(holds[slots - 1][:, :, None] & holds[slots][:, None])
    step[slots] += FORBIDDEN * bare
    stays = np.arange(step.shape[1])
    step[:, stays, stays] = 0
    return step


def _leads_in_modes(offer: Offer) -> bool:
    """Whether a chord leads to the tonic of minor and of the modes as V does."""
    return offer.family in ("VII", "v")


def closes(grid: Grid, menu: Menu, closing: Flags, weights: Weights) -> Steps:
    """Return, shape (slots, C, C), what a section's end costs without its dominant.

    A section that ends on 1 from 2, 5 or 7 on a beat asks for V-I; in minor and in the
    modes VII-i and v-i close as well (common practice).
    """
    prices = np.zeros((grid.slots, *2 * menu.real.shape[1:]), np.int32)
    sounding = np.flatnonzero(grid.note_midi >= 0)
    first = menu.each(lambda offer: offer.role is Role.TONIC) > 0
    fifth = menu.each(lambda offer: offer.family == "V") > 0
    modal = menu.each(_leads_in_modes) > 0
    ends = grid.slot_start[1:][closing]
    for end in ends.tolist():
        heard = sounding[grid.note_onset[sounding] < end][-2:]
        onsets = grid.note_onset[heard]
        slots = np.searchsorted(grid.slot_start, onsets, "right") - 1
        # Both notes inside one slot have one chord; that is no matter of two.
        if len(heard) < 2 or slots[0] < 0 or slots[1] != slots[0] + 1:
            continue
        slot = int(slots[1])
        stretch = int(menu.stretch[slot])
        key = menu.keys[stretch]
        degrees = (grid.note_midi[heard] - key.tonic.pitch_class) % 12
        begins = grid.start == onsets[1]
        if degrees[1] or degrees[0] not in _TO_ONE or not grid.on_beat[begins].all():
            continue
        leads = fifth[stretch] | (modal[stretch] & (key.mode is not Mode.MAJOR))
        good = leads[:, None] & first[stretch]
        prices[slot] = np.where(good, 0, weights.no_close)
    return prices


_TO_ONE = (2, 7, 10, 11)
"""Semitones above the keynote of the degrees that lead to 1 at a close."""


def line_ends(tune: Tune, grid: Grid, menu: Menu) -> Iterator[tuple[int, int]]:
    """Yield slot and degree of the last note of every line but the last.

    Where a page breaks its lines at bar lines, a pickup to the next line is none.
    """
    for line in tune.phrases[:-1]:
        end = before_pickup(tune, line)
        inside = np.flatnonzero((grid.start < int(end * grid.ticks)) & (grid.midi >= 0))
        if not len(inside):
            continue
        # The note may go on through several slots; the line ends where it is struck.
        last = grid.note[inside[-1]]
        part = inside[np.argmax(grid.note[inside] == last)]
        pitch = tune.notes[grid.note[part]].pitch
        if pitch is None:
            continue
        # A chromatic note says nothing of a close, unless it is a leading note.
        slot = int(grid.slot[part])
        degree, alter = menu.keys[menu.stretch[slot]].degree(pitch.name)
        if not alter or degree == 7:
            yield slot, degree


def openings(
    tune: Tune, grid: Grid, menu: Menu, member: Flags, weights: Weights
) -> Ints:
    """Return, shape (slots, C), what lines cost that open on V or VII.

    Only where a chord of home (I, or III in minor) holds the first full bar's first
    note: a line begins at home sooner (common practice).

    Args:
        tune: The tune.
        grid: Its parts.
        menu: What is on offer.
        member: Whether each part is in each chord, shape (parts, C).
        weights: The table of weights.
    """
    prices = np.zeros((grid.slots, menu.real.shape[1]), np.int64)
    leads = menu.each(lambda o: o.role is Role.DOMINANT or _leads_in_modes(o)) > 0
    home = menu.each(lambda o: o.role is Role.TONIC or o.family == "III") > 0
    bars = np.flatnonzero(grid.slot_weight == _DOWN_BEAT)
    for end in tune.phrases[:-1]:
        after = bars[grid.slot_start[bars] >= int(end * grid.ticks)]
        if not len(after):
            continue
        slot, stretch = int(after[0]), int(menu.stretch[after[0]])
        first = int(np.argmax(grid.slot == slot))
        if (home[stretch] & member[first] & menu.real[stretch]).any():
            prices[slot] = weights.opening * leads[stretch]
    return prices


def beginning(grid: Grid, menu: Menu, member: Flags, weights: Weights) -> Ints:
    """Return, shape (slots, C), what a tune costs that does not begin on I (H01).

    Only where I holds the first note of the first full bar: a tune that begins on
    another degree begins elsewhere (common practice).
    """
    prices = np.zeros((grid.slots, menu.real.shape[1]), np.int64)
    slot = int(np.argmax(grid.slot_weight == _DOWN_BEAT))
    first = menu.each(lambda offer: offer.role is Role.TONIC)[menu.stretch[slot]] > 0
    if (first & member[np.argmax(grid.slot == slot)]).any():
        prices[slot] = weights.begin * ~first
    return prices


def half_closes(tune: Tune, grid: Grid, menu: Menu, weights: Weights) -> Ints:
    """Return, shape (slots, C), what lines cost that end on 2 or 7 over no V (H11)."""
    prices = np.zeros((grid.slots, menu.real.shape[1]), np.int64)
    leads = menu.each(lambda o: o.family in ("V", "VII", "v", "III")) > 0
    for slot, degree in line_ends(tune, grid, menu):
        if degree in (2, 7):
            prices[slot] = weights.half_close * ~leads[menu.stretch[slot]]
    return prices


def rests(
    tune: Tune, grid: Grid, menu: Menu, closing: Flags, weights: Weights
) -> Steps:
    """Return, shape (slots, C, C), what lines that end on 5 ask for.

    Inside a section a line that comes to 5 from 1, 3 or 4 rests on I sooner than it
    goes to V, and a chord of I stays under its last note: the half close is for the
    section's end, and for lines that come from 2, 6 or 7 (common practice).
    """
    step = np.zeros((grid.slots, *2 * menu.real.shape[1:]), np.int32)
    first = menu.each(lambda offer: offer.role is Role.TONIC) > 0
    fifth = menu.each(lambda offer: offer.role is Role.DOMINANT) > 0
    for slot, degree in line_ends(tune, grid, menu):
        if degree != _FIFTH or not _comes_from(grid, menu, slot, (*_OF_TONIC, *_ABOVE)):
            continue
        bar, stretch = grid.slot_bar[slot], menu.stretch[slot]
        after = slot + int(np.sum(grid.slot_bar[slot:] == bar))
        inside = not closing[slot:after].any()
        leaves = first[stretch][:, None] & ~first[stretch]
        goes = ~fifth[stretch][:, None] & fifth[stretch]
        begins = int(np.argmax(grid.slot_bar == bar))
        step[begins + 1 : after] += weights.rest * leaves
        if inside and _comes_from(grid, menu, slot, _OF_TONIC):
            step[slot:after] += weights.half_on_5 * goes
    return step


def falls_to_rest(grid: Grid, menu: Menu, weights: Weights) -> Steps:
    """Return, shape (slots, C, C), what IV to V costs where the tune goes 6, long 5.

    The IV of the 6 goes back to I there: four in five arrangers of folk tunes and of
    hymns do so (the labelled tunes of `tests/fitting`).
    """
    step = np.zeros((grid.slots, *2 * menu.real.shape[1:]), np.int32)
    sounding = np.flatnonzero(grid.note_midi >= 0)
    length = np.diff(np.append(grid.note_onset, grid.slot_start[-1]))
    fourth = menu.each(lambda offer: offer.role is Role.SUBDOMINANT) > 0
    fifth = menu.each(lambda offer: offer.role is Role.DOMINANT) > 0
    tonic = np.array([key.tonic.pitch_class for key in menu.keys])
    begins = np.flatnonzero(~grid.held & (grid.midi >= 0) & (grid.order == 0))
    for part in begins.tolist():
        slot, note = int(grid.slot[part]), int(grid.note[part])
        stretch = menu.stretch[slot]
        before = sounding[np.searchsorted(sounding, note) - 1] if slot else note
        way = (grid.note_midi[[before, note]] - tonic[stretch]) % 12
        lasts = length[note] >= 2 * grid.beat[part]
        if lasts and way[1] == _DOMINANT and way[0] in _ABOVE and before < note:
            goes = fourth[stretch][:, None] & fifth[stretch]
            step[slot] += weights.half_on_5 * goes
    return step


_DOMINANT = 7
_ABOVE = (8, 9)
"""Semitones above the keynote of the degrees 5 and 6."""
_FIFTH = 5
"""The degree on which a line may rest as well as go on."""


def _comes_from(grid: Grid, menu: Menu, slot: int, degrees: tuple[int, ...]) -> bool:
    """Whether the tune came to a slot's note from some semitones above the keynote."""
    note = int(grid.note[np.argmax(grid.slot == slot)])
    heard = grid.note_midi[: note + 1]
    others = heard[(heard >= 0) & (heard != heard[-1])][-1:]
    tonic = menu.keys[menu.stretch[slot]].tonic.pitch_class
    return bool(np.isin((others - tonic) % 12, degrees).all())


_OF_TONIC = (0, 3, 4, 5)
"""Semitones above the keynote of the degrees 1, 3 and 4."""
