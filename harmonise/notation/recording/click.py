"""What a singer heard while singing: the click, its metre, and where bar 1 began."""

from fractions import Fraction
from typing import NamedTuple

from harmonise.theory.metre import TimeSignature


class Click(NamedTuple):
    """How a recording is counted.

    Attributes:
        tempo: Counted beats a minute of the click; None if there was none.
        time: Time signature; None if nobody said, which is read as 4/4.
        pickup: Beats of the text, as the lower number names them, before the first
            full bar; None for none, or as `down` says.
        down: Seconds of the recording at which the first beat of bar 1 was clicked;
            None if the first note is to be the first beat.
    """

    tempo: Fraction | None = None
    time: TimeSignature | None = None
    pickup: Fraction | None = None
    down: float | None = None

    @property
    def metre(self) -> TimeSignature:
        """The time signature, 4/4 if nobody said."""
        return self.time or TimeSignature(4, 4)

    @property
    def is_compound(self) -> bool:
        """Whether its beats divide into three quavers."""
        return self.metre.beats % 3 == 0 and self.metre.beat_type == 8

    @property
    def before(self) -> Fraction:
        """Crotchets from the first note to bar 1, where they were told."""
        return (self.pickup or Fraction(0)) * self.metre.unit

    @property
    def crotchet(self) -> float | None:
        """Seconds of a crotchet; None without a click."""
        if self.tempo is None:
            return None
        return float(60 / (self.tempo * self.metre.beat))


FREE = Click()
RECORDED = frozenset({"R01", "R02"})
"""Codes of remarks of which a tune that was heard has one: how it was counted."""
DOUBTS = frozenset({"R07", "R08", "R09"})
"""Codes of remarks on a note that may be another, or that may be struck again."""
QUESTIONS = frozenset({"R02", "R10", "R11", "R12"})
"""Codes of remarks on a whole tune that ask something of its singer."""
