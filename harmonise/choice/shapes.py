"""What both hands play under each part of the tune, for every chord at once.

The right hand strikes the close shape at a slot's first note, holds it while the tune
moves above it and strikes again, or lets go, where the tune would meet a held note. Two
*kinds* of shape are on offer in each slot: the complete close shape, and a lighter one
(two notes, or the doubled third that V to vi asks for).
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Board
from harmonise.theory.chord import Quality
from harmonise.theory.limits import LEFT_HAND_GAP, LEFT_HAND_LOWEST, WINDOW_LOWEST
from harmonise.theory.voicing import close_shape, doubled_third_shape, thin_shape

Notes = NDArray[np.int16]

ABSENT = -1
KINDS = 2
FULL_FROM = 60
"""Lowest tune note (C4) that carries a complete triad; below it two notes."""
TWO_FROM = 55
"""Lowest tune note (G3) that carries a second note; below it the tune goes alone."""


class HandNotes(NamedTuple):
    """Everything that is played, for each slot, chord and kind. J is the most parts.

    Attributes:
        tune: Shape (slots, J): MIDI number of the tune; -1 for rests and padding.
        inner: Shape (slots, C, 2 kinds, J, 2): inner notes, the higher first; -1 where
            there is none.
        struck: Shape (slots, C, 2 kinds, J): whether the inner notes are struck there.
        bass: Shape (slots, C, 2 kinds): left-hand note; -1 where it must be left out.
        entry: Shape (slots, C, 2 kinds, 4): tune, inner notes and bass at the start.
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
        quick: Whether notes shorter than a beat never get a chord of their own.
        span: Widest reach of the right hand in semitones.
        two: Whether one inner note is all that goes with the tune.
    """

    block: bool | Flags
    quick: bool
    span: int = 12
    two: bool = False


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


class _Columns(NamedTuple):
    """The parts laid out by slot and order; padding has length 0."""

    midi: Notes
    length: Ints
    beat: Ints
    on_beat: Flags


def _lay_by_slot(grid: Grid) -> _Columns:
    most = int(grid.order.max()) + 1
    shape = (grid.slots, most)
    midi = np.full(shape, ABSENT, np.int16)
    length = np.zeros(shape, np.int64)
    beat = np.ones(shape, np.int64)
    on_beat = np.zeros(shape, np.bool_)
    at = (grid.slot, grid.order)
    midi[at], length[at], beat[at] = grid.midi, grid.length, grid.beat
    on_beat[at] = grid.on_beat
    return _Columns(midi, length, beat, on_beat)


def play(grid: Grid, board: Board, manner: RightHandManner) -> HandNotes:
    """Return what both hands play in every slot, for every chord and kind of shape."""
    parts = _lay_by_slot(grid)
    slots, most = parts.midi.shape
    shapes = _offsets()[board.quality]
    if manner.two:
        shapes = shapes[:, :, :, [_THIN] * 3]
    lighter = np.where(board.doubles, _DOUBLED, _THIN)
    columns = board.root.shape[1]
    inner = np.full((slots, columns, KINDS, most, 2), ABSENT, np.int16)
    struck = np.zeros((slots, columns, KINDS, most), np.bool_)
    now = np.full((slots, columns, KINDS, 2), ABSENT, np.int16)
    begun = np.zeros((slots, 1, 1), np.bool_)
    firm = _firm(parts, manner)
    lowest, highest = _reach(parts.midi, firm)
    for j in range(most):
        top = parts.midi[:, j]
        sounds = (top >= 0)[:, None, None]
        own = _fresh(shapes, lighter, board, top)
        own = np.where(_too_wide(own, top, manner.span), ABSENT, own)
        low = _fresh(shapes, lighter, board, lowest[:, j])
        low = np.where(_too_wide(low, highest[:, j], manner.span), ABSENT, low)
        fresh = np.where(_lasts(low, own, board, lowest[:, j]), low, own)
        strike, now = _go_on(_Moment(parts, j, now, fresh, begun, firm), board, manner)
        struck[:, :, :, j] = strike
        inner[:, :, :, j] = now
        begun = begun | sounds
    return _with_bass(parts.midi, inner, struck, board)


def _firm(parts: _Columns, manner: RightHandManner) -> Flags:
    """Return the parts under which a chord may be struck; quick ones are too short."""
    firm = parts.on_beat | (parts.length >= parts.beat)
    if not manner.quick:
        firm |= 2 * parts.length >= parts.beat
    return firm


def _reach(midi: Notes, firm: Flags) -> tuple[Notes, Notes]:
    """Return lowest and highest tune note from each part to the next firm one.

    What is struck can stay until it may be struck again, however the tune runs.
    """
    low, high = np.where(midi < 0, 127, midi), midi.copy()
    for j in range(midi.shape[1] - 2, -1, -1):
        runs = ~firm[:, j + 1]
        low[:, j] = np.where(runs, np.minimum(low[:, j], low[:, j + 1]), low[:, j])
        high[:, j] = np.where(runs, np.maximum(high[:, j], high[:, j + 1]), high[:, j])
    return np.where(low == 127, ABSENT, low).astype(np.int16), high


def _fresh(shapes: Notes, lighter: Ints, board: Board, top: Notes) -> Notes:
    """Return the shapes to strike under a tune note, thinned when it is low."""
    stretch = board.stretch[:, None]
    column = np.arange(board.root.shape[1])
    interval = (top[:, None] - board.root[board.stretch]) % 12
    offset = np.stack(
        [
            shapes[stretch, column, interval, _FULL],
            shapes[stretch, column, interval, lighter[board.stretch]],
        ],
        axis=2,
    )
    low = (top < FULL_FROM)[:, None, None, None]
    thin = shapes[stretch, column, interval, _THIN][:, :, None]
    offset = np.where(low, thin, offset)
    notes = np.where(offset > 0, top[:, None, None, None] - offset, ABSENT)
    notes[top < TWO_FROM] = ABSENT
    return notes.astype(np.int16)


def _lasts(low: Notes, own: Notes, board: Board, base: Notes) -> Flags:
    """Return where the shape under the lowest note of a run is as full as the own one.

    Then it is struck, for it can stay under the whole run.
    """
    member = board.member[board.stretch, :, base % 12][:, :, None, None]
    as_full = ((low >= 0).sum(-1) >= (own >= 0).sum(-1))[..., None]
    found: Flags = member & as_full
    return found


def _too_wide(fresh: Notes, top: Notes, span: int) -> Flags:
    wide: Flags = top[:, None, None, None] - fresh > span
    return wide


class _Moment(NamedTuple):
    parts: _Columns
    j: int
    now: Notes
    fresh: Notes
    begun: Flags
    firm: Flags


def _go_on(
    moment: _Moment, board: Board, manner: RightHandManner
) -> tuple[Flags, Notes]:
    """Return whether a part strikes, and the inner notes that then sound."""
    parts, j, now, fresh, begun, steady = moment
    top = parts.midi[:, j]
    wide = (slice(None), None, None)
    sounds = (top >= 0)[wide]
    member = board.member[board.stretch, :, top % 12][:, :, None]
    long = (parts.length[:, j] >= parts.beat[:, j])[wide]
    on_beat = parts.on_beat[:, j][wide]
    firm = steady[:, j][wide]
    lowest = np.where(now[..., 1] >= 0, now[..., 1], now[..., 0])
    has = now[..., 0] >= 0
    height = top[wide]
    meets = has & (height <= now[..., 0])
    far = has & (height - lowest > manner.span)
    same = (parts.midi[:, j - 1] == top)[wide] if j else np.zeros_like(sounds)
    poorer = (now >= 0).sum(-1) < (fresh >= 0).sum(-1)
    again = meets | far | (poorer & on_beat) | (manner.block & on_beat & long & ~same)
    strike = sounds & (~begun | (again & member & firm))
    clash = ~member & long & (height - now[..., 0] == 1)
    let_go = sounds & ~strike
    kept = now.copy()
    gone = let_go & (far | clash)
    kept[..., 1] = np.where(let_go & far, ABSENT, kept[..., 1])
    kept = np.where((let_go[..., None] & (kept >= height[..., None])), ABSENT, kept)
    still_far = gone & far & (kept[..., 0] >= 0) & (height - kept[..., 0] > manner.span)
    kept[..., 0] = np.where(still_far | (let_go & clash), ABSENT, kept[..., 0])
    fewer = ((kept >= 0).sum(-1) < (now >= 0).sum(-1)) & let_go
    kept = np.where((fewer & ~long)[..., None], ABSENT, _settle(kept))
    kept[(top >= 0) & (top < TWO_FROM)] = ABSENT
    return strike, np.where(strike[..., None], fresh, kept)


def _settle(notes: Notes) -> Notes:
    """Return the notes with a lone lower note moved to the first place."""
    lone = (notes[..., 0] < 0) & (notes[..., 1] >= 0)
    settled = notes.copy()
    settled[..., 0] = np.where(lone, notes[..., 1], notes[..., 0])
    settled[..., 1] = np.where(lone, ABSENT, notes[..., 1])
    return settled


def _with_bass(midi: Notes, inner: Notes, struck: Flags, board: Board) -> HandNotes:
    """Place the left hand under the lowest note of the right hand in each slot."""
    bass_class = board.bass[board.stretch].astype(np.int16)
    usual = WINDOW_LOWEST + (bass_class - WINDOW_LOWEST) % 12
    usual = usual[:, :, None]
    heights = np.where(inner >= 0, inner, 127).min(axis=(3, 4))
    lowest = np.minimum(
        heights, np.where(midi >= 0, midi, 127).min(axis=1)[:, None, None]
    )
    fits = usual + LEFT_HAND_GAP <= lowest
    under = usual - 12
    possible = (under >= LEFT_HAND_LOWEST) & (under + LEFT_HAND_GAP <= lowest)
    bass = np.where(fits, usual, np.where(possible, under, ABSENT)).astype(np.int16)
    entry = _ends(midi, inner, bass, first=True)
    leave = _ends(midi, inner, bass, first=False)
    return HandNotes(midi, inner, struck, bass, entry, leave)


def _ends(midi: Notes, inner: Notes, bass: Notes, *, first: bool) -> Notes:
    """Return tune, inner notes and bass at the first or last sounding part."""
    sounding = midi >= 0
    if first:
        at = sounding.argmax(axis=1)
    else:
        at = midi.shape[1] - 1 - sounding[:, ::-1].argmax(axis=1)
    row = np.arange(len(midi))
    out = np.empty((*bass.shape, 4), np.int16)
    out[..., 0] = midi[row, at][:, None, None]
    out[..., 1:3] = inner[row, :, :, at]
    out[..., 3] = bass
    return out
