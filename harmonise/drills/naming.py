"""Name it: a shape is shown, the pupil says chord, position and figures (drill D11)."""

from typing import NamedTuple

from harmonise.notation.writing.shape_labels import format_position
from harmonise.theory.arrangement import Labels, Position
from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch
from harmonise.theory.position import positions
from harmonise.theory.progression import NumberedChord, in_mode, parse_progression
from harmonise.theory.voicing import format_pitches

_SHAPES = (Position.ROOT, Position.FIRST, Position.SECOND)
_STRIDE = 4
"""Prime to nine: steps of four pass every shape once, and never the same chord twice
running."""


class Question(NamedTuple):
    """One shape and what is to be said of it.

    Attributes:
        key: The key.
        notes: The right hand, from the lowest up.
        numbered: The answer: chord and numeral.
        position: The answer: shape of the right hand.
    """

    key: Key
    notes: tuple[Pitch, ...]
    numbered: NumberedChord
    position: Position

    @property
    def question(self) -> str:
        """What is asked: "In C major: E4 G4 C5"."""
        return f"In {self.key}: {format_pitches(self.notes)}"

    @property
    def answer(self) -> str:
        """What is right: "C (I), first inversion, ⁶₃"."""
        chord, numeral = self.numbered
        figures = format_position(self.position, Labels.FIGURES, len(chord.members))
        return f"{chord} ({numeral}), {self.position.value}, {figures}"


def name_it(key: Key) -> tuple[Question, ...]:
    """Return the nine shapes of the primary triads in an order that tells nothing.

    The order differs from key to key and is the same in every run.

    >>> from harmonise.theory.key import parse_key
    >>> first = name_it(parse_key("C"))[0]
    >>> first.question, first.answer
    ('In C major: C4 E4 G4', 'C (I), root position, ⁵₃')
    """
    chords = parse_progression(in_mode("I IV V", key.mode), key)
    every = [
        Question(key, notes, numbered, position)
        for numbered in chords
        for notes, position in zip(positions(numbered.chord), _SHAPES, strict=True)
    ]
    count = len(every)
    first = 2 * key.fifths
    return tuple(every[(first + _STRIDE * at) % count] for at in range(count))
