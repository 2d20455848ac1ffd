"""Which pitch an ABC note is: letter, octave marks, accidentals, key signature.

An accidental holds to the end of its bar, in all octaves unless the book says otherwise
(`I:propagate-accidentals octave` or `not`). C is middle C, c the C above it.
Source: ABC 2.1, sections 4.1, 4.2, 11.3.

Pitches, accidentals and keys as ABC writes them.

An accidental is written wherever one of the ways to read ABC would need it: those that
let it hold in all octaves and those that let it hold in its own alone hear the same
notes. Source: ABC 2.1, sections 3.1.14, 4.1, 4.2, 11.3.
"""

import re
from functools import lru_cache
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.abc.abc_faults import UnreadableError
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import LETTERS, Pitch, PitchName

_NOTE = r"([\^_=]*)(\d*/\d*|)([A-Ga-g])([,']*)"
_ALTERS = {"": None, "^": 1, "^^": 2, "=": 0, "_": -1, "__": -2}
_LOWEST, _HIGHEST = 21, 108
"""MIDI numbers of a piano's ends, A0 and C8."""


class AbcHead(NamedTuple):
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
def parse_head(text: str) -> tuple[AbcHead, str]:
    """Return the note that a text begins with, and its length as written.

    Raises:
        UnreadableError: If the accidental is none of the five of the standard.

    >>> parse_head("^c'3/2")
    (AbcHead(alter=1, letter=0, octave=6), '3/2')
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
    head = AbcHead(_ALTERS[signs], LETTERS.index(letter.upper()), octave)
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

    def pitch(self, head: AbcHead) -> Pitch:
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

    def tied_pitch(self, head: AbcHead, before: Pitch) -> Pitch | None:
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


_SIGNS = {-2: "__", -1: "_", 0: "=", 1: "^", 2: "^^"}
_MODES = {
    Mode.MAJOR: "",
    Mode.MINOR: "m",
    Mode.DORIAN: "dor",
    Mode.MIXOLYDIAN: "mix",
    Mode.AEOLIAN: "aeo",
}


def format_key(key: Key) -> str:
    """Return a key as a `K:` field names it.

    Raises:
        OutputError: If it needs more than seven sharps or flats.

    >>> from harmonise.theory.key import parse_key
    >>> format_key(parse_key("F# minor"))
    'F#m'
    """
    if abs(key.fifths) > 7:
        raise OutputError(
            f"ABC cannot write {key}.", None, "Write it with seven sharps or fewer."
        )
    return f"{key.tonic}{_MODES[key.mode]}"


class Accidentals:
    """The accidentals in force as notes follow each other."""

    def __init__(self, key: Key) -> None:
        """Begin with the signature of a key."""
        self._signature = [name.alter for name in _by_letter(key)]
        self._letters: dict[int, int] = {}
        self._notes: dict[tuple[int, int], int] = {}
        self._unsure: set[int] = set()

    def pass_bar(self) -> None:
        """Let every accidental end."""
        self._letters, self._notes, self._unsure = {}, {}, set()

    def set_key(self, key: Key) -> None:
        """Change the signature; what an earlier accidental means then is unsure."""
        self._signature = [name.alter for name in _by_letter(key)]
        self._unsure |= set(self._letters)

    def write(self, pitch: Pitch, *, grace: bool = False) -> str:
        """Return a pitch with the accidental that it needs here.

        Args:
            pitch: The pitch; altered by two semitones at most.
            grace: Whether it is a grace note, whose accidental may not hold on.
        """
        letter, alter, octave = pitch
        plain = self._signature[letter]
        heard = {
            self._letters.get(letter, plain),
            self._notes.get((letter, octave), plain),
        }
        if heard == {alter} and letter not in self._unsure:
            return format_head(pitch)
        self._letters[letter] = self._notes[letter, octave] = alter
        self._unsure.discard(letter)
        if grace:
            self._unsure.add(letter)
        return _SIGNS[alter] + format_head(pitch)


def _by_letter(key: Key) -> list[PitchName]:
    return sorted(key.scale, key=lambda name: name.letter)


def format_head(pitch: Pitch) -> str:
    """Return letter and octave marks without accidental: C is middle C.

    >>> [format_head(Pitch(0, 0, octave)) for octave in (3, 4, 5, 6)]
    ['C,', 'C', 'c', "c'"]
    """
    letter = LETTERS[pitch.letter]
    if pitch.octave > 4:
        return letter.lower() + "'" * (pitch.octave - 5)
    return letter + "," * (4 - pitch.octave)
