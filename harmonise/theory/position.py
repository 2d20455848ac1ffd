"""The positions of the right hand: shapes for drills and the law that names them.

A position says which chord member is the lowest note of the *right hand*; it is not the
inversion of the harmony, which the left hand decides.
"""

from harmonise.theory.arrangement import Position
from harmonise.theory.chord import QUALITIES, Chord, Member
from harmonise.theory.pitch import Pitch
from harmonise.theory.voicing import close_shape, right_hand

TABLE_LOWEST = 59
"""B3: lowest right-hand note of a drill's first chord; the highest is Bb4."""

_LAW = {
    Member.FIFTH: Position.ROOT,
    Member.ROOT: Position.FIRST,
    Member.THIRD: Position.SECOND,
}
_TOPS = (Member.FIFTH, Member.ROOT, Member.THIRD, Member.SEVENTH)
"""Members as tune notes, in the order of the positions that they make."""


def law_of_positions(top: Member) -> Position:
    """Return the position of a close triad under each member as tune note.

    Fifth on top: root position; root on top: first inversion; third on top: second.

    Raises:
        KeyError: For the seventh, which no triad has.
    """
    return _LAW[top]


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
    found = []
    for top in _TOPS:
        if top >= len(chord.members):
            continue
        interval = QUALITIES[chord.quality].intervals[top][1]
        shape = close_shape(chord.quality, interval)
        reach = shape[-1]
        base = (chord.root.pitch_class + interval - reach - lowest) % 12 + lowest
        pitch = chord.members[top].at(base + reach)
        found.append(right_hand(chord, pitch, shape))
    return tuple(found)
