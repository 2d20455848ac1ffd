"""The chords on offer with every bass that four-part style allows them.

A *form* is a chord of the menu with one of its members in the bass. What a form has to
keep (its leading note, its seventh) is worked out once for every key.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.costs import ChordCosts
from harmonise.choice.grid import Grid, SlotStart, chord_slots, in_ticks
from harmonise.choice.palette import Menu, Offer, offer_of
from harmonise.errors import NoHarmonyError
from harmonise.theory.arrangement import HarmonicRhythm
from harmonise.theory.chord import Inversion, Quality
from harmonise.theory.key import Key, Mode
from harmonise.theory.numerals import Role
from harmonise.theory.tune import ChordAt, Tune

NONE = -1
"""No such pitch class."""
SIX_FOUR_LEVEL = 4
"""Lowest level with the second inversions of triads (TRADE 2.1)."""
_DIMINISHED = (Quality.DIMINISHED, Quality.HALF_DIMINISHED, Quality.DIMINISHED_SEVENTH)
_BOUND = (Quality.MAJOR, Quality.DOMINANT_SEVENTH)


class ChordForm(NamedTuple):
    """A chord with one of its members in the bass.

    Attributes:
        column: Column of the chord on the menu.
        offer: The chord with this bass, its numeral and family.
        leading: Pitch class of the note that must rise a semitone; `NONE` without one.
        single: Pitch class that no two voices may share: the leading note of the key or
            of the chord; `NONE` without one.
        seventh: Pitch class of the note that must fall a step; `NONE` for a triad.
    """

    column: int
    offer: Offer
    leading: int
    single: int
    seventh: int

    @property
    def inversion(self) -> int:
        """Which member is in the bass."""
        return int(self.offer.chord.inversion)

    @property
    def classes(self) -> tuple[int, ...]:
        """Pitch classes of the members, root first."""
        return tuple(map(int, self.offer.chord.pitch_classes))

    @property
    def diminished(self) -> bool:
        """Whether its fifth is diminished."""
        return self.offer.chord.quality in _DIMINISHED

    @property
    def is_tonic(self) -> bool:
        """Whether it is the tonic triad, whatever the bass."""
        return self.offer.role is Role.TONIC and len(self.classes) == 3


@lru_cache(maxsize=256)
def forms_of(key: Key, offers: tuple[Offer, ...], level: int) -> tuple[ChordForm, ...]:
    """Return the forms of all chords on offer in a key, root positions first.

    A chord that is on offer as an inversion keeps its bass.

    >>> from harmonise.choice.palette import palette
    >>> from harmonise.theory.key import parse_key
    >>> key = parse_key("C")
    >>> [form.offer.numeral for form in forms_of(key, palette(key, 1), 1)]
    ['I', 'I6', 'IV', 'IV6', 'V', 'V6']
    """
    return tuple(
        form_of(column, _offer_with(offer, Inversion(bass), key), key)
        for column, offer in enumerate(offers)
        for bass in _basses(offer, level)
    )


def _basses(offer: Offer, level: int) -> tuple[int, ...]:
    chord = offer.chord
    if chord.inversion or chord.quality not in (*_DIMINISHED, *_TURNED):
        return (int(chord.inversion),)
    if chord.is_seventh:
        return (0, 1, 2, 3)
    six_four = level >= SIX_FOUR_LEVEL and offer.role in _SIX_FOURS
    return (0, 1, 2) if six_four else (0, 1)


_TURNED = (*_BOUND, Quality.MINOR, Quality.MINOR_SEVENTH, Quality.MAJOR_SEVENTH)
_SIX_FOURS = (Role.TONIC, Role.SUBDOMINANT, Role.DOMINANT)


def _offer_with(offer: Offer, bass: Inversion, key: Key) -> Offer:
    """Return an offer with another member in the bass; its chord keeps its price."""
    if offer.chord.inversion == bass:
        return offer
    turned = offer_of(offer.chord._replace(inversion=bass), key)
    return turned._replace(family=offer.family, cost=offer.cost)


def form_of(column: int, offer: Offer, key: Key) -> ChordForm:
    """Return a chord of the menu as a form."""
    chord, notes = offer.chord, tuple(map(int, offer.chord.pitch_classes))
    # Two notes lead up a semitone: the third of a dominant, and the root of vii°.
    leading = NONE
    if chord.quality in _BOUND and offer.role in (Role.DOMINANT, Role.APPLIED):
        leading = notes[1]
    elif chord.quality in _DIMINISHED and (notes[0] + 1) % 12 == key.tonic.pitch_class:
        leading = notes[0]
    # In major and minor the 7th degree stays single even where it leads nowhere, as in
    # iii; modes have no such note.
    raised = (key.tonic.pitch_class + 11) % 12
    tonal = key.mode in (Mode.MAJOR, Mode.MINOR)
    single = raised if tonal and raised in notes else leading
    return ChordForm(
        column, offer, leading, single, notes[3] if chord.is_seventh else NONE
    )


class FormTable(NamedTuple):
    """Facts of forms as arrays; entry f of each belongs to form f.

    Attributes:
        column: Column of the menu.
        inversion: Member in the bass, 0 to 3.
        family: Number of root and third, the same for all figures of a triad.
        leading: As in `ChordForm`.
        seventh: As in `ChordForm`.
        member: Shape (F, 12): whether a pitch class is in the chord.
        tonic: Whether it is the tonic triad.
        dominant: Whether it is V or V7.
    """

    column: NDArray[np.int64]
    inversion: NDArray[np.int64]
    family: NDArray[np.int64]
    leading: NDArray[np.int64]
    seventh: NDArray[np.int64]
    member: NDArray[np.bool_]
    tonic: NDArray[np.bool_]
    dominant: NDArray[np.bool_]


def table_of(forms: tuple[ChordForm, ...]) -> FormTable:
    """Return the facts of forms as arrays."""
    rows = [
        (
            form.column, form.inversion, 12 * form.classes[0] + form.classes[1],
            form.leading, form.seventh,
            [note in form.classes for note in range(12)],
            form.is_tonic, form.offer.role is Role.DOMINANT,
        )
        for form in forms
    ]  # fmt: skip
    return FormTable(*map(np.array, zip(*rows, strict=True)))


class PartSlot(NamedTuple):
    """What the tune does in a slot, and what may stand under it.

    Attributes:
        entry: Its first note.
        leave: Its last note.
        low: Its lowest note.
        high: Its highest note.
        span: Widest reach of the right hand in semitones.
        entry_step: Staff place of the first note.
        forms: The forms that may stand there.
    """

    entry: int
    leave: int
    low: int
    high: int
    span: int
    entry_step: int
    forms: tuple[ChordForm, ...]


LOWEST_TUNE = 48
"""C3: under a lower tune there is no room for three voices."""


def assert_room(tune: Tune) -> None:
    """Refuse a tune under which no three voices fit."""
    for note in tune.sounding:
        if note.pitch is not None and note.pitch.midi < LOWEST_TUNE:
            raise NoHarmonyError(
                f"{note.pitch} is too low for three voices under it.",
                tune.place(note.onset),
                "Move the tune up an octave.",
            )


def part_slots(
    tune: Tune, rhythm: HarmonicRhythm, ticks: int, locks: tuple[ChordAt, ...]
) -> tuple[tuple[SlotStart, ...], int]:
    """Return the places where chords may change, a short pickup included.

    In hymns the pickup is sung in four parts too (common practice).
    """
    starts, first = chord_slots(tune, rhythm, ticks, locks)
    starts = tuple(start for start in starts if not start.spare)
    onset = in_ticks(tune.sounding[0].onset, ticks)
    if onset < first:
        return (SlotStart(onset, 1, 0), *starts), onset
    return starts, first


def spots_of(
    grid: Grid,
    menu: Menu,
    costs: ChordCosts,
    forms: tuple[tuple[ChordForm, ...], ...],
    span: int,
) -> tuple[PartSlot, ...]:
    """Return what the tune does in each slot, and which forms may stand there."""
    sounding = np.flatnonzero(grid.midi >= 0)
    slot_of = grid.slot[sounding]
    spots = []
    for slot in range(grid.slots):
        low, high = np.searchsorted(slot_of, [slot, slot + 1]).tolist()
        if low == high:  # The tune rests: the parts wait where they were.
            low = max(0, low - 1)
            high = low + 1
        inside = sounding[low:high]
        midi, step = grid.midi[inside].tolist(), grid.step[inside].tolist()
        stretch = int(menu.stretch[slot])
        fits = costs.fits[slot] & menu.allowed[slot] & menu.real[stretch]
        if not fits.any():
            fits = menu.allowed[slot] & menu.real[stretch]
        permitted = _permitted(
            forms[stretch], menu.offers[stretch], tuple(fits.tolist()),
            bool(menu.locked[slot]),
        )  # fmt: skip
        ends = (midi[0], midi[-1], min(midi), max(midi))
        spots.append(PartSlot(*ends, span, step[0], permitted))
    return tuple(spots)


@lru_cache(maxsize=4096)
def _permitted(
    forms: tuple[ChordForm, ...],
    offers: tuple[Offer, ...],
    fits: tuple[bool, ...],
    locked: bool,  # noqa: FBT001 (cached)
) -> tuple[ChordForm, ...]:
    """Return the forms that a slot may take.

    A lock keeps its bass. Elsewhere every chord on offer comes with the basses that
    four-part style gives it, so those that the palette turns itself are left out.
    """
    return tuple(
        form
        for form in forms
        if fits[form.column]
        and (
            form.offer.chord == offers[form.column].chord
            if locked
            else not offers[form.column].chord.inversion
        )
    )
