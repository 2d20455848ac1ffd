"""Labels that name the shape of the right hand under the treble staff.

A label says which chord member is the lowest note of the *right hand*. It is not the
inversion of the harmony, which the left hand decides; `shape_legend` says so. Labels
stand where the shape or the chord changes. TRADE 3.1 gives the three styles.
"""

from collections.abc import Iterator
from fractions import Fraction

from harmonise.theory.arrangement import Arrangement, Labels, Position

_WORDS = {
    Position.ROOT: "root",
    Position.FIRST: "first",
    Position.SECOND: "second",
    Position.THIRD: "third",
    Position.OPEN: "open",
}
_LETTERS = dict(zip(_WORDS, ("a", "b", "c", "d", "open"), strict=True))
_TRIADS = dict(zip(_WORDS, ("⁵₃", "⁶₃", "⁶₄", "", "open"), strict=True))
_SEVENTHS = dict(zip(_WORDS, ("⁷", "⁶₅", "⁴₃", "⁴₂", "open"), strict=True))


def format_position(position: Position, labels: Labels, members: int = 3) -> str:
    """Return the label of a shape of the right hand.

    Args:
        position: The shape.
        labels: The style; `NONE` gives "".
        members: Notes of the chord, 3 or 4, which decide the figures.

    >>> [format_position(Position.FIRST, style) for style in Labels]
    ['', 'first', '⁶₃', 'b']
    """
    if labels is Labels.NONE:
        return ""
    figures = _TRIADS if members == 3 else _SEVENTHS
    tables = {
        Labels.WORDS: _WORDS, Labels.FIGURES: figures, Labels.LETTERS: _LETTERS
    }  # fmt: skip
    return tables[labels][position]


def shape_labels(arrangement: Arrangement) -> Iterator[tuple[Fraction, str]]:
    """Yield where labels stand and what they say, in the arrangement's own style."""
    before = None
    for slot in arrangement.slots:
        if slot.chord is None or slot.position is None:
            continue
        now = (slot.chord, slot.position)
        if now != before:
            members = len(slot.chord.members)
            style = arrangement.style.labels
            yield slot.onset, format_position(slot.position, style, members)
        before = now


def shape_legend(
    labels: Labels, *, sevenths: bool = False, opened: bool = False
) -> str:
    """Return the sentence that tells what labels mean; "" if there are none.

    Args:
        labels: Their style.
        sevenths: Whether seventh chords are among the labelled ones.
        opened: Whether a shape is labelled as open.

    >>> shape_legend(Labels.LETTERS)
    'Shape of the right hand: a root position, b first inversion, c second inversion.'
    """
    if labels is Labels.NONE:
        return ""
    shapes = [Position.ROOT, Position.FIRST, Position.SECOND]
    shapes += [Position.THIRD] if sevenths else []
    told = []
    for shape in shapes:
        names = [format_position(shape, labels, members) for members in (3, 4)]
        names = names if sevenths and labels is Labels.FIGURES else names[:1]
        shown = "" if labels is Labels.WORDS else " or ".join(filter(None, names)) + " "
        told.append(f"{shown}{shape.value}")
    told += ["open: a note is doubled"] if opened else []
    return f"Shape of the right hand: {', '.join(told)}."
