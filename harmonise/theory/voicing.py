"""Close voicings under a tune note, and the shapes and positions of the right hand.

A *shape* is written as offsets: semitones below the tune note, nearest first. Under a
chord member a complete close triad has exactly one shape, so these functions are small
tables worked out from `QUALITIES`; nothing here searches. The left hand plays the note
that the chord's inversion asks for, so a right-hand shape drops first what the left
hand has anyway. A *position* says which chord note is the lowest of the right hand; it
is not the inversion of the harmony, which the left hand decides. Common practice of
keyboard style: three voices in the right hand under the tune, the bass in the left.
"""

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

from harmonise.errors import NoHarmonyError
from harmonise.theory.arrangement import Position
from harmonise.theory.chord import QUALITIES, Chord, Member, Quality, QualityRow
from harmonise.theory.pitch import Pitch
from harmonise.theory.reach import bass_under

_POSITIONS = (Position.ROOT, Position.FIRST, Position.SECOND, Position.THIRD)
_NEAR = 2
"""A member this near the tune note, in semitones, is what the tune note resolves to."""


class Voicing(NamedTuple):
    """The sounding pitches of one chord.

    Attributes:
        left: Pitches of the left hand from the lowest up; () where it must rest.
        right: Pitches of the right hand from the lowest up; the tune is the last.
    """

    left: tuple[Pitch, ...]
    right: tuple[Pitch, ...]

    @property
    def pitches(self) -> tuple[Pitch, ...]:
        """All pitches, bass first, tune last."""
        return self.left + self.right

    @property
    def top(self) -> Pitch:
        """The tune."""
        return self.right[-1]

    @property
    def span(self) -> int:
        """Reach of the right hand in semitones."""
        return self.right[-1].midi - self.right[0].midi

    def __str__(self) -> str:
        """Return the pitches as typed: "C3 | E4 G4 C5"."""
        return f"{format_pitches(self.left)} | {format_pitches(self.right)}"


def format_pitches(pitches: Sequence[Pitch]) -> str:
    """Return pitches in the order given, as typed: "E4 G4 C5"."""
    return " ".join(map(str, pitches))


def _under(interval: int, members: Sequence[int]) -> tuple[int, ...]:
    """Return how far below a note the nearest places of some members lie, in order."""
    return tuple(sorted((interval - member) % 12 for member in members))


@lru_cache(maxsize=256)
def close_shape(quality: Quality, interval: int) -> tuple[int, ...]:
    """Return the inner notes of the full right-hand shape under a tune note.

    Under a member of a triad: the other two members, complete and close. Under a member
    of a chord of four notes: the third and the seventh (or sixth) always sound; beside
    them the tune itself counts, and if one note is still free it is the fifth under the
    seventh, the root under the third. Under a note foreign to the chord the member that
    it stands for (see `displaced_note`) is left out, so that the tune can resolve to
    it, and two others are taken: not nearer than a minor third where that can be had,
    the third first, then the seventh, then the fifth.

    Args:
        quality: Kind of chord.
        interval: Semitones of the tune note above the chord's root, 0 to 11.

    Returns:
        Semitones below the tune note, nearest first, each 1 to 11: two of them, or one
        for a chord of only two notes.

    >>> close_shape(Quality.MAJOR, 4)  # G4 C5 under E5
    (4, 9)
    >>> close_shape(Quality.DOMINANT_SEVENTH, 0)  # F4 B3 under G4: no fifth
    (2, 8)
    >>> close_shape(Quality.MAJOR, 5)  # C5 G4 under F5: the fourth holds back the third
    (5, 10)
    """
    row = QUALITIES[quality]
    if interval not in row.semitones:
        return _foreign_shape(row, interval)
    others = [member for member in row.semitones if member != interval]
    if len(others) == 3:
        # Four notes are one too many for the hand: the fifth tells least under root
        # and third, and the left hand has the root under fifth and seventh.
        fifth = row.interval(Member.FIFTH)
        others.remove(fifth if fifth and interval in (0, row.telling) else 0)
    return _under(interval, others)


def displaced_note(quality: Quality, interval: int) -> int | None:
    """Return the chord note that a tune note foreign to the chord stands for.

    A suspension or appoggiatura mostly resolves down a step, so a member one or two
    semitones below comes first; failing that, one as near above. Common practice.

    Args:
        quality: Kind of chord.
        interval: Semitones of the tune note above the chord's root, 0 to 11.

    Returns:
        Semitones of that note above the root; None if the tune note is in the chord
        itself or none of its notes is near.

    >>> [displaced_note(Quality.MAJOR, interval) for interval in (5, 11)]
    [4, 0]
    """
    return _displaced(QUALITIES[quality], interval)


def _displaced(row: QualityRow, interval: int) -> int | None:
    if interval in row.semitones:
        return None
    near = ((interval - step) % 12 for step in (1, 2, -1, -2))
    return next((note for note in near if note in row.semitones), None)


def _foreign_shape(row: QualityRow, interval: int) -> tuple[int, ...]:
    displaced = _displaced(row, interval)
    free = [note for note in row.semitones if note != displaced]
    pairs = combinations(free, min(2, len(free)))
    best = min(pairs, key=lambda pair: _foreign_rank(row, interval, pair))
    return _under(interval, best)


def _foreign_rank(
    row: QualityRow, interval: int, pair: tuple[int, ...]
) -> tuple[object, ...]:
    """Rank what may sound under a foreign tune note; the least is best."""
    offsets = _under(interval, pair)
    return (
        offsets[0] <= _NEAR,
        row.telling not in pair,
        row.added not in pair,
        0 in pair,
        offsets,
    )


@lru_cache(maxsize=256)
def thin_shape(quality: Quality, interval: int) -> tuple[int, ...]:
    """Return the one inner note of the two-note shape: low tunes, small hands.

    The third is always kept: it lies under every tune note but itself; under the third
    lies the root. Where the tune displaces the third, the seventh takes its place or,
    in a triad, the root. Common practice.

    Args:
        quality: Kind of chord.
        interval: Semitones of the tune note above the chord's root, 0 to 11.

    Returns:
        Semitones below the tune note: one number.

    >>> thin_shape(Quality.MAJOR, 7), thin_shape(Quality.MAJOR, 4)
    ((3,), (4,))
    """
    row = QUALITIES[quality]
    if row.telling not in (interval, _displaced(row, interval)):
        return _under(interval, [row.telling])
    if row.added is not None and interval != row.telling:
        return _under(interval, [row.added])
    return _under(interval, [0])


def doubled_third_shape(
    quality: Quality, interval: int, *, submediant: bool = False
) -> tuple[int, ...]:
    """Return the shape of vi after V under tune 7-1: the third doubled, no root.

    In C the right hand goes from D4 G4 B4 to C4 E4 C5 over G2 and A2, which avoids the
    parallels of the plain shape; in minor the same shape serves V to VI. A major triad
    has it only as VI: on the dominant it would double the leading note.

    Args:
        quality: Kind of chord.
        interval: Semitones of the tune note above the chord's root, 0 to 11.
        submediant: Whether the chord is known to be VI of a minor key.

    Returns:
        Semitones below the tune note, the fifth and the octave below; () unless the
        chord is a minor triad, or VI, under its third.

    >>> doubled_third_shape(Quality.MINOR, 3), doubled_third_shape(Quality.MAJOR, 4)
    ((8, 12), ())
    """
    if quality is not Quality.MINOR and not (submediant and quality is Quality.MAJOR):
        return ()
    _, third, fifth = QUALITIES[quality].semitones
    return (*_under(interval, [fifth]), 12) if interval == third else ()


def spell(chord: Chord, midi: int) -> Pitch:
    """Return the pitch that sounds as a MIDI number, spelled as the chord's member.

    Raises:
        NoHarmonyError: If no member sounds so.
    """
    name = chord.spelling(midi % 12)
    if name is None:
        raise NoHarmonyError(f"MIDI note {midi} is not in {chord.with_notes}.")
    return name.at(midi)


def right_hand(chord: Chord, top: Pitch, shape: tuple[int, ...]) -> tuple[Pitch, ...]:
    """Return a shape of a chord under a tune note, from the lowest pitch up.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.pitch import parse_pitch
    >>> format_pitches(right_hand(parse_symbol("E7"), parse_pitch("B4"), (3, 9)))
    'D4 G#4 B4'
    """
    inner = (spell(chord, top.midi - offset) for offset in reversed(shape))
    return (*inner, top)


def close_right_hand(chord: Chord, top: Pitch) -> tuple[Pitch, ...]:
    """Return the full right-hand shape of a chord under a tune note."""
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    return right_hand(chord, top, close_shape(chord.quality, interval))


def thin_right_hand(chord: Chord, top: Pitch) -> tuple[Pitch, ...]:
    """Return the right hand's two-note shape of a chord under a tune note."""
    interval = (top.pitch_class - chord.root.pitch_class) % 12
    return right_hand(chord, top, thin_shape(chord.quality, interval))


def over_bass(chord: Chord, right: tuple[Pitch, ...]) -> Voicing:
    """Return a right hand with the left hand that belongs under it.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.pitch import parse_pitch
    >>> right = tuple(map(parse_pitch, ("E4", "G4", "C5")))
    >>> str(over_bass(parse_symbol("C"), right))
    'C3 | E4 G4 C5'
    """
    bass = bass_under(chord.bass.pitch_class, right[0].midi)
    return Voicing(() if bass is None else (chord.bass.at(bass),), right)


def position_of(chord: Chord, notes: Sequence[Pitch]) -> Position | None:
    """Return the shape of a right hand: which chord member is its lowest note.

    This is not the inversion of the harmony, which the left hand decides.

    Args:
        chord: The chord that sounds.
        notes: Pitches of the right hand in any order, the tune among them.

    Returns:
        OPEN if a pitch class is doubled; None if there is no note or if the lowest is
        foreign to the chord.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.pitch import parse_pitch
    >>> position_of(parse_symbol("C"), [parse_pitch(n) for n in ("E4", "G4", "C5")])
    <Position.FIRST: 'first inversion'>
    """
    if not notes:
        return None
    classes = [note.pitch_class for note in notes]
    lowest = chord.over(min(notes, key=lambda note: note.midi).pitch_class)
    if lowest is None:
        return None
    return Position.OPEN if len(set(classes)) < len(classes) else _POSITIONS[lowest]


TABLE_LOWEST = 59
"""B3: lowest right-hand note of a drill's first chord; the highest is Bb4."""


def positions(
    chord: Chord, lowest: int = TABLE_LOWEST
) -> tuple[tuple[Pitch, ...], ...]:
    """Return the close right-hand shapes of a chord for drills: each tune member once.

    Args:
        chord: Any chord.
        lowest: MIDI number; the lowest note of each shape lies in the octave from it.

    Returns:
        Shapes from the lowest pitch up. For a triad: root position, first inversion,
        second inversion. For a chord of four notes: fifth, root, third, seventh on top.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.voicing import format_pitches
    >>> [format_pitches(shape) for shape in positions(parse_symbol("G"))]
    ['G4 B4 D5', 'B3 D4 G4', 'D4 G4 B4']
    """
    row = QUALITIES[chord.quality]
    tops = (row.interval(Member.FIFTH), 0, row.telling, row.added)
    shapes = []
    for interval in dict.fromkeys(top for top in tops if top is not None):
        shape = close_shape(chord.quality, interval)
        reach = shape[-1]
        base = (chord.root.pitch_class + interval - reach - lowest) % 12 + lowest
        shapes.append(right_hand(chord, spell(chord, base + reach), shape))
    return tuple(shapes)
