"""Pitches, accidentals and keys as ABC writes them.

An accidental is written wherever one of the ways to read ABC would need it: those that
let it hold in all octaves and those that let it hold in its own alone hear the same
notes. Source: ABC 2.1, sections 3.1.14, 4.1, 4.2, 11.3.
"""

from harmonise.errors import OutputError
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import LETTERS, Pitch, PitchName

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
