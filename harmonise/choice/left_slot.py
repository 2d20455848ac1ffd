"""What the left hand plays in one slot, as the notes are made from it."""

from typing import NamedTuple

from harmonise.theory.pitch import Pitch


class LeftNote(NamedTuple):
    """One note that the left hand strikes.

    Attributes:
        onset: In ticks.
        end: In ticks.
        pitch: Spelled pitch.
        finger: 1 to 5; 0 where it is left open.
    """

    onset: int
    end: int
    pitch: Pitch
    finger: int = 0


class LeftSlot(NamedTuple):
    """What the left hand plays in one slot.

    Attributes:
        held: Heights that sound through the slot; an unchanged chord goes on sounding.
        struck: Notes that are struck one by one instead.
    """

    held: tuple[int, ...] = ()
    struck: tuple[LeftNote, ...] = ()
