"""Which chords a key and a level offer, and the offers under a tune as arrays.

Level 1 holds the three primary chords (in modes the three that cover every degree),
level 2 adds the dominant seventh, level 3 the other common triads of the scale, level 4
secondary dominants, the cadential 6/4 and passing inversions. Common practice; the
tests check every triad against music21's RomanNumeral.

A tune may change key, so the offers are kept by *stretch* of one key; stretches with
fewer chords are padded, and a flag says which columns are real. Locked chords that no
palette holds are added to their stretch.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.grid import Flags, Grid, Ints
from harmonise.theory.chord import Chord, Inversion, Quality
from harmonise.theory.key import Key, Mode
from harmonise.theory.numerals import (
    Role,
    family_of,
    numeral,
    parse_numeral,
    role_of,
    tendency_notes,
)
from harmonise.theory.tune import ChordAt, Tune


class Offer(NamedTuple):
    """A chord on offer.

    Attributes:
        chord: The chord.
        numeral: Its Roman numeral.
        family: Numeral of its triad in root position: V for V7 and V6.
        cost: What it costs more than its plain triad, in thousandths.
        role: What the chord is to its key.
    """

    chord: Chord
    numeral: str
    family: str
    cost: int
    role: Role

    def is_triad(
        self, role: Role, inversion: Inversion = Inversion.ROOT_POSITION
    ) -> bool:
        """Return whether it is the triad of a role with that member in the bass."""
        chord = self.chord
        return (
            self.role is role
            and chord.inversion == inversion
            and len(chord.members) == 3
        )

    def leads_to(self, after: "Offer") -> bool:
        """Return whether it is a secondary dominant of another chord."""
        return self.family == f"V/{after.family}"


_LEVELS: dict[Mode, tuple[tuple[str, ...], ...]] = {
    Mode.MAJOR: (
        ("I", "IV", "V"),
        ("V7",),
        ("ii", "vi"),
        ("iii", "V/V", "V7/IV", "V/ii", "V/vi", "iv", "I6/4", "I6", "V6", "ii6"),
    ),
    Mode.MINOR: (
        ("i", "iv", "V"),
        ("V7",),
        ("VI", "III", "VII", "ii°"),
        ("v", "V7/iv", "i6/4", "i6", "V6"),
    ),
    Mode.DORIAN: (("i", "IV", "VII"), (), ("III", "v"), ("ii", "i6", "vi°")),
    Mode.MIXOLYDIAN: (("I", "IV", "VII"), (), ("ii", "v", "vi"), ("I6", "iii°")),
    Mode.AEOLIAN: (("i", "VI", "VII"), (), ("iv", "III", "v"), ("ii°", "i6")),
}

_COSTS = {
    "V7/IV": 700, "V7/iv": 700, "I6/4": 250, "i6/4": 250, "I6": 500, "i6": 500,
    "V6": 450, "ii6": 350, "vii°6": 200,
}  # fmt: skip
"""What a chord costs more than its plain triad, in thousandths."""


@lru_cache(maxsize=256)
def palette(key: Key, level: int, extra: tuple[str, ...] = ()) -> tuple[Offer, ...]:
    """Return the chords on offer in a key at a level, the level's own order.

    Args:
        key: Key or mode.
        level: 1 to 4; each level holds the ones below.
        extra: Numerals of further chords that the tune asks for.

    Example:
        >>> from harmonise.theory.key import parse_key
        >>> [offer.chord.symbol for offer in palette(parse_key("G mixolydian"), 1)]
        ['G', 'C', 'F']
    """
    rows = _LEVELS[key.mode][:level]
    names = dict.fromkeys(name for row in (*rows, extra) for name in row)
    return tuple(offer_of(parse_numeral(name, key), key) for name in names)


def offer_of(chord: Chord, key: Key) -> Offer:
    """Return a chord as an offer in a key: a lock need not stand in any palette."""
    name = numeral(chord, key)
    return Offer(chord, name, family_of(name), _COSTS.get(name, 0), role_of(chord, key))


class Heard(NamedTuple):
    """Which sevenths a tune has.

    Attributes:
        flat_seventh: Number of notes a tone below the keynote.
        leading_note: Number of notes a semitone below it.
        raised_sixth: Number of notes a major sixth above it.
    """

    flat_seventh: int
    leading_note: int
    raised_sixth: int


def suited(key: Key, level: int, heard: Heard) -> tuple[Key, tuple[str, ...]]:
    """Return the key whose chords suit a tune, and the chords it needs besides.

    A major tune with more flat than sharp sevenths is harmonised as Mixolydian; a minor
    one with natural sevenths has VII too. Human arrangers do so (DEVELOPERS.md). The
    major IV of minor belongs to the raised 6th alone.
    """
    flat, sharp = heard.flat_seventh, heard.leading_note
    if key.mode is Mode.MAJOR and flat > sharp:
        return Key(key.tonic, Mode.MIXOLYDIAN), ("V",) if level >= 3 else ()
    if key.mode is Mode.MINOR and flat:
        raised = ("IV",) if heard.raised_sixth else ()
        return key, ("VII", "v", *raised) if level >= 3 else ("VII",)
    return key, ()


_QUALITY_NUMBER = {quality: number for number, quality in enumerate(Quality)}


class Menu(NamedTuple):
    """The chords on offer in every slot: offers by stretch, and each slot's stretch.

    C is the number of columns, one for each offer of the longest row.

    Attributes:
        keys: Key of each stretch.
        offers: Offers of each stretch.
        stretch: Stretch of each slot.
        real: Shape (stretches, C): whether a column holds an offer.
        member: Shape (stretches, C, 12): whether a pitch class is in the chord.
        tender: Same shape: whether it is one that a single voice has.
        root: Shape (stretches, C): pitch class of the root.
        bass: Shape (stretches, C): pitch class of the bass.
        quality: Shape (stretches, C): number of the quality.
        doubles: Shape (stretches, C): whether the chord may double its third, as the
            submediant does after V.
        allowed: Shape (slots, C): False where a lock rules a column out.
        locked: Shape (slots,): whether a lock covers the slot.
        forced: Shape (slots,): whether the rules leave one chord there (`only_way`).
    """

    keys: tuple[Key, ...]
    offers: tuple[tuple[Offer, ...], ...]
    stretch: Ints
    real: Flags
    member: Flags
    tender: Flags
    root: Ints
    bass: Ints
    quality: Ints
    doubles: Flags
    allowed: Flags
    locked: Flags
    forced: Flags

    def offer(self, slot: int, column: int) -> Offer:
        """Return the offer in a column at a slot."""
        return self.offers[int(self.stretch[slot])][column]

    def each(self, fact: Callable[[Offer], int], empty: int = 0) -> Ints:
        """Return, shape (stretches, C), a number for each offer."""
        return _of_each(self.offers, self.real.shape[1], fact, empty)


def _of_each(
    offers: Iterable[Sequence[Offer]],
    width: int,
    fact: Callable[[Offer], int],
    empty: int = 0,
) -> Ints:
    rows = [[*map(fact, row), *[empty] * (width - len(row))] for row in offers]
    return np.array(rows, np.int64)


def chosen_menu(menu: Menu, columns: Ints) -> Menu:
    """Return a menu of one column: the chosen chord of each slot.

    Args:
        menu: The menu.
        columns: Chosen column of each slot.
    """
    at = (menu.stretch, columns)
    chosen = {fact: getattr(menu, fact)[at][:, None] for fact in _OF_CHORDS}
    return menu._replace(stretch=np.arange(len(columns)), **chosen)


def turned_menu(menu: Menu, columns: Ints, offers: Sequence[Offer]) -> Menu:
    """Return a menu with a row for each slot, its chosen chord over another bass.

    Args:
        menu: The menu.
        columns: Chosen column of each slot.
        offers: The chosen chord of each slot with the bass that it got.
    """
    stretch = menu.stretch.tolist()
    rows = [list(menu.offers[at]) for at in stretch]
    for row, column, offer in zip(rows, columns.tolist(), offers, strict=True):
        row[column] = offer
    facts = {fact: getattr(menu, fact)[menu.stretch] for fact in _OF_CHORDS}
    bass = [int(offer.chord.bass.pitch_class) for offer in offers]
    facts["bass"][np.arange(len(bass)), columns] = bass
    return menu._replace(
        keys=tuple(menu.keys[at] for at in stretch),
        offers=tuple(map(tuple, rows)),
        stretch=np.arange(len(stretch)),
        **facts,
    )


_OF_CHORDS = ("real", "member", "tender", "root", "bass", "quality", "doubles")
"""Facts of a menu that are kept by stretch and column."""


def lay_out(
    tune: Tune,
    grid: Grid,
    level: int,
    locks: tuple[ChordAt, ...],
    further: Mapping[Mode, tuple[str, ...]] = MappingProxyType({}),
) -> Menu:
    """Return the menu of a tune: what may be chosen in each slot.

    Args:
        tune: The tune.
        grid: Its parts.
        level: Settled level.
        locks: Locked chords.
        further: Numerals of chords on offer besides those of the level, by mode.
    """
    changes = [int(change.onset * grid.ticks) for change in tune.keys]
    stretch = np.searchsorted(changes, grid.slot_start[:-1], side="right") - 1
    chosen = [
        suited(change.key, level, heard)
        for change, heard in zip(tune.keys, _heard(tune, grid, changes), strict=True)
    ]
    keys = tuple(key for key, _ in chosen)
    offers = [
        list(palette(key, level, (*extra, *further.get(key.mode, ()))))
        for key, extra in chosen
    ]
    # Locks first: a chord that no palette holds becomes a column of its stretch.
    held = _locked_columns(grid, stretch, keys, offers, locks)
    width = max(map(len, offers))
    locked = np.isin(np.arange(grid.slots), list(held))
    # A locked slot leaves one column open, every other slot all of them.
    allowed = np.tile(~locked[:, None], width)
    allowed[list(held), list(held.values())] = True
    member = np.zeros((len(offers), width, 12), np.bool_)
    tender = np.zeros_like(member)
    for at, row in enumerate(offers):
        for column, offer in enumerate(row):
            member[at, column, list(offer.chord.pitch_classes)] = True
            tender[at, column, list(tendency_notes(offer.chord, keys[at]))] = True

    def each(fact: Callable[[Offer], int]) -> Ints:
        return _of_each(offers, width, fact)

    return Menu(
        keys, tuple(map(tuple, offers)), stretch,
        each(lambda _: 1) > 0, member, tender,
        each(lambda offer: offer.chord.root.pitch_class),
        each(lambda offer: offer.chord.bass.pitch_class),
        each(lambda offer: _QUALITY_NUMBER[offer.chord.quality]),
        each(lambda offer: offer.is_triad(Role.SUBMEDIANT)) > 0,
        allowed, locked, np.zeros_like(locked),
    )  # fmt: skip


def _heard(tune: Tune, grid: Grid, changes: list[int]) -> list[Heard]:
    """Count the sevenths of a tune above each keynote while it lasts."""
    midi = grid.note_midi
    edges = [*np.searchsorted(grid.note_onset, changes).tolist(), len(midi)]
    heard = []
    for change, (first, last) in zip(tune.keys, pairwise(edges), strict=True):
        part = midi[first:last]
        # Rests have no degree; 10 and 11 semitones up lie the two sevenths, 9 the
        # raised 6th of minor.
        degrees = (part[part >= 0] - change.key.tonic.pitch_class) % 12
        counts = np.bincount(degrees, minlength=12).tolist()
        heard.append(Heard(counts[10], counts[11], counts[9]))
    return heard


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
        span = [int(lock.onset * grid.ticks), int(lock.end * grid.ticks)]
        for slot in range(*np.searchsorted(grid.slot_start[:-1], span).tolist()):
            row = offers[stretch[slot]]
            known = [offer.chord for offer in row]
            if lock.chord not in known:
                row.append(offer_of(lock.chord, keys[stretch[slot]]))
                known.append(lock.chord)
            held[slot] = known.index(lock.chord)
    return held


def member_of_parts(grid: Grid, menu: Menu) -> NDArray[np.bool_]:
    """Return, shape (parts, C), whether each part is in each chord of its own slot.

    Rests count as members: they contradict nothing.
    """
    inside = menu.member[menu.stretch][grid.slot, :, grid.midi % 12]
    return inside | (grid.midi < 0)[:, None]
