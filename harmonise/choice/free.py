"""Voicings where no tune is given: the smoothest way through a row of chords.

Every chord offers its close shapes; the way through them is the exact optimum of
`cheapest_path`. What counts, the first before the second and so on (the order is strict
for progressions of up to 32 chords):

1. parallel fifths and octaves, sevenths that do not fall a step or stay, augmented
   seconds;
2. semitones that the right hand moves in all;
3. voices that move with the bass and not against it;
4. the largest move.

The order is that of the least-motion table of keyboard harmony, common practice; only
that there parallels merely break ties. Put first they leave every row of the table as
it is and keep V to vi from sliding up in parallels.
"""

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations, pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from harmonise.choice.path import cheapest_path
from harmonise.theory.chord import Chord, Inversion, Member, Quality
from harmonise.theory.motion import is_deceptive
from harmonise.theory.reach import LEFT_HAND_GAP, LEFT_HAND_LOWEST, window_note
from harmonise.theory.voicing import (
    Voicing,
    close_right_hand,
    close_shape,
    doubled_third_shape,
    over_bass,
    right_hand,
    spell,
)

_FAULT, _MOTION, _SIMILAR = 1 << 27, 1 << 16, 1 << 9
_NEVER = 1 << 40
_LOWEST, _HIGHEST = 53, 76
"""F3 and E5: where the lowest note of the right hand may lie."""
_HIGHEST_BASS = 59
"""B3: above it the left hand would be in the right hand's way."""

_SHARP_THIRDS = (Quality.MAJOR, Quality.DOMINANT_SEVENTH)

Heights = NDArray[np.int64]


def free_voicings(chords: Sequence[Chord], start: Voicing) -> tuple[Voicing, ...]:
    """Return the smoothest voicings of a row of chords from a given first one.

    Args:
        chords: The chords; the first is that of `start`.
        start: How the first chord is played, with three notes in the right hand.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.pitch import parse_pitch
    >>> one = Voicing(*(tuple(map(parse_pitch, n.split())) for n in ("C3", "C4 E4 G4")))
    >>> chords = [parse_symbol(name) for name in ("C", "F", "G", "C")]
    >>> print(*free_voicings(chords, one), sep=", ")
    C3 | C4 E4 G4, F2 | C4 F4 A4, G2 | B3 D4 G4, C3 | C4 E4 G4
    """
    layers = _layers(chords, start)
    return _smoothest(chords, layers, [[0] * len(layer) for layer in layers])


def under_tune(
    chords: Sequence[Chord], tops: Sequence[int], *, strict: bool = True
) -> tuple[Voicing, ...]:
    """Return close voicings under given tune notes, the left hand chosen by the path.

    The left hand keeps to its window wherever parallels do not drive it out: under IV
    to V with 6 to 7 on top it falls, in C from F3 to G2, and may lie as high as B3 so
    that it can.

    Args:
        chords: The chords.
        tops: MIDI numbers of the tune, one a chord, each a member of it.
        strict: Whether the left hand may leave its window.
    """
    layers, prices = [], []
    for chord, top in zip(chords, tops, strict=True):
        usual = over_bass(chord, close_right_hand(chord, spell(chord, top)))
        # The usual place of the bass stands first, so that it wins where others tie.
        lefts = [usual.left]
        if strict:
            highest = min(_HIGHEST_BASS, usual.right[0].midi - LEFT_HAND_GAP)
            places = [chord.bass.at(n) for n in range(LEFT_HAND_LOWEST, highest + 1)
                      if n % 12 == chord.bass.pitch_class]  # fmt: skip
            lefts += [(place,) for place in places if (place,) != usual.left]
        home = window_note(chord.bass.pitch_class)
        away = [abs(left[0].midi - home) if left else 2 * home for left in lefts]
        layers.append([Voicing(left, usual.right) for left in lefts])
        prices.append([_MOTION * distance for distance in away])
    return _smoothest(chords, layers, prices)


def _layers(chords: Sequence[Chord], start: Voicing) -> tuple[tuple[Voicing, ...], ...]:
    """Return what each chord offers; vi after V may double its third."""
    later = [
        _shapes(chord, doubled=is_deceptive(before.root.pitch_class, chord))
        for before, chord in pairwise(chords)
    ]
    return ((start,), *later)


@lru_cache(maxsize=512)
def _shapes(chord: Chord, *, doubled: bool) -> tuple[Voicing, ...]:
    """Return every close shape of a chord within reach, from the lowest up."""
    shapes = []
    for top in range(_LOWEST, _HIGHEST + 13):
        if top % 12 not in chord.pitch_classes:
            continue
        for shape in _offsets(chord, top, doubled=doubled):
            if shape and _LOWEST <= top - shape[-1] <= _HIGHEST:
                pitches = right_hand(chord, spell(chord, top), shape)
                shapes.append(over_bass(chord, pitches))
    return tuple(voicing for voicing in shapes if voicing.left)


def _offsets(chord: Chord, top: int, *, doubled: bool) -> list[tuple[int, ...]]:
    """Return the shapes under a tune note, in semitones below it.

    Where the left hand has the third of a major chord or of V7, which in V is the
    leading note, the right hand leaves it out.
    """
    interval = (top - chord.root.pitch_class) % 12
    if chord.inversion is Inversion.FIRST and chord.quality in _SHARP_THIRDS:
        bass = chord.bass.pitch_class
        classes = [note for note in chord.pitch_classes if note != bass]
        if top % 12 not in classes:
            return []
        under = sorted((top - note) % 12 for note in classes if note != top % 12)
        return [(*under, 12)[:2]]
    shapes = [close_shape(chord.quality, interval)]
    if doubled:
        shapes.append(doubled_third_shape(chord.quality, interval, submediant=True))
    return shapes


class Layer(NamedTuple):
    """The voicings of one chord as numbers, each of shape (voicings, 4): bass first.

    Attributes:
        midi: MIDI numbers; -1 where the bass is silent.
        steps: Staff steps, which tell an augmented second from a minor third.
        sevenths: Whether the note is the seventh of its chord.
    """

    midi: Heights
    steps: Heights
    sevenths: NDArray[np.bool_]


def layer_of(chord: Chord, voicings: Sequence[Voicing]) -> Layer:
    """Return the voicings of a chord as numbers."""
    rows = [(v.left[0] if v.left else None, *v.right) for v in voicings]
    midi = np.array([[p.midi if p else -1 for p in row] for row in rows], np.int64)
    steps = [[p.staff_step if p else -1 for p in row] for row in rows]
    name = chord.member(Member.SEVENTH)
    seventh = name.pitch_class if name else -1
    is_seventh = (midi >= 0) & (midi % 12 == seventh)
    return Layer(midi, np.array(steps, np.int64), is_seventh)


def _smoothest(
    chords: Sequence[Chord],
    voicings: Sequence[Sequence[Voicing]],
    prices: Sequence[Sequence[int]],
) -> tuple[Voicing, ...]:
    """Return the cheapest way through the voicings of every chord."""
    width = max(len(row) for row in voicings)
    here = np.full((len(voicings), width), _NEVER, np.int64)
    for row, costs in zip(here, prices, strict=True):
        row[: len(costs)] = costs
    layers = [layer_of(*pair) for pair in zip(chords, voicings, strict=True)]

    def moves(u: int) -> NDArray[np.int32]:
        costs = np.zeros((width, width), np.int32)
        found = step_costs(layers[u - 1], layers[u])
        costs[: found.shape[0], : found.shape[1]] = found
        return costs

    states = cheapest_path(here, moves).states
    return tuple(row[state] for row, state in zip(voicings, states, strict=True))


def step_costs(before: Layer, here: Layer) -> NDArray[np.int32]:
    """Return the cost of going from every voicing of a chord to every one of the next.

    Args:
        before: r voicings.
        here: s voicings.

    Returns:
        Shape (r, s).
    """
    moved = here.midi[None] - before.midi[:, None]
    bass = (before.midi[:, None, 0] >= 0) & (here.midi[None, :, 0] >= 0)
    moved[..., 0] = np.where(bass, moved[..., 0], 0)
    right = np.abs(moved[..., 1:])
    similar = (moved[..., 1:] * moved[..., :1] > 0).sum(-1)
    # A seventh falls a step or stays; a voice sings no augmented second.
    falls = (moved <= 0) & (moved >= -2)
    faults = (before.sevenths[:, None] & ~falls).sum(-1)
    letters = np.abs(here.steps[None] - before.steps[:, None])
    faults += ((letters == 1) & (np.abs(moved) == 3))[..., 1:].sum(-1)
    for low, high in combinations(range(4), 2):
        # Two voices a fifth or octave apart in both chords that move the same way.
        old, new = ((m[:, high] - m[:, low]) % 12 for m in (before.midi, here.midi))
        perfect = (old[:, None] == new[None]) & np.isin(new, (0, 7))[None]
        faults += perfect & (moved[..., low] * moved[..., high] > 0)
    costs = faults * _FAULT + right.sum(-1) * _MOTION + similar * _SIMILAR
    total: NDArray[np.int32] = (costs + right.max(-1)).astype(np.int32)
    return total
