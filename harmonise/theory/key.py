"""Keys and modes: signatures, spelled scales, degrees, and keys in a teacher's order.

The five modes and their signatures are common practice; the tests check every signature
from seven flats to seven sharps against music21. Six sharps and six flats sound alike
and one of the two is printed: F# major and Eb minor are the usual ones (common
practice), and Gb or its fellow is had for the asking.
"""

import re
from collections.abc import Sequence
from enum import Enum
from functools import lru_cache
from typing import NamedTuple

from harmonise.errors import HarmoniseError, NotationError, shorten
from harmonise.theory.pitch import PitchName, parse_name

_STEPS = (0, 2, 4, 5, 7, 9, 11)
# Fifths from C to each letter: F lies one back, B five on.
_FIFTHS = {0: 0, 1: 2, 2: 4, 3: -1, 4: 1, 5: 3, 6: 5}


class Mode(Enum):
    """A mode; the value is its name as typed."""

    MAJOR = "major"
    MINOR = "minor"
    DORIAN = "dorian"
    MIXOLYDIAN = "mixolydian"
    AEOLIAN = "aeolian"

    @property
    def is_minor(self) -> bool:
        """Whether the third of the scale is minor."""
        return self in (Mode.MINOR, Mode.DORIAN, Mode.AEOLIAN)


_OFFSET = {
    Mode.MAJOR: 0,
    Mode.MIXOLYDIAN: -1,
    Mode.DORIAN: -2,
    Mode.MINOR: -3,
    Mode.AEOLIAN: -3,
}
"""Fifths from the signature of the major key with the same tonic."""

_SCALE = {
    Mode.MAJOR: (0, 2, 4, 5, 7, 9, 11),
    Mode.MINOR: (0, 2, 3, 5, 7, 8, 10),
    Mode.AEOLIAN: (0, 2, 3, 5, 7, 8, 10),
    Mode.DORIAN: (0, 2, 3, 5, 7, 9, 10),
    Mode.MIXOLYDIAN: (0, 2, 4, 5, 7, 9, 10),
}


class Key(NamedTuple):
    """A tonic and a mode.

    Attributes:
        tonic: Spelled keynote.
        mode: One of the five modes.
    """

    tonic: PitchName
    mode: Mode = Mode.MAJOR

    @property
    def fifths(self) -> int:
        """Sharps of the signature; flats are negative."""
        return major_fifths(self.tonic) + _OFFSET[self.mode]

    @property
    def scale(self) -> tuple[PitchName, ...]:
        """The seven spelled degrees of the signature, tonic first."""
        return _scale(self)

    @property
    def scale_semitones(self) -> tuple[int, ...]:
        """Semitones of the seven degrees above the tonic."""
        return _SCALE[self.mode]

    def degree(self, name: PitchName) -> tuple[int, int]:
        """Return degree 1 to 7 and its alteration against the scale.

        >>> parse_key("A minor").degree(parse_name("G#"))
        (7, 1)
        """
        number = (name.letter - self.tonic.letter) % 7
        return number + 1, name.alter - self.scale[number].alter

    def name_at(self, degree: int, alter: int = 0) -> PitchName:
        """Return the spelled degree 1 to 7, raised or lowered by `alter` semitones."""
        plain = self.scale[degree - 1]
        return PitchName(plain.letter, plain.alter + alter)

    def __str__(self) -> str:
        """Return the key as typed: "F# minor"."""
        return f"{self.tonic} {self.mode.value}"


@lru_cache(maxsize=256)
def _scale(key: Key) -> tuple[PitchName, ...]:
    steps = key.scale_semitones
    return tuple(key.tonic.up(number, steps[number]) for number in range(7))


def major_fifths(tonic: PitchName) -> int:
    """Return the sharps (flats negative) of the major key on a tonic.

    >>> major_fifths(parse_name("Eb"))
    -3
    """
    return _FIFTHS[tonic.letter] + 7 * tonic.alter


def key_of_signature(fifths: int, mode: Mode) -> Key:
    """Return the key that a signature and a mode name together.

    Args:
        fifths: Sharps of the signature, flats negative.
        mode: The mode.

    >>> str(key_of_signature(1, Mode.DORIAN))
    'A dorian'
    """
    # The row F C G D A E B comes round after seven fifths, a sharp higher.
    from_c = fifths - _OFFSET[mode] + 1
    alter, letter = divmod(from_c, 7)
    return Key(PitchName((3, 0, 4, 1, 5, 2, 6)[letter], alter), mode)


_LONGEST = 40
_TYPED = re.compile(r"([A-G])(##|bb|[#b♯♭]| ?(?:flat|sharp))? ?(.*)", re.IGNORECASE)
_GERMAN = re.compile(r"([A-H])(is|e?s)? ?(dur|moll)", re.IGNORECASE)
_MODES = {
    **{mode.value: mode for mode in Mode},
    **{mode.value[:3]: mode for mode in Mode},
    "mixo": Mode.MIXOLYDIAN,
    **dict.fromkeys(("m", "moll"), Mode.MINOR),
    **dict.fromkeys(("harmonic minor", "minor harmonic"), Mode.MINOR),
    **dict.fromkeys(("melodic minor", "minor melodic"), Mode.MINOR),
    **dict.fromkeys(("M", "dur", "ionian", "natural", "natural major"), Mode.MAJOR),
    "natural minor": Mode.AEOLIAN,
}
"""How modes are typed: in full, as chord symbols, as ABC, as German books have them.

A key of the minor takes its scales as they come, so they are one key; the natural
minor alone never raises its seventh."""


def parse_key(text: str, mode: Mode = Mode.MAJOR) -> Key:
    """Return the key that a tonic and a mode name, in any spelling that means one.

    Args:
        text: Such as "Bb", "f# minor", "Gm", "B flat", "D harmonic minor", "F-Dur".
        mode: The mode if the text tells none.

    Raises:
        NotationError: E12, with the forms that are read.

    >>> str(parse_key("Bb")), str(parse_key("b flat")), str(parse_key("B-Dur"))
    ('Bb major', 'Bb major', 'Bb major')
    >>> str(parse_key("f# minor")), str(parse_key("Gm")), str(parse_key("c"))
    ('F# minor', 'G minor', 'C major')
    """
    key = _typed_key(" ".join(re.split(r"[\s,_()-]+", text[:_LONGEST])).strip(), mode)
    if key and len(text) <= _LONGEST:
        if abs(key.fifths) <= 7:
            return key
        raise NotationError(
            f"Key: {key} would need {abs(key.fifths)} sharps or flats.",
            remedy="Use the same sound with seven or fewer, such as Db for C#.",
        )
    raise NotationError(
        "Key: one letter A–G, with # or b, then major, minor, dorian, mixolydian or "
        "aeolian.",
    )


def _typed_key(words: str, mode: Mode) -> Key | None:
    """Return the key that words name; None if they name none."""
    if german := _GERMAN.fullmatch(words):
        letter, alter, told = (group or "" for group in german.groups())
        sign = {"": "", "i": "#", "e": "b", "s": "b"}[alter[:1].lower()]
        # B flat is called B in German, and B natural H.
        plain = {"H": "B", "B": "B" if alter else "Bb"}.get(letter.upper())
        return Key(parse_name((plain or letter.upper()) + sign), _MODES[told.lower()])
    typed = _TYPED.fullmatch(words)
    if not typed:
        return None
    letter, sign, told = (group or "" for group in typed.groups())
    sign = {"flat": "b", "sharp": "#"}.get(sign.strip().lower(), sign.lower())
    told = told.removesuffix(" mode")
    # A small m is minor, a capital one major, as in chord symbols.
    known = (_MODES.get(told) or _MODES.get(told.lower())) if told else mode
    return Key(parse_name(letter.upper() + sign), known) if known else None


class KeyOrder(Enum):
    """The orders in which teachers take keys."""

    FIFTHS = "fifths"
    FOURTHS = "fourths"
    CHROMATIC = "chromatic"
    FEW = "few-accidentals"


_CIRCLE = (0, 1, 2, 3, 4, 5, 6, -5, -4, -3, -2, -1)
"""Signatures round the circle of fifths: sharps, flats negative."""
_ALL = re.compile(r"all(?:\s+(\w+))?$")


def keys_of(
    mode: Mode, order: KeyOrder = KeyOrder.FIFTHS, *, flat: bool = False
) -> tuple[Key, ...]:
    """Return the twelve keys of a mode, from the one without sharps and flats.

    Args:
        mode: The mode.
        order: The order; fourths are the fifths backwards round the circle.
        flat: Whether the key of six flats is taken where six sharps are usual: Gb
            major, not F# major.

    >>> [str(key.tonic) for key in keys_of(Mode.MAJOR, KeyOrder.FEW, flat=True)][-3:]
    ['B', 'Db', 'Gb']
    >>> [str(key.tonic) for key in keys_of(Mode.DORIAN, KeyOrder.CHROMATIC)][:4]
    ['D', 'Eb', 'E', 'F']
    """
    six = -6 if flat or mode in (Mode.MINOR, Mode.AEOLIAN) else 6
    circle = [six if signs == 6 else signs for signs in _CIRCLE]
    keys = [key_of_signature(signs, mode) for signs in circle]
    first = keys[0]
    if order is KeyOrder.FOURTHS:
        return (first, *reversed(keys[1:]))
    if order is KeyOrder.CHROMATIC:
        low = first.tonic.pitch_class
        return tuple(sorted(keys, key=lambda key: (key.tonic.pitch_class - low) % 12))
    # Of keys with as many signs the one with sharps comes first (common practice).
    if order is KeyOrder.FEW:
        return tuple(sorted(keys, key=lambda key: (abs(key.fifths), -key.fifths)))
    return tuple(keys)


def named_keys(
    texts: Sequence[str],
    order: KeyOrder = KeyOrder.FIFTHS,
    *,
    mode: Mode = Mode.MAJOR,
    flat: bool = False,
) -> tuple[Key, ...]:
    """Return the keys of a list that somebody typed, in its own order.

    Args:
        texts: Names such as "C", "F# minor", "Am", and "all" or "all minor" for the
            twelve; each may hold several, with commas.
        order: Order of "all" keys.
        mode: The mode of a name that says none.
        flat: Whether six flats are taken for six sharps among "all" keys.

    Raises:
        NotationError: If a name is none.

    >>> [str(key) for key in named_keys(["C, Am", "Bb"])]
    ['C major', 'A minor', 'Bb major']
    """
    keys: list[Key] = []
    for word in (word.strip() for text in texts for word in text.split(",")):
        every = _ALL.match(word)
        if every and (every.group(1) or mode.value) in {known.value for known in Mode}:
            keys += keys_of(Mode(every.group(1) or mode.value), order, flat=flat)
        elif word:
            keys.append(_one(word, mode))
    return tuple(keys)


def _one(word: str, mode: Mode) -> Key:
    try:
        return parse_key(word, mode)
    except HarmoniseError as error:
        if "sharps or flats" in error.what:
            raise
        raise NotationError(
            f'"{shorten(word)}" is not a key.',
            remedy="Write one letter A to G, with # or b, and minor where it is minor: "
            "C, Bb, F# minor.",
        ) from error


def printed(key: Key) -> str:
    """Return a key as a page prints it: B♭ major, F♯ minor."""
    name = str(key.tonic)
    sign = name[1:].replace("#", "♯").replace("b", "♭")
    return f"{name[0]}{sign} {key.mode.value}"
