"""Pitches as musicians spell them: C sharp and D flat differ.

Units: scientific octaves (C4 is middle C) and MIDI note numbers (C4 is 60), as in
the MusicXML 4.0 and MIDI 1.0 standards. Letters count 0 to 6 from C.
"""

import re
from typing import NamedTuple, NewType

from harmonise.errors import NotationError, shorten

PitchClass = NewType("PitchClass", int)
"""Semitones above C, 0 to 11."""

LOWEST, HIGHEST = 21, 108
"""MIDI numbers of A0 and C8, the ends of a keyboard of 88 keys (common practice)."""

LETTERS = "CDEFGAB"
LETTER_SEMITONES = (0, 2, 4, 5, 7, 9, 11)
_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_ALTERS = {"": 0, "n": 0, "♮": 0, "#": 1, "♯": 1, "##": 2, "x": 2, "𝄪": 2}
_ALTERS |= {"b": -1, "♭": -1, "bb": -2, "𝄫": -2}
_PITCH = re.compile(r"([A-G])(##|bb|[#bnx♯♭♮𝄪𝄫]?)(-?\d{1,3})$")
_NAME = re.compile(r"([A-G])(##|bb|[#bx♯♭𝄪𝄫]?)$")


class PitchName(NamedTuple):
    """A spelled pitch class: a letter and its alteration.

    Attributes:
        letter: 0 to 6, counted from C.
        alter: Semitones, -2 to 2 in ordinary notation.
    """

    letter: int
    alter: int = 0

    @property
    def pitch_class(self) -> PitchClass:
        """Semitones above C, 0 to 11."""
        return PitchClass((LETTER_SEMITONES[self.letter] + self.alter) % 12)

    def __str__(self) -> str:
        """Return the name as typed: F#, Bb."""
        return LETTERS[self.letter] + format_alter(self.alter)

    def up(self, steps: int, semitones: int) -> "PitchName":
        """Return the name an interval higher.

        Args:
            steps: Letters upwards; a third is 2.
            semitones: Size of the interval; a major third is 4.

        >>> str(PitchName(3).up(3, 5))
        'Bb'
        """
        letter = (self.letter + steps) % 7
        sounding = LETTER_SEMITONES[self.letter] + self.alter + semitones
        alter = (sounding - LETTER_SEMITONES[letter] + 6) % 12 - 6
        return PitchName(letter, alter)

    def at(self, midi: int) -> "Pitch":
        """Return the pitch of this name that sounds as a MIDI number.

        Args:
            midi: Must be of this pitch class.

        >>> str(PitchName(0, -1).at(59))
        'Cb4'
        """
        octave, rest = divmod(midi - self.alter - LETTER_SEMITONES[self.letter], 12)
        if rest:
            msg = f"{self} never sounds as MIDI note {midi}."
            raise ValueError(msg)
        return Pitch(self.letter, self.alter, octave - 1)


class Pitch(NamedTuple):
    """A spelled pitch.

    Compare heights by `midi`; as tuples pitches order by letter, which no one hears.

    Attributes:
        letter: 0 to 6, counted from C.
        alter: Semitones, -2 to 2 in ordinary notation.
        octave: Scientific octave; middle C is octave 4.
    """

    letter: int
    alter: int
    octave: int

    @property
    def midi(self) -> int:
        """MIDI note number; middle C is 60."""
        return 12 * (self.octave + 1) + LETTER_SEMITONES[self.letter] + self.alter

    @property
    def pitch_class(self) -> PitchClass:
        """Semitones above C, 0 to 11."""
        return PitchClass((LETTER_SEMITONES[self.letter] + self.alter) % 12)

    @property
    def name(self) -> PitchName:
        """The pitch without its octave."""
        return PitchName(self.letter, self.alter)

    @property
    def staff_step(self) -> int:
        """Letters above C0; neighbouring staff places differ by one."""
        return 7 * self.octave + self.letter

    @property
    def off_keyboard(self) -> str:
        """On which side a piano lacks the note, in words; "" if it has it."""
        if LOWEST <= self.midi <= HIGHEST:
            return ""
        return "above the top" if self.midi > HIGHEST else "below the bottom"

    def __str__(self) -> str:
        """Return the name and octave as typed: F#4."""
        return format_pitch(self)


def format_alter(alter: int) -> str:
    """Return the typed sign of an alteration: "", "#", "bb" and so on."""
    return _SIGNS.get(alter, "#" * alter if alter > 0 else "b" * -alter)


def format_pitch(pitch: Pitch) -> str:
    """Return letter, sign and octave; `parse_pitch` reads it back."""
    return f"{LETTERS[pitch.letter]}{format_alter(pitch.alter)}{pitch.octave}"


def parse_pitch(text: str) -> Pitch:
    """Return the pitch that letter, sign and octave name.

    Raises:
        NotationError: If the text is not a pitch.

    >>> parse_pitch("Bb3").midi
    58
    """
    match = _PITCH.match(text)
    if not match:
        raise NotationError(
            f'"{shorten(text)}" is not a pitch.', None, "Type one such as F#4."
        )
    letter, sign, octave = match.groups()
    return Pitch(LETTERS.index(letter), _ALTERS[sign], int(octave))


def parse_name(text: str) -> PitchName:
    """Return the spelled pitch class that a letter and sign name.

    Raises:
        NotationError: If the text is not a note name.

    >>> parse_name("F#")
    PitchName(letter=3, alter=1)
    """
    match = _NAME.match(text)
    if not match:
        raise NotationError(
            f'"{text}" is not a note name.', None, "Type one such as F#."
        )
    return PitchName(LETTERS.index(match.group(1)), _ALTERS[match.group(2)])


def parse_alter(sign: str) -> int:
    """Return the semitones that a typed accidental sign stands for.

    Raises:
        KeyError: If the sign is not one of ours.
    """
    return _ALTERS[sign]
