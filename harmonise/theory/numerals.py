"""Progressions in Roman numerals, as a player writes them: "I vi IV V7 I".

Numerals mean what they say in the key that they are read in; `in_mode` turns those of
the major key into their fellows in minor (I IV V becomes i iv V). Common practice.
"""

import re
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.theory.chord import Chord, numeral, parse_numeral
from harmonise.theory.key import Key, Mode

MOST_CHORDS = 32
"""Longest progression that is read: sixteen bars of two chords."""

_BETWEEN = re.compile(r"[\s,|\-–—>→]+")
_SEVENTH = re.compile("7|6/5|4/3|4/2")
_MINOR = {"I": "i", "ii": "ii°", "iii": "III", "IV": "iv", "vi": "VI", "vii°": "vii°"}


class NumberedChord(NamedTuple):
    """A chord with its Roman numeral in the key.

    Attributes:
        chord: The chord.
        numeral: Its numeral, as our pages print it.
    """

    chord: Chord
    numeral: str


def in_mode(numerals: str, mode: Mode) -> str:
    """Return the numerals of a major key as those of a mode: minor has i, iv and V.

    >>> in_mode("I vi IV V7 I", Mode.MINOR)
    'i VI iv V7 i'
    """
    if not mode.is_minor:
        return numerals
    return " ".join(_MINOR.get(word, word) for word in numerals.split())


def parse_progression(text: str, key: Key) -> tuple[NumberedChord, ...]:
    """Return the chords that a row of Roman numerals names in a key.

    Args:
        text: Numerals with blanks, commas, dashes or bar lines between them.
        key: The key.

    Raises:
        NotationError: If a word is no numeral, or there are none or too many.

    >>> from harmonise.theory.key import parse_key
    >>> [str(one.chord) for one in parse_progression("I-vi-IV-V7", parse_key("G"))]
    ['G', 'Em', 'C', 'D7']
    """
    words = [word for word in _BETWEEN.split(text) if word]
    if not words:
        raise NotationError(
            "There is no chord in this progression.",
            remedy='Write Roman numerals, such as "I IV V7 I".',
        )
    if len(words) > MOST_CHORDS:
        raise NotationError(
            f"This progression has {len(words)} chords; {MOST_CHORDS} is the most.",
            remedy="Cut it into two.",
        )
    return tuple(_numbered(word, key) for word in words)


def _numbered(word: str, key: Key) -> NumberedChord:
    try:
        chord = parse_numeral(word, key)
    except NotationError as error:
        raise NotationError(
            f'"{word}" is not a Roman numeral.',
            remedy="Write I, IV, V7, ii, vi, vii°, I6/4 or V/V: capitals for major, "
            "small letters for minor.",
        ) from error
    if len(chord.members) == 3 and _SEVENTH.search(word):
        raise NotationError(
            f"{word} is no chord of ours: augmented chords have no seventh.",
            remedy=f"Write {_SEVENTH.sub('', word)}.",
        )
    if any(abs(name.alter) > 2 for name in chord.members):
        raise NotationError(
            f"{word} in {key} cannot be spelled.",
            remedy="Use a key with fewer sharps or flats.",
        )
    return NumberedChord(chord, numeral(chord, key))


def family_of(name: str) -> str:
    """Return the numeral without figures: V for V7, V/V for V7/V, I for I6/4.

    >>> family_of("V7/IV"), family_of("I6/4"), family_of("viiø7")
    ('V/IV', 'I', 'viiø')
    """
    head, slash, tail = name.partition("/")
    figures = head.rstrip("0123456789")
    if slash and tail[:1].isdigit():
        tail = tail.lstrip("0123456789").removeprefix("/")
    return f"{figures}/{tail}" if tail and not tail[0].isdigit() else figures
