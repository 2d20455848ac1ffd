"""What both hands play under each part of the tune, for every chord at once.

The right hand strikes the close shape at a slot's first note, holds it while the tune
moves above it and strikes again, or lets go, where the tune would meet a held note. Two
*kinds* of shape are on offer in each slot: the complete close shape, and a lighter one
(two notes, or the doubled third that V to vi asks for). At the first levels a beginner
plays whole triads, and there the complete shape is the only one.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Menu
from harmonise.theory.chord import Quality
from harmonise.theory.reach import LEFT_HAND_GAP, LEFT_HAND_LOWEST, WINDOW_LOWEST
from harmonise.theory.voicing import close_shape, doubled_third_shape, thin_shape

Notes = NDArray[np.int16]

ABSENT = -1
MOST_KINDS = 2
FULL_FROM = 60
"""Lowest tune note (C4) that carries a complete triad; below it two notes."""
TWO_FROM = 55
"""Lowest tune note (G3) that carries a second note; below it the tune goes alone."""


class HandNotes(NamedTuple):
    """Everything that is played, for each slot, chord and kind. J is the most parts.

    Attributes:
        tune: Shape (slots, J): MIDI number of the tune; -1 for rests and padding.
        inner: Shape (slots, C, kinds, J, 2): inner notes, the higher first; -1 where
            there is none.
        struck: Shape (slots, C, kinds, J): whether the inner notes are struck there.
        bass: Shape (slots, C, kinds): left-hand note; -1 where it must be left out.
        entry: Shape (slots, C, kinds, 4): tune, inner notes and bass at the start.
        leave: Same shape, at the end.
    """

    tune: Notes
    inner: Notes
    struck: Flags
    bass: Notes
    entry: Notes
    leave: Notes


class RightHandManner(NamedTuple):
    """How the right hand goes along with the tune.

    Attributes:
        block: Whether every chord note of a beat or longer gets its own chord; may be
            given slot by slot, shape (slots, 1, 1).
        span: Widest reach of the right hand in semitones.
        two: Whether one inner note is all that goes with the tune.
        whole: Whether there is the complete shape alone, and no lighter one.
        stays: Whether a shape is struck that stays to the end, not to the next beat,
            and is struck anew only where none of it is left.
    """

    block: bool | Flags
    span: int = 12
    two: bool = False
    whole: bool = False
    stays: bool = False


_FULL, _THIN, _DOUBLED = range(3)


@lru_cache(maxsize=1)
def _offsets() -> Notes:
    """Return, shape (qualities, 12, 3 shapes, 2), semitones of each under the tune.

    The shapes are full, thin and with doubled third; 0 stands for no note.
    """
    table = np.zeros((len(Quality), 12, 3, 2), np.int16)
    for number, quality in enumerate(Quality):
        for interval in range(12):
            thin = thin_shape(quality, interval)
            doubled = doubled_third_shape(quality, interval, submediant=True) or thin
            full = close_shape(quality, interval)
            for kind, shape in enumerate((full, thin, doubled)):
                table[number, interval, kind, : len(shape)] = shape
    return table


class _Laid(NamedTuple):
    """The parts laid out by slot and order, shape (slots, J); padding has length 0."""

    midi: Notes
    length: Ints
    beat: Ints
    on_beat: Flags


def _lay_by_slot(grid: Grid) -> _Laid:
    shape = (grid.slots, int(grid.order.max()) + 1)
    # Padding lasts none of a beat of 1, so that it never counts as a long note.
    laid = _Laid(
        np.full(shape, ABSENT, np.int16), np.zeros(shape, np.int64),
        np.ones(shape, np.int64), np.zeros(shape, np.bool_),
    )  # fmt: skip
    at = (grid.slot, grid.order)
    laid.midi[at], laid.length[at] = grid.midi, grid.length
    laid.beat[at], laid.on_beat[at] = grid.beat, grid.on_beat
    return laid


def play(grid: Grid, menu: Menu, manner: RightHandManner) -> HandNotes:
    """Return what both hands play in every slot, for every chord and kind of shape."""
    parts = _lay_by_slot(grid)
    slots, most = parts.midi.shape
    shapes = _offsets()[menu.quality]
    if manner.two:
        shapes = shapes[:, :, :, [_THIN] * 3]
    # Each chord brings the full shape and mostly a lighter one of its own.
    kinds = [np.full_like(menu.root, _FULL)]
    if not manner.whole:
        kinds.append(np.where(menu.doubles, _DOUBLED, _THIN))
    size = (slots, menu.root.shape[1], len(kinds))
    inner = np.full((*size, most, 2), ABSENT, np.int16)
    struck = np.zeros((*size, most), np.bool_)
    now = np.full((*size, 2), ABSENT, np.int16)
    begun = np.zeros((slots, 1, 1), np.bool_)
    firm = _firm(parts)
    # What is struck should stay until it may be struck again, or to the end.
    runs = [_reach(parts.midi, firm)]
    if manner.stays:
        runs.append(_reach(parts.midi, np.zeros_like(firm)))
    # Slots are independent, so the first parts of all are played at once, then the
    # second ones, and so on: what sounds in a part depends on the part before.
    for j in range(most):
        top = parts.midi[:, j]
        fresh = _fresh(shapes, kinds, menu, top)
        fresh = np.where(_too_wide(fresh, top, manner.span), ABSENT, fresh)
        for lowest, highest in runs:
            # A shape under the lowest note of a run can stay under all of it.
            low = _fresh(shapes, kinds, menu, lowest[:, j])
            low = np.where(_too_wide(low, highest[:, j], manner.span), ABSENT, low)
            fresh = np.where(_lasts(low, fresh, menu, lowest[:, j]), low, fresh)
        fresh = _undoubled(fresh, menu, top)
        moment = _Moment(parts, j, now, menu, manner)
        strike = _strikes(moment, fresh, begun, firm[:, j])
        now = np.where(strike[..., None], fresh, _held_on(moment, strike))
        struck[:, :, :, j] = strike
        inner[:, :, :, j] = now
        begun = begun | (top >= 0)[_EACH]
    return _with_bass(parts.midi, inner, struck, menu)


_EACH = (slice(None), None, None)
"""Sets one fact a slot beside every chord and kind of shape."""


def _firm(parts: _Laid) -> Flags:
    """Return the parts under which a chord may be struck: none on a weak quaver."""
    return parts.on_beat | (parts.length >= parts.beat)


def _reach(midi: Notes, firm: Flags) -> tuple[Notes, Notes]:
    """Return lowest and highest tune note from each part to the next firm one."""
    low, high = np.where(midi < 0, 127, midi), midi.copy()
    # Backwards, so that each part already knows the run that follows it.
    for j in range(midi.shape[1] - 2, -1, -1):
        runs = ~firm[:, j + 1]
        low[:, j] = np.where(runs, np.minimum(low[:, j], low[:, j + 1]), low[:, j])
        high[:, j] = np.where(runs, np.maximum(high[:, j], high[:, j + 1]), high[:, j])
    return np.where(low == 127, ABSENT, low).astype(np.int16), high


def _fresh(shapes: Notes, kinds: list[Ints], menu: Menu, top: Notes) -> Notes:
    """Return the shapes to strike under a tune note, thinned when it is low."""
    stretch = menu.stretch[:, None]
    column = np.arange(menu.root.shape[1])
    # A shape hangs from the tune: it is known by the tune's place above the root.
    interval = (top[:, None] - menu.root[menu.stretch]) % 12
    each = [shapes[stretch, column, interval, kind[menu.stretch]] for kind in kinds]
    low = (top < FULL_FROM)[:, None, None, None]
    thin = shapes[stretch, column, interval, _THIN][:, :, None]
    offset = np.where(low, thin, np.stack(each, axis=2))
    notes = np.where(offset > 0, top[:, None, None, None] - offset, ABSENT)
    notes[top < TWO_FROM] = ABSENT
    return notes.astype(np.int16)


def _lasts(low: Notes, usual: Notes, menu: Menu, base: Notes) -> Flags:
    """Return where the shape under the lowest note of a run is as full as a part's own.

    Then it is struck, for it can stay under the whole run.
    """
    member = menu.member[menu.stretch, :, base % 12][:, :, None, None]
    as_full = ((low >= 0).sum(-1) >= (usual >= 0).sum(-1))[..., None]
    found: Flags = member & as_full
    return found


def _undoubled(fresh: Notes, menu: Menu, top: Notes) -> Notes:
    """Return the shapes without the tune's note where one voice has it alone.

    A shape under the lowest note of a run may hold the octave below the tune's seventh
    or leading note, and both would go on in octaves.
    """
    tender = menu.tender[menu.stretch, :, top % 12][:, :, None, None]
    doubles = (fresh - top[_EACH][..., None]) % 12 == 0
    left: Notes = np.where(tender & doubles & (fresh >= 0), ABSENT, fresh)
    return _settle(left.astype(np.int16))


def _too_wide(fresh: Notes, top: Notes, span: int) -> Flags:
    wide: Flags = top[:, None, None, None] - fresh > span
    return wide


class _Moment(NamedTuple):
    """The j-th part of every slot, and the inner notes that sound as it begins."""

    parts: _Laid
    j: int
    now: Notes
    menu: Menu
    manner: RightHandManner

    @property
    def top(self) -> Notes:
        """The tune's note in each slot, beside every chord and kind."""
        return self.parts.midi[:, self.j][_EACH]

    @property
    def member(self) -> Flags:
        """Whether it is in the chord."""
        menu, top = self.menu, self.parts.midi[:, self.j]
        found: Flags = menu.member[menu.stretch, :, top % 12][:, :, None]
        return found

    @property
    def long(self) -> Flags:
        """Whether it lasts a beat: then it is heard against what sounds under it."""
        found: Flags = (self.parts.length >= self.parts.beat)[:, self.j][_EACH]
        return found

    @property
    def far(self) -> Flags:
        """Whether the hand no longer spans from the lowest inner note to the tune."""
        now = self.now
        lowest = np.where(now[..., 1] >= 0, now[..., 1], now[..., 0])
        found: Flags = (now[..., 0] >= 0) & (self.top - lowest > self.manner.span)
        return found


def _strikes(moment: _Moment, fresh: Notes, begun: Flags, firm: Flags) -> Flags:
    """Return where the right hand strikes a new shape with the tune."""
    parts, j, now, top = moment.parts, moment.j, moment.now, moment.top
    # The tune comes down to a held note: the finger is needed elsewhere.
    meets = (now[..., 0] >= 0) & (top <= now[..., 0])
    # On the beat a shape that had to be thinned is made whole again.
    poorer = (now >= 0).sum(-1) < (fresh >= 0).sum(-1)
    on_beat = parts.on_beat[:, j][_EACH]
    # In block chords each long note on a beat has its chord, but not a note that is
    # said again: there the chord would only be hammered.
    again = parts.midi[:, j - 1][_EACH] == top if j else np.zeros_like(on_beat)
    full = moment.manner.block & on_beat & moment.long & ~again
    asks = meets | moment.far | (poorer & on_beat) | full
    if moment.manner.stays:
        # A finger is rather let go on the beat than a chord struck anew.
        asks = _held_on(moment, np.zeros_like(asks))[..., 0] < 0
    # Only under a chord note, and only where there is time, is a chord struck anew; a
    # slot's first note has one in any case.
    may = moment.member & firm[_EACH]
    strikes: Flags = (top >= 0) & (~begun | (asks & may))
    return strikes


def _held_on(moment: _Moment, strike: Flags) -> Notes:
    """Return the inner notes that go on sounding where nothing is struck."""
    now, top, far = moment.now, moment.top, moment.far
    goes_on = (top >= 0) & ~strike
    # Out of reach: the lower finger lets go, and if that is not enough the upper too.
    kept = now.copy()
    kept[..., 1] = np.where(goes_on & far, ABSENT, kept[..., 1])
    # The tune has come down to a note, or below it: the tune must stay on top.
    kept = np.where(goes_on[..., None] & (kept >= top[..., None]), ABSENT, kept)
    still = far & (kept[..., 0] >= 0) & (top - kept[..., 0] > moment.manner.span)
    # A long strange note a semitone above a held one would grind against it.
    grinds = ~moment.member & moment.long & (top - now[..., 0] == 1)
    kept[..., 0] = np.where(goes_on & (still | grinds), ABSENT, kept[..., 0])
    # Under a short note that takes a finger away the whole hand lifts: one note left
    # behind for a moment is harder to play than none.
    fewer = goes_on & ((kept >= 0).sum(-1) < (now >= 0).sum(-1))
    lifts = fewer & ~moment.long
    if moment.manner.stays:
        lifts &= ~moment.parts.on_beat[:, moment.j][_EACH]
    kept = np.where(lifts[..., None], ABSENT, _settle(kept))
    low = moment.parts.midi[:, moment.j]
    kept[(low >= 0) & (low < TWO_FROM)] = ABSENT
    return kept


def _settle(notes: Notes) -> Notes:
    """Return the notes with a lone lower note moved to the first place."""
    lone = (notes[..., 0] < 0) & (notes[..., 1] >= 0)
    found: Notes = np.where(lone[..., None], notes[..., ::-1], notes)
    return found


def _with_bass(midi: Notes, inner: Notes, struck: Flags, menu: Menu) -> HandNotes:
    """Place the left hand under the lowest note of the right hand in each slot."""
    bass_class = menu.bass[menu.stretch].astype(np.int16)
    usual = (WINDOW_LOWEST + (bass_class - WINDOW_LOWEST) % 12)[:, :, None]
    # One bass lasts for the slot, so it lies under all that the right hand plays there.
    heights = np.where(inner >= 0, inner, 127).min(axis=(3, 4))
    tune = np.where(midi >= 0, midi, 127).min(axis=1)[_EACH]
    room = np.minimum(heights, tune) - LEFT_HAND_GAP
    under = usual - 12
    possible = (under >= LEFT_HAND_LOWEST) & (under <= room)
    lower = np.where(possible, under, ABSENT)
    bass = np.where(usual <= room, usual, lower).astype(np.int16)
    # Voice leading looks from the last sounding part to the first of the next slot.
    sounding = midi >= 0
    first = sounding.argmax(axis=1)
    last = midi.shape[1] - 1 - sounding[:, ::-1].argmax(axis=1)
    entry, leave = (_at(part, midi, inner, bass) for part in (first, last))
    return HandNotes(midi, inner, struck, bass, entry, leave)


def _at(part: Ints, midi: Notes, inner: Notes, bass: Notes) -> Notes:
    """Return tune, inner notes and bass at one part of each slot."""
    row = np.arange(len(midi))
    out = np.empty((*bass.shape, 4), np.int16)
    out[..., 0] = midi[row, part][_EACH]
    out[..., 1:3] = inner[row, :, :, part]
    out[..., 3] = bass
    return out
