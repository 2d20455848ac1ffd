"""The twelve keys of a mode in the orders that teachers take them in, and key lists.

Six sharps and six flats sound alike and one of the two is printed: F# major and Eb
minor are the usual ones (common practice), Gb or the other is had for the asking.
"""

import re
from collections.abc import Sequence
from enum import Enum

from harmonise.errors import HarmoniseError, NotationError
from harmonise.theory.key import Key, Mode, key_of_signature, parse_key


class KeyOrder(Enum):
    """The orders in which teachers take keys."""

    FIFTHS = "fifths"
    FOURTHS = "fourths"
    CHROMATIC = "chromatic"
    FEW = "few-accidentals"


_CIRCLE = (0, 1, 2, 3, 4, 5, 6, -5, -4, -3, -2, -1)
"""Signatures round the circle of fifths: sharps, flats negative."""
_ALL = re.compile(r"all(?:\s+(\w+))?$")
_SHORT_MINOR = re.compile(r"([A-G](?:[#b♯♭])?)\s*m$")


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
    found: list[Key] = []
    for word in (word.strip() for text in texts for word in text.split(",")):
        every = _ALL.match(word)
        if every and (every.group(1) or mode.value) in {own.value for own in Mode}:
            found += keys_of(Mode(every.group(1) or mode.value), order, flat=flat)
        elif word:
            found.append(_one(word, mode))
    return tuple(found)


def _one(word: str, mode: Mode) -> Key:
    short = _SHORT_MINOR.match(word)
    text = f"{short.group(1)} minor" if short else word
    if not re.search(r"[a-z]{3}", text):
        text += f" {mode.value}"
    try:
        return parse_key(text)
    except HarmoniseError as error:
        if "sharps or flats" in error.what:
            raise
        raise NotationError(
            f'"{word}" is not a key.',
            None,
            "Write one letter A to G, with # or b, and minor where it is minor: "
            "C, Bb, F# minor.",
        ) from error


def printed(key: Key) -> str:
    """Return a key as a page prints it: B♭ major, F♯ minor."""
    name = str(key.tonic)
    sign = name[1:].replace("#", "♯").replace("b", "♭")
    return f"{name[0]}{sign} {key.mode.value}"
