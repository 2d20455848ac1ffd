"""Which pitch an ABC note is: letter, octave marks, accidentals, key signature.

An accidental holds to the end of its bar, in all octaves unless the book says otherwise
(`I:propagate-accidentals octave` or `not`). C is middle C, c the C above it.
Source: ABC 2.1, sections 4.1, 4.2, 11.3.
"""

import re
from functools import lru_cache
from typing import NamedTuple

from harmonise.notation.reading.abc_faults import UnreadableError
from harmonise.theory.pitch import LETTERS, Pitch

_NOTE = r"([\^_=]*)(\d*/\d*|)([A-Ga-g])([,']*)"
_ALTERS = {"": None, "^": 1, "^^": 2, "=": 0, "_": -1, "__": -2}
_LOWEST, _HIGHEST = 21, 108
"""MIDI numbers of a piano's ends, A0 and C8."""


class Head(NamedTuple):
    """A note as written, without its length.

    Attributes:
        alter: Semitones of its own accidental; None if it has none.
        letter: 0 to 6, counted from C.
        octave: Scientific octave; middle C is in octave 4.
    """

    alter: int | None
    letter: int
    octave: int


@lru_cache(maxsize=4096)
def parse_head(text: str) -> tuple[Head, str]:
    """Return the note that a text begins with, and its length as written.

    Raises:
        UnreadableError: If the accidental is none of the five of the standard.

    >>> parse_head("^c'3/2")
    (Head(alter=1, letter=0, octave=6), '3/2')
    """
    found = re.match(_NOTE, text)
    signs, slash, letter, marks = found.groups() if found else ("", "/", "", "")
    if found is None or slash:
        raise UnreadableError(
            f'"{text}" is smaller than a semitone.', "Write ^, ^^, =, _ or __."
        )
    if signs not in _ALTERS:
        raise UnreadableError(
            f'"{signs}" is no accidental.', "Write ^, ^^, =, _ or __ before the letter."
        )
    octave = 4 + letter.islower() + marks.count("'") - marks.count(",")
    head = Head(_ALTERS[signs], LETTERS.index(letter.upper()), octave)
    return head, text[found.end() :]


@lru_cache(maxsize=1024)
def _pitch(letter: int, alter: int, octave: int) -> Pitch:
    """Return the pitch, if a piano has it."""
    pitch = Pitch(letter, alter, octave)
    if _LOWEST <= pitch.midi <= _HIGHEST:
        return pitch
    side = "above the top" if pitch.midi > _HIGHEST else "below the bottom"
    raise UnreadableError(
        f"{pitch} is {side} of the piano.",
        "Put the tune into another octave, such as with K:… octave=-1.",
    )


class Signs:
    """The accidentals in force as notes follow each other.

    Attributes:
        octave: Octaves that every note is moved by.
        spread: How accidentals hold: "pitch", "octave" or "not".
        differs: Whether the last note would be another under the rule that an
            accidental holds in its own octave alone.
    """

    def __init__(self, spread: str = "pitch") -> None:
        """Begin without signature.

        Args:
            spread: How accidentals hold: "pitch", "octave" or "not".
        """
        self.octave = 0
        self.differs = False
        self.spread = spread
        self._signature = [0] * 7
        self._letters: dict[int, int] = {}
        self._notes: dict[tuple[int, int], int] = {}

    def set_signature(self, alters: dict[int, int]) -> None:
        """Change the key signature: semitones by letter."""
        self._signature = [alters.get(letter, 0) for letter in range(7)]

    def pass_bar(self) -> None:
        """Let every accidental end."""
        if self._letters:
            self._letters = {}
            self._notes = {}

    def pitch(self, head: Head) -> Pitch:
        """Return the pitch of the next note.

        Raises:
            UnreadableError: If no piano has it.
        """
        alter, letter, octave = head
        self.differs = False
        if alter is not None:
            self._letters[letter] = alter
            self._notes[letter, octave] = alter
        else:
            alter = self._signature[letter]
            if letter in self._letters:
                alter = self._altered(letter, octave)
        return _pitch(letter, alter, octave + self.octave)

    def _altered(self, letter: int, octave: int) -> int:
        """Return what an earlier accidental of the bar makes of a bare letter."""
        plain = self._signature[letter]
        in_octave = self._notes.get((letter, octave), plain)
        if self.spread != "pitch":
            return in_octave if self.spread == "octave" else plain
        self.differs = in_octave != self._letters[letter]
        return self._letters[letter]

    def tied_pitch(self, head: Head, before: Pitch) -> Pitch | None:
        """Return the pitch of a bare note that a tie leads to over a bar line.

        The tie carries the accidental of its first note to the second, and no further
        (common practice). None if the note is another or has an accidental.
        """
        if head.alter is not None or head.letter in self._letters:
            return None
        same = (head.letter, head.octave + self.octave) == (
            before.letter,
            before.octave,
        )
        return before if same else None
