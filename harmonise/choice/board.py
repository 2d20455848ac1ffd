"""The chords on offer in every slot, as arrays.

A tune may change key, so the offers are kept by *stretch* of one key; stretches with
fewer chords are padded, and a flag says which columns are real. Locked chords that no
palette holds are added to their stretch.
"""

from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.choice.palette import Heard, Offer, offer_of, palette, suited
from harmonise.theory.chord import Quality
from harmonise.theory.key import Key
from harmonise.theory.tune import ChordAt, Tune

_QUALITY_NUMBER = {quality: number for number, quality in enumerate(Quality)}


class Board(NamedTuple):
    """Offers by stretch, and the stretch of each slot. C is the number of columns.

    Attributes:
        keys: Key of each stretch.
        offers: Offers of each stretch.
        stretch: Stretch of each slot.
        real: Shape (stretches, C): whether a column holds an offer.
        member: Shape (stretches, C, 12): whether a pitch class is in the chord.
        root: Shape (stretches, C): pitch class of the root.
        bass: Shape (stretches, C): pitch class of the bass.
        quality: Shape (stretches, C): number of the quality.
        doubles: Shape (stretches, C): whether the chord may double its third, as the
            submediant does after V.
        allowed: Shape (slots, C): False where a lock rules a column out.
        locked: Shape (slots,): whether a lock covers the slot.
    """

    keys: tuple[Key, ...]
    offers: tuple[tuple[Offer, ...], ...]
    stretch: Ints
    real: Flags
    member: Flags
    root: Ints
    bass: Ints
    quality: Ints
    doubles: Flags
    allowed: Flags
    locked: Flags

    def offer(self, slot: int, column: int) -> Offer:
        """Return the offer in a column at a slot."""
        return self.offers[int(self.stretch[slot])][column]


def chosen_board(board: Board, columns: Ints) -> Board:
    """Return a board of one column: the chosen chord of each slot.

    Args:
        board: The board.
        columns: Chosen column of each slot.
    """
    at = (board.stretch, columns)
    return board._replace(
        stretch=np.arange(len(columns)),
        real=board.real[at][:, None],
        member=board.member[at][:, None],
        root=board.root[at][:, None],
        bass=board.bass[at][:, None],
        quality=board.quality[at][:, None],
        doubles=board.doubles[at][:, None],
    )


def lay_out(tune: Tune, grid: Grid, level: int, locks: tuple[ChordAt, ...]) -> Board:
    """Return the board of a tune: what may be chosen in each slot."""
    changes = [int(change.onset * grid.ticks) for change in tune.keys]
    stretch = np.searchsorted(changes, grid.slot_start[:-1], side="right") - 1
    chosen = [
        suited(change.key, level, heard)
        for change, heard in zip(tune.keys, _heard(tune, grid, changes), strict=True)
    ]
    keys = tuple(key for key, _ in chosen)
    offers = [list(palette(key, level, extra)) for key, extra in chosen]
    held = _locked_columns(grid, stretch, keys, offers, locks)
    width = max(map(len, offers))
    allowed = np.ones((grid.slots, width), np.bool_)
    locked = np.zeros(grid.slots, np.bool_)
    for slot, column in held.items():
        allowed[slot] = False
        allowed[slot, column] = True
        locked[slot] = True
    arrays = _arrays(offers, width)
    return Board(
        keys, tuple(map(tuple, offers)), stretch, *arrays, allowed, locked
    )  # fmt: skip


def _heard(tune: Tune, grid: Grid, changes: list[int]) -> list[Heard]:
    """Count the sevenths of a tune above each keynote while it lasts."""
    midi = grid.note_midi
    edges = [*np.searchsorted(grid.note_onset, changes).tolist(), len(midi)]
    found = []
    for change, (first, last) in zip(tune.keys, pairwise(edges), strict=True):
        part = midi[first:last]
        degrees = (part[part >= 0] - change.key.tonic.pitch_class) % 12
        counts = np.bincount(degrees, minlength=12).tolist()
        found.append(Heard(counts[10], counts[11]))
    return found


def _locked_columns(
    grid: Grid,
    stretch: Ints,
    keys: tuple[Key, ...],
    offers: list[list[Offer]],
    locks: tuple[ChordAt, ...],
) -> dict[int, int]:
    """Return the column that each locked slot must take, adding offers as needed."""
    held: dict[int, int] = {}
    for lock in locks:
        first = np.searchsorted(grid.slot_start[:-1], int(lock.onset * grid.ticks))
        last = np.searchsorted(grid.slot_start[:-1], int(lock.end * grid.ticks))
        for slot in range(int(first), int(last)):
            row = offers[stretch[slot]]
            known = [offer.chord for offer in row]
            if lock.chord not in known:
                row.append(offer_of(lock.chord, keys[stretch[slot]]))
                known.append(lock.chord)
            held[slot] = known.index(lock.chord)
    return held


def _arrays(
    offers: list[list[Offer]], width: int
) -> tuple[Flags, Flags, Ints, Ints, Ints, Flags]:
    shape = (len(offers), width)
    real, doubles = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_)
    member = np.zeros((*shape, 12), np.bool_)
    root, bass, quality = (np.zeros(shape, np.int64) for _ in range(3))
    for at, row in enumerate(offers):
        for column, offer in enumerate(row):
            chord = offer.chord
            real[at, column] = True
            member[at, column, list(chord.pitch_classes)] = True
            root[at, column] = chord.root.pitch_class
            bass[at, column] = chord.bass.pitch_class
            quality[at, column] = _QUALITY_NUMBER[chord.quality]
            doubles[at, column] = offer.numeral in ("vi", "VI")
    return real, member, root, bass, quality, doubles


def member_of_parts(grid: Grid, board: Board) -> NDArray[np.bool_]:
    """Return, shape (parts, C), whether each part is in each chord of its own slot.

    Rests count as members: they contradict nothing.
    """
    table = board.member[board.stretch]
    pitch_class = grid.midi % 12
    inside = table[grid.slot, :, pitch_class]
    return inside | (grid.midi < 0)[:, None]
