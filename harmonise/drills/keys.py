"""In which keys a drill goes, and in which order.

F# and Gb major sound alike and one of the two is printed. In minor the usual names are
taken: G# rather than Ab, Eb rather than D#.
"""

import re
from collections.abc import Sequence
from enum import Enum

from harmonise.errors import HarmoniseError, NotationError
from harmonise.theory.key import Key, Mode, parse_key
from harmonise.theory.pitch import parse_name


class KeyOrder(Enum):
    """The orders in which teachers take keys."""

    FIFTHS = "fifths"
    FOURTHS = "fourths"
    CHROMATIC = "chromatic"
    FEW = "few-accidentals"


_MAJOR = {
    KeyOrder.FIFTHS: "C G D A E B F# Db Ab Eb Bb F",
    KeyOrder.FOURTHS: "C F Bb Eb Ab Db F# B E A D G",
    KeyOrder.CHROMATIC: "C Db D Eb E F F# G Ab A Bb B",
    KeyOrder.FEW: "C G F D Bb A Eb E Ab B Db F#",
}
_MINOR = {
    KeyOrder.FIFTHS: "A E B F# C# G# Eb Bb F C G D",
    KeyOrder.FOURTHS: "A D G C F Bb Eb G# C# F# B E",
    KeyOrder.CHROMATIC: "A Bb B C C# D Eb E F F# G G#",
    KeyOrder.FEW: "A E D B G F# C C# F G# Bb Eb",
}
_ALL = re.compile(r"all(?:\s+(major|minor))?$")
_SHORT_MINOR = re.compile(r"([A-G](?:[#b♯♭])?)\s*m$")


def all_keys(
    order: KeyOrder = KeyOrder.FIFTHS, *, minor: bool = False, flat: bool = False
) -> tuple[Key, ...]:
    """Return the twelve keys in an order, from C major or A minor.

    Args:
        order: The order; fourths are the fifths backwards round the circle.
        minor: Whether they are minor.
        flat: Whether Gb major stands for F# major.

    >>> [str(key.tonic) for key in all_keys(KeyOrder.FEW, flat=True)][-3:]
    ['B', 'Db', 'Gb']
    """
    names = (_MINOR if minor else _MAJOR)[order].split()
    mode = Mode.MINOR if minor else Mode.MAJOR
    if flat and not minor:
        names = ["Gb" if name == "F#" else name for name in names]
    return tuple(Key(parse_name(name), mode) for name in names)


def parse_keys(
    texts: Sequence[str],
    order: KeyOrder = KeyOrder.FIFTHS,
    *,
    minor: bool = False,
    flat: bool = False,
) -> tuple[Key, ...]:
    """Return the keys of a list that somebody typed, in its own order.

    Args:
        texts: Names such as "C", "F# minor", "Am", and "all" or "all minor" for the
            twelve; each may hold several, with commas.
        order: Order of "all" keys.
        minor: Whether a name without a mode means the minor key.
        flat: Whether Gb major stands for F# major among "all" keys.

    Raises:
        NotationError: If a name is none, or is neither major nor minor.

    >>> [str(key) for key in parse_keys(["C, Am", "Bb"])]
    ['C major', 'A minor', 'Bb major']
    """
    found: list[Key] = []
    for word in (word.strip() for text in texts for word in text.split(",")):
        every = _ALL.match(word)
        if every:
            is_minor = every.group(1) == "minor" or (minor and not every.group(1))
            found += all_keys(order, minor=is_minor, flat=flat)
        elif word:
            found.append(_one(word, minor=minor))
    return tuple(found)


def _one(word: str, *, minor: bool) -> Key:
    short = _SHORT_MINOR.match(word)
    text = f"{short.group(1)} minor" if short else word
    if minor and not re.search(r"[a-z]{3}", text):
        text += " minor"
    try:
        key = parse_key(text)
    except HarmoniseError as error:
        if "sharps or flats" in error.what:
            raise
        raise NotationError(
            f'"{word}" is not a key.',
            None,
            "Write one letter A to G, with # or b, and minor where it is minor: "
            "C, Bb, F# minor.",
        ) from error
    if key.mode not in (Mode.MAJOR, Mode.MINOR):
        raise NotationError(
            f"Drills go in major and minor keys, and {key} is neither.",
            None,
            f"Write {key.tonic} or {key.tonic} minor.",
        )
    return key


def printed(key: Key) -> str:
    """Return a key as a page prints it: B♭ major, F♯ minor."""
    name = str(key.tonic)
    sign = name[1:].replace("#", "♯").replace("b", "♭")
    return f"{name[0]}{sign} {key.mode.value}"
