"""The chords on offer with every bass that four-part style allows them.

A *form* is a chord of the menu with one of its members in the bass. What a form has to
keep (its leading note, its seventh) is worked out once for every key.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.palette import Offer, offer_of
from harmonise.theory.chord import Inversion, Quality
from harmonise.theory.key import Key, Mode
from harmonise.theory.numerals import Role

NONE = -1
"""No such pitch class."""
SIX_FOUR_LEVEL = 4
"""Lowest level with the second inversions of triads (TRADE 2.1)."""
FURTHER_LEVEL = 4
"""Lowest level with the chords that four parts have beside those of two hands."""
FURTHER: dict[Mode, tuple[str, ...]] = {Mode.MAJOR: ("ii6/5", "vii°6")}
"""Those chords, in these basses alone: ii with its seventh before V, and vii° between
I and I6 (common practice)."""
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
        natural: Whether it is v or VII of a minor key, with the natural 7th.
        odd: Whether no line of a major or minor tune ends well on it, but after its own
            dominant.
        goals: Pitch classes of the roots to which it goes on; () for any.
    """

    column: int
    offer: Offer
    leading: int
    single: int
    seventh: int
    natural: bool
    odd: bool
    goals: tuple[int, ...]

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

    @property
    def stands(self) -> int:
        """Pitch class of the root that it stands for: a tonic 6/4 hangs over V."""
        six_four = self.is_tonic and self.inversion == 2
        return self.classes[2] if six_four else self.classes[0]

    @property
    def closes_weakly(self) -> bool:
        """Whether it leads to I, and more weakly than V in root position does."""
        if self.offer.role is Role.DOMINANT or self.leading == self.classes[0]:
            return self.inversion > 0
        return self.natural


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


_ODD_ENDS = ("ii", "iii", "vii°", "v")


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
        column, offer, leading, single, notes[3] if chord.is_seventh else NONE,
        key.mode is Mode.MINOR and offer.family in ("v", "VII"),
        tonal and offer.family in _ODD_ENDS,
        tuple((notes[0] + rise) % 12 for rise in _rises(offer, key)),
    )  # fmt: skip


def _rises(offer: Offer, key: Key) -> tuple[int, ...]:
    """Return by how many semitones the root may rise from a chord; () for any.

    A secondary dominant goes up a fourth, vii° to I, ii with a seventh to V; ii goes
    anywhere but to I, and iv of minor, which is ii of III, anywhere but to III (common
    practice).
    """
    tonal = key.mode in (Mode.MAJOR, Mode.MINOR)
    if offer.role is Role.APPLIED:
        return (0, 5)
    if tonal and offer.family == "vii°":
        return (1,)
    if tonal and offer.role is Role.SUPERTONIC and offer.chord.is_seventh:
        return (5,)
    if tonal and (offer.role is Role.SUPERTONIC or offer.family == "iv"):
        return tuple(rise for rise in range(12) if rise != 10)
    return ()


class FormTable(NamedTuple):
    """Facts of forms as arrays; entry f of each belongs to form f.

    Attributes:
        column: Column of the menu.
        inversion: Member in the bass, 0 to 3.
        family: Number of root and third, the same for all figures of a triad.
        leading: As in `ChordForm`.
        seventh: As in `ChordForm`.
        root: Pitch class of the root.
        stands: As in `ChordForm`.
        member: Shape (F, 12): whether a pitch class is in the chord.
        leads: Shape (F, 12): whether it goes on to a chord on that root.
        applied: Whether it is a secondary dominant.
        odd: As in `ChordForm`.
        tonic: Whether it is the tonic triad.
        dominant: Whether it is V or V7.
        weak: Whether it closes on I more weakly than V in root position does: V or vii°
            over another bass, and in minor v and VII.
    """

    column: NDArray[np.int64]
    inversion: NDArray[np.int64]
    family: NDArray[np.int64]
    leading: NDArray[np.int64]
    seventh: NDArray[np.int64]
    root: NDArray[np.int64]
    stands: NDArray[np.int64]
    member: NDArray[np.bool_]
    leads: NDArray[np.bool_]
    applied: NDArray[np.bool_]
    odd: NDArray[np.bool_]
    tonic: NDArray[np.bool_]
    dominant: NDArray[np.bool_]
    weak: NDArray[np.bool_]


def table_of(forms: tuple[ChordForm, ...]) -> FormTable:
    """Return the facts of forms as arrays."""
    rows = [
        (
            form.column, form.inversion, 12 * form.classes[0] + form.classes[1],
            form.leading, form.seventh, form.classes[0], form.stands,
            [note in form.classes for note in range(12)],
            [note in form.goals or not form.goals for note in range(12)],
            form.offer.role is Role.APPLIED, form.odd,
            form.is_tonic, form.offer.role is Role.DOMINANT,
            form.closes_weakly,
        )
        for form in forms
    ]  # fmt: skip
    return FormTable(*map(np.array, zip(*rows, strict=True)))
