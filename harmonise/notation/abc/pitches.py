"""Pitches of ABC, both ways: letter, octave marks, accidentals, key signature.

An accidental holds to the end of its bar, in all octaves unless the book says otherwise
(`I:propagate-accidentals octave` or `not`). What we write is heard the same under both
of the first two readings: an accidental stands wherever one of them would need it.
C is middle C, c the C above it. Source: ABC 2.1, sections 4.1, 4.2, 11.3.
"""

import re
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from harmonise.notation.abc.abc_text import UnreadableError
from harmonise.theory.key import Key
from harmonise.theory.pitch import LETTERS, Pitch
from harmonise.theory.tune import Grace, Syllable

_NOTE = r"([\^_=]*)(\d*/\d*|)([A-Ga-g])([,']*)"
ALTERS = {"__": -2, "_": -1, "=": 0, "^": 1, "^^": 2}
"""The five accidentals (4.2) in semitones; what is smaller, such as ^/, is refused."""
_SIGNS = {alter: sign for sign, alter in ALTERS.items()}
_MIDDLE = 4
"""Octave of the capital letters; small ones lie in the next (4.1)."""


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
    match = re.match(_NOTE, text)
    signs, slash, letter, marks = match.groups() if match else ("", "/", "", "")
    if match is None or slash:
        what = f'"{text}" is smaller than a semitone.'
        raise UnreadableError(what, "Write ^, ^^, =, _ or __.")
    if signs and signs not in ALTERS:
        what = f'"{signs}" is no accidental.'
        raise UnreadableError(what, "Write ^, ^^, =, _ or __ before the letter.")
    # Marks add up, so that "c'," is c: the standard allows both kinds on one letter.
    octave = _MIDDLE + letter.islower() + marks.count("'") - marks.count(",")
    head = AbcHead(ALTERS.get(signs), LETTERS.index(letter.upper()), octave)
    return head, text[match.end() :]


@lru_cache(maxsize=1024)
def _pitch(letter: int, alter: int, octave: int) -> Pitch:
    """Return the pitch, if a piano has it."""
    pitch = Pitch(letter, alter, octave)
    if not (side := pitch.off_keyboard):
        return pitch
    remedy = "Put the tune into another octave, such as with K:… octave=-1."
    raise UnreadableError(f"{pitch} is {side} of the piano.", remedy)


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

    @property
    def altered(self) -> set[int]:
        """Letters that had an accidental in this bar."""
        return set(self._letters)

    def pitch(self, head: AbcHead) -> Pitch:
        """Return the pitch of the next note.

        Raises:
            UnreadableError: If no piano has it.
        """
        return _pitch(head.letter, self.alter(head), head.octave + self.octave)

    def alter(self, head: AbcHead) -> int:
        """Return the semitones by which the next note is altered."""
        alter, letter, octave = head
        self.differs = False
        if alter is not None:
            self._letters[letter] = self._notes[letter, octave] = alter
            return alter
        if letter in self._letters:
            return self._held(letter, octave)
        return self._signature[letter]

    def _held(self, letter: int, octave: int) -> int:
        """Return what an earlier accidental of the bar makes of a bare letter."""
        plain = self._signature[letter]
        in_octave = self._notes.get((letter, octave), plain)
        if self.spread != "pitch":
            return in_octave if self.spread == "octave" else plain
        # The default of 2.1 (11.3); older books mean the octave alone, so it is told.
        self.differs = in_octave != self._letters[letter]
        return self._letters[letter]

    def tied_pitch(self, head: AbcHead, before: Pitch) -> Pitch | None:
        """Return the pitch of a bare note that a tie leads to over a bar line.

        The tie carries the accidental of its first note to the second, and no further
        (common practice). None if the note is another or has an accidental.
        """
        if head.alter is not None or head.letter in self._letters:
            return None
        # Only the bare letter of the same note goes on with it.
        same = (head.letter, head.octave + self.octave) == (
            before.letter,
            before.octave,
        )
        return before if same else None


class Accidentals:
    """The accidentals to be written: what two readers hear who disagree on octaves."""

    def __init__(self, key: Key) -> None:
        """Begin with the signature of a key."""
        self._readers = (Signs("pitch"), Signs("octave"))
        self._unsure: set[int] = set()
        self.set_key(key)

    def pass_bar(self) -> None:
        """Let every accidental end."""
        self._unsure = set()
        for reader in self._readers:
            reader.pass_bar()

    def set_key(self, key: Key) -> None:
        """Change the signature; what an earlier accidental means then is unsure."""
        for reader in self._readers:
            self._unsure |= reader.altered
            reader.set_signature({name.letter: name.alter for name in key.scale})

    def write(self, pitch: Pitch, *, grace: bool = False) -> str:
        """Return a pitch with the accidental that it needs here.

        Args:
            pitch: The pitch; altered by two semitones at most.
            grace: Whether it is a grace note, whose accidental may not hold on.
        """
        letter, alter, octave = pitch
        bare = AbcHead(None, letter, octave)
        heard = {reader.alter(bare) for reader in self._readers}
        if heard == {alter} and letter not in self._unsure:
            return format_head(pitch)
        for reader in self._readers:
            reader.alter(AbcHead(alter, letter, octave))
        # The standard leaves open whether a grace note's accidental holds on (4.12).
        self._unsure = self._unsure | {letter} if grace else self._unsure - {letter}
        return _SIGNS[alter] + format_head(pitch)


def format_head(pitch: Pitch) -> str:
    """Return letter and octave marks without accidental: C is middle C.

    >>> [format_head(Pitch(0, 0, octave)) for octave in (3, 4, 5, 6)]
    ['C,', 'C', 'c', "c'"]
    """
    letter = LETTERS[pitch.letter]
    if pitch.octave > _MIDDLE:
        return letter.lower() + "'" * (pitch.octave - _MIDDLE - 1)
    return letter + "," * (_MIDDLE - pitch.octave)


class Draft:
    """One note or rest as written.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        pitch: None for a rest.
        line: Number of its line.
        bar: Number of the mark before it, counted from 0.
        graces: Grace notes before it.
        fermata: Whether a fermata stands over it.
        slur_starts: Number of slurs that begin here.
        slur_ends: Number of slurs that end here.
        tied: Whether a tie leads to the next note.
        symbols: Texts of the chord symbols over it.
        words: What is sung on it, by verse.
    """

    graces: tuple[Grace, ...]
    words: dict[int, Syllable | str]

    def __init__(
        self, onset: Fraction, length: Fraction, pitch: Pitch | None, line: int
    ) -> None:
        """Begin with a bare note or rest."""
        self.onset = onset
        self.length = length
        self.pitch = pitch
        self.line = line
        self.bar = 0
        self.graces = ()
        self.fermata = False
        self.slur_starts = 0
        self.slur_ends = 0
        self.tied = False
        self.symbols: tuple[str, ...] = ()
        self.words = {}


HOLD, DASH = "_", "-"
"""What stands under a note on which a syllable, or the hyphen after it, goes on."""
