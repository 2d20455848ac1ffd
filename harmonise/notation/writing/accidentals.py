"""Accidentals: which notes need one, and which get a courtesy one.

An accidental lasts to the bar line, on its own line or space of its own staff; a note
tied over the bar line needs none. Courtesy accidentals follow TRADE N11: in the bar
after an altered note on the same line or space, and in the same bar in another octave.
The raised seventh of a minor key is never in the signature, so every bar, and every
octave of it, marks it anew. Common practice.
"""

from collections.abc import Iterable
from typing import NamedTuple

from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch

NAMES = {
    -3: "triple-flat",
    -2: "flat-flat",
    -1: "flat",
    0: "natural",
    1: "sharp",
    2: "double-sharp",
    3: "triple-sharp",
}
"""MusicXML's names of the accidental signs, by semitones."""


class Accidental(NamedTuple):
    """A printed accidental.

    Attributes:
        name: MusicXML's name of the sign.
        courtesy: Whether it only reminds.
    """

    name: str
    courtesy: bool


class StaffMemory:
    """What a reader of one staff remembers of its accidentals."""

    def __init__(self) -> None:
        """Begin with no key and nothing remembered."""
        self._key: dict[int, int] = {}
        self._bar: dict[int, int] = {}
        self._last_bar: dict[int, int] = {}
        self._letters: dict[int, int] = {}

    def enter_key(self, key: Key) -> None:
        """Take a new signature; what was altered before is no longer in force."""
        self._key = {name.letter: name.alter for name in key.scale}
        self._bar = {}
        self._letters = {}

    def enter_bar(self, tied: Iterable[Pitch] = ()) -> None:
        """Cross a bar line.

        Args:
            tied: Pitches that are held over it; a reader expects to see them altered.
        """
        self._last_bar = self._bar
        self._last_bar.update({pitch.staff_step: pitch.alter for pitch in tied})
        self._bar = {}
        self._letters = {}

    def strike(self, pitch: Pitch) -> Accidental | None:
        """Return the accidental of a struck note and remember it; None for none."""
        letter, alter, _ = pitch
        step = pitch.staff_step
        usual = self._key.get(letter, 0)
        in_force = self._bar.get(step, usual)
        heard = self._letters.get(letter, alter)
        before = alter if step in self._bar else self._last_bar.get(step, alter)
        self._bar[step] = self._letters[letter] = alter
        if alter == in_force == heard == before or alter not in NAMES:
            return None
        return Accidental(NAMES[alter], alter == in_force)
