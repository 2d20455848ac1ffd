"""Every way to set a chord in four parts under a tune note.

All voicings that keep the hard rules of one chord are listed, none is thrown away by
taste. Hard rules (common practice): every voice in its range, at most an octave between
soprano and alto and between alto and tenor, hands in reach, no crossing and no unison
(each hand strikes two keys), root, third and seventh present, the fifth left out in
root position only, leading note and seventh in one voice alone. Where a slot has no
such voicing the rules give way in three steps, and the voicings of the first step that
has any are listed.

Where the voices may lie and how far apart stands at the top, to be edited. Notes are
MIDI numbers, distances semitones.
"""

from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.parts.forms import NONE, ChordForm, FormTable, table_of
from harmonise.choice.parts.spots import PartSlot
from harmonise.choice.weights import PartWeights


class Range(NamedTuple):
    """Lowest and highest note of a voice."""

    lowest: int
    highest: int


SOPRANO = Range(60, 81)
"""C4 to A5. The soprano is the tune as it is; this only tells when it lies outside."""
ALTO = Range(55, 74)
"""G3 to D5."""
TENOR = Range(48, 69)
"""C3 to A4."""
BASS = Range(40, 62)
"""E2 to D4."""

UPPER_GAP = 12
"""Most between soprano and alto, and between alto and tenor."""
LEFT_REACH = 16
"""Most between tenor and bass, a tenth: one hand plays both. Choirs allow a twelfth."""
EASY_LEFT_REACH = 12
"""What the left hand reaches with ease."""


def outside(soprano: int) -> int:
    """Return how far a tune note lies outside the soprano's range; below is negative.

    >>> outside(83), outside(70), outside(57)
    (2, 0, -3)
    """
    return max(0, soprano - SOPRANO.highest) + min(0, soprano - SOPRANO.lowest)


def widened(voice: Range, excess: int) -> Range:
    """Return a voice's range under a tune note so far outside the soprano's own.

    >>> widened(ALTO, -3)
    Range(lowest=52, highest=74)
    """
    return Range(voice.lowest + min(0, excess), voice.highest + max(0, excess))


Notes = NDArray[np.int16]
STRICT, APART, LOOSE, OPEN = range(4)
"""Steps by which rules give way: none; the right hand need not reach what the tune
leaps to inside a slot; members may be doubled or left out; ranges and spacing too."""

_CLOSE = 5


class Voicings(NamedTuple):
    """Voicings under one spot; entry v of each array belongs to voicing v.

    Attributes:
        form: Number of the form among the spot's.
        notes: Shape (V, 4): soprano, alto, tenor, bass at the start.
        steps: Shape (V, 4): their staff places.
        leave: The soprano's last note.
        cost: What each voicing costs by taste.
        gives: Step by which rules gave way.
        facts: The forms' facts.
    """

    form: NDArray[np.int64]
    notes: Notes
    steps: Notes
    leave: int
    cost: NDArray[np.int64]
    gives: int
    facts: FormTable

    @property
    def column(self) -> NDArray[np.int64]:
        """Column of the menu of each voicing."""
        columns: NDArray[np.int64] = self.facts.column[self.form]
        return columns


def voicings(spot: PartSlot, weights: PartWeights) -> Voicings:
    """Return every voicing under a spot; never none."""
    for gives in (STRICT, APART, LOOSE, OPEN):
        rows = [_of_form(spot, form, gives) for form in spot.forms]
        if any(map(len, rows)):
            break
    else:
        msg = f"no voicing at all under {spot.entry}"
        raise AssertionError(msg)
    form = np.repeat(np.arange(len(rows)), list(map(len, rows)))
    notes = np.concatenate(rows)
    cost = np.concatenate(
        [_taste(row, f, weights) for row, f in zip(rows, spot.forms, strict=True)]
    )
    return Voicings(
        form, notes, _steps(spot, notes, form), spot.leave, cost,
        gives, table_of(spot.forms),
    )  # fmt: skip


def _of_form(spot: PartSlot, form: ChordForm, gives: int) -> Notes:
    """Return, shape (V, 4), the voicings of one form."""
    if gives == OPEN:
        frames = _free_frames(spot.low, spot.entry)
    else:
        high = spot.high if gives == STRICT else spot.entry
        frames = _frames(spot.low, high, spot.entry, spot.span)
    inside = np.isin(np.arange(12), form.classes)
    bass = form.classes[form.inversion]
    kept = inside[frames[:, 1:] % 12].all(axis=1) & (frames[:, 3] % 12 == bass)
    notes: Notes = frames[kept]
    if gives in (STRICT, APART):
        notes = notes[_kept(notes, form)]
    return notes


@lru_cache(maxsize=512)
def _frames(low: int, high: int, entry: int, span: int) -> Notes:
    """Return, shape (V, 4), all notes that alto, tenor and bass may take together.

    Args:
        low: Lowest note of the soprano.
        high: The highest note that the right hand reaches with the alto.
        entry: Its first note.
        span: Widest reach of the right hand.
    """
    excess = outside(low) or outside(high)
    alto, tenor, bass = (widened(voice, excess) for voice in (ALTO, TENOR, BASS))
    # The right hand has the tune and the alto, the left hand tenor and bass.
    least = max(alto.lowest, high - min(UPPER_GAP, span))
    notes = (
        np.arange(least, min(low, alto.highest + 1)),
        np.arange(tenor.lowest, tenor.highest + 1),
        np.arange(bass.lowest, bass.highest + 1),
    )
    return _stacked(entry, notes, LEFT_REACH)


@lru_cache(maxsize=512)
def _free_frames(low: int, entry: int) -> Notes:
    """Return the same where ranges do not count; the voices keep within octaves."""
    tops = (low, low - 1, low - 2)
    notes = [np.arange(low - n * UPPER_GAP, top) for n, top in enumerate(tops, 1)]
    return _stacked(entry, tuple(notes), UPPER_GAP)


def _stacked(entry: int, notes: tuple[NDArray[np.int64], ...], reach: int) -> Notes:
    """Return, shape (V, 4), the ways to take one note each without crossing."""
    a, t, b = (row.ravel() for row in np.meshgrid(*notes, indexing="ij"))
    kept = (a > t) & (a - t <= UPPER_GAP) & (t > b) & (t - b <= reach)
    rows = np.stack((np.full(len(a), entry), a, t, b), axis=1)[kept]
    return rows.astype(np.int16)


def _counts(notes: Notes, form: ChordForm) -> NDArray[np.int64]:
    """Return, shape (V, members), in how many voices each member is."""
    classes = np.array(form.classes)
    count: NDArray[np.int64] = (notes[:, :, None] % 12 == classes).sum(axis=1)
    return count


def _kept(notes: Notes, form: ChordForm) -> NDArray[np.bool_]:
    """Return where all members sound, leading note and seventh in one voice alone.

    The fifth may be left out in root position: the ear adds it to the others.
    """
    needed = list(range(len(form.classes)))
    if form.inversion == 0 and not form.diminished and len(needed) > 2:
        needed.remove(2)
    kept: NDArray[np.bool_] = _counts(notes, form)[:, needed].min(axis=1) > 0
    for note in (form.single, form.seventh):
        if note != NONE:
            kept &= (notes % 12 == note).sum(axis=1) < 2
    return kept


def _taste(notes: Notes, form: ChordForm, weights: PartWeights) -> NDArray[np.int64]:
    """Return what voicings of a form cost by doubling, spacing and inversion."""
    turned = (0, weights.first, weights.second, weights.third)[form.inversion]
    if form.diminished and form.inversion == 0:
        turned += weights.diminished_root
    cost = np.full(len(notes), turned, np.int64)
    cost += _doubling(notes, form, weights)
    # Low notes close together growl, and a tenth is a stretch for the left hand.
    left = notes[:, 2] - notes[:, 3]
    cost += np.where(left > EASY_LEFT_REACH, weights.tenth, 0)
    cost += np.where((left < 7) & (notes[:, 3] < 48), weights.low_close, 0)
    for upper in (0, 1):
        gap = notes[:, upper] - notes[:, upper + 1]
        cost += weights.spread * np.maximum(0, gap - _CLOSE)
    for voice, limits in enumerate((ALTO, TENOR, BASS), 1):
        # A voice at the edge of its range has nowhere to go.
        line = notes[:, voice]
        far = (line < limits.lowest + 2) | (line > limits.highest - 2)
        cost += np.where(far, weights.edge, 0)
    return cost


def _doubling(notes: Notes, form: ChordForm, weights: PartWeights) -> NDArray[np.int64]:
    """Return what doubled and missing members cost.

    The root is doubled for nothing; in a diminished triad the third is.
    """
    count = _counts(notes, form)
    cost: NDArray[np.int64] = np.where(count > 2, weights.tripled, 0).sum(axis=1)
    if len(form.classes) < 3:
        return cost
    # The third of a major chord stands out, so that doubling it costs most.
    major = (form.classes[1] - form.classes[0]) % 12 == 4
    third = weights.doubled_major_third if major else weights.doubled_minor_third
    prices = (third, 0, third) if form.diminished else (0, third, weights.doubled_fifth)
    for member, price in enumerate(prices):
        cost += np.where(count[:, member] > 1, price, 0)
    cost += np.where(count[:, 2] == 0, weights.no_fifth, 0)
    return cost


def _steps(spot: PartSlot, notes: Notes, form: NDArray[np.int64]) -> Notes:
    """Return the staff places of all notes, spelled as members of their chords."""
    table = np.array([_spelled(f) for f in spot.forms], np.int16)
    steps: Notes = table[form[:, None], notes]
    steps[:, 0] = spot.entry_step
    return steps


@lru_cache(maxsize=1024)
def _spelled(form: ChordForm) -> tuple[int, ...]:
    """Return the staff place of every MIDI number in a chord; -1 for foreign ones."""
    names = {int(name.pitch_class): name for name in form.offer.chord.members}
    return tuple(
        names[midi % 12].at(midi).staff_step if midi % 12 in names else -1
        for midi in range(128)
    )
