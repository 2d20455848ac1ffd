"""Roman numerals: what a chord is to its key, and rows of chords as players write them.

Numerals and their figures are common practice, checked in the tests against music21's
RomanNumeral. Progressions ("I vi IV V7 I") mean what they say in the key that they are
read in; `in_mode` turns those of the major key into their fellows in minor (I IV V
becomes i iv V).
"""

import re
from enum import Enum
from functools import lru_cache
from typing import NamedTuple

from harmonise.errors import NotationError, shorten
from harmonise.theory.chord import (
    FIGURES,
    QUALITIES,
    TRIADS,
    Chord,
    Inversion,
    Member,
    Quality,
    unknown_chord,
)
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import LETTER_SEMITONES, PitchClass, PitchName, format_alter

MOST_CHORDS = 32
"""Longest progression that is read: sixteen bars of two chords."""

_BETWEEN = re.compile(r"[\s,|\-–—>→]+")
_SEVENTH = re.compile("7|6/5|4/3|4/2")
_MINOR = {"I": "i", "ii": "ii°", "iii": "III", "IV": "iv", "vi": "VI", "vii°": "vii°"}
_ROMANS = ("I", "II", "III", "IV", "V", "VI", "VII")
_NUMERAL = re.compile(
    r"([#b♯♭]?)(VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)"
    r"(°|o|\+|ø)?(7|6/5|4/3|4/2|6/4|6)?(?:/(VII|VI|IV|V|III|II|vii|vi|iv|v|iii|ii))?$"
)


@lru_cache(maxsize=4096)
def numeral(chord: Chord, key: Key) -> str:
    """Return the Roman numeral of a chord in a key, with its figures.

    The secondary dominants of the level-4 palette are named by their target (V/V,
    V7/IV); other roots foreign to the scale carry a sign in front.

    Example:
        >>> from harmonise.theory.chord import parse_symbol
        >>> from harmonise.theory.key import parse_key
        >>> numeral(parse_symbol("E7"), parse_key("A minor"))
        'V7'
        >>> numeral(parse_symbol("D/F#"), parse_key("C"))
        'V6/V'
    """
    chord = chord.as_figured
    target = _secondary_target(chord, key)
    figures = chord.figures
    if target:
        return f"V{figures}/{target}"
    degree, alter = key.degree(chord.root)
    row, roman = QUALITIES[chord.quality], _ROMANS[degree - 1]
    roman = roman.lower() if row.lower else roman
    if degree == 7 and key.mode.is_minor and row.mark in ("°", "ø"):
        alter -= 1  # vii° of a minor key stands on the raised seventh by custom.
    return f"{format_alter(alter)}{roman}{row.mark}{figures}"


def _secondary_target(chord: Chord, key: Key) -> str:
    """Return the numeral that a foreign major chord leads to; "" if it is none."""
    if chord.quality not in (Quality.MAJOR, Quality.DOMINANT_SEVENTH):
        return ""
    degree, alter = key.degree(chord.root.up(3, 5))
    at_home = all(key.degree(name)[1] == 0 for name in chord.members)
    # A minor key borrows the major I and IV, which then lead nowhere.
    borrowed = key.degree(chord.root) in ((1, 0), (4, 0)) and key.mode.is_minor
    borrowed = borrowed and chord.quality is Quality.MAJOR
    if degree == 1 or alter or at_home or borrowed:
        return ""
    triad = diatonic_triad(key, degree)
    if triad.quality is Quality.DIMINISHED:
        return ""
    if degree == 5 and key.mode is Mode.MINOR:
        return "V"  # A minor key leads to its major dominant.
    return numeral(triad, key)


@lru_cache(maxsize=1024)
def diatonic_triad(key: Key, degree: int) -> Chord:
    """Return the triad that the signature builds on a degree 1 to 7.

    >>> from harmonise.theory.key import parse_key
    >>> diatonic_triad(parse_key("D dorian"), 4).symbol
    'G'
    """
    root, third, fifth = (key.scale[(degree - 1 + up) % 7] for up in (0, 2, 4))
    for quality in TRIADS:
        if Chord(root, quality).members == (root, third, fifth):
            return Chord(root, quality)
    msg = f"no triad on degree {degree} of {key}"
    raise AssertionError(msg)


def leading_note(chord: Chord, key: Key) -> PitchName | None:
    """Return the leading note of the key where it is the third of the dominant.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.key import parse_key
    >>> str(leading_note(parse_symbol("E7"), parse_key("A minor")))
    'G#'
    """
    third = chord.member(Member.THIRD)
    if key.degree(chord.root) != (5, 0) or key.tonic.up(6, 11) != third:
        return None
    return third


class Role(Enum):
    """What a chord is to its key, whatever is in the bass, with or without a seventh.

    The value counts degrees. A dominant is major; a secondary one is `APPLIED`, and
    every chord that the others leave out is `OTHER`.
    """

    OTHER = 0
    TONIC = 1
    SUPERTONIC = 2
    SUBDOMINANT = 4
    DOMINANT = 5
    SUBMEDIANT = 6
    APPLIED = 8


def role_of(chord: Chord, key: Key) -> Role:
    """Return what a chord is to a key.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.key import parse_key
    >>> role_of(parse_symbol("G7"), parse_key("C")).name
    'DOMINANT'
    >>> role_of(parse_symbol("A7"), parse_key("C")).name
    'APPLIED'
    """
    chord = chord.as_figured
    if _secondary_target(chord, key):
        return Role.APPLIED
    degree, alter = key.degree(chord.root)
    row = QUALITIES[chord.quality]
    if alter or degree in (3, 7) or row.mark not in ("", "°", "5"):
        return Role.OTHER
    # The second degree carries ii and ii°, the fifth V alone, every other both kinds;
    # a bare fifth goes with the major chord.
    fits = row.lower if degree == 2 else row.mark != "°"
    return Role(degree) if fits and not (degree == 5 and row.lower) else Role.OTHER


@lru_cache(maxsize=1024)
def tendency_notes(chord: Chord, key: Key) -> frozenset[PitchClass]:
    """Return what one voice has alone: the seventh, and the third of V or of V of V.

    They go on by step, so two of one would go in octaves (common practice).

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.key import parse_key
    >>> sorted(tendency_notes(parse_symbol("G7"), parse_key("C")))
    [5, 11]
    >>> sorted(tendency_notes(parse_symbol("C"), parse_key("C")))
    []
    """
    added, found = QUALITIES[chord.quality].added, set()
    if added is not None:
        found.add(PitchClass((chord.root.pitch_class + added) % 12))
    third = chord.member(Member.THIRD)
    if third and role_of(chord, key) in (Role.DOMINANT, Role.APPLIED):
        found.add(third.pitch_class)
    return frozenset(found)


def goes_back(before: Role, after: Role) -> bool:
    """Return whether one chord after another goes back from V to IV or ii."""
    return before is Role.DOMINANT and after in (Role.SUBDOMINANT, Role.SUPERTONIC)


def parse_numeral(text: str, key: Key) -> Chord:
    """Return the chord that a Roman numeral names in a key.

    In minor, V and V7 take the raised seventh degree and vii° stands on it.

    Raises:
        NotationError: If it is not a numeral of ours.

    Example:
        >>> from harmonise.theory.key import parse_key
        >>> parse_numeral("V7", parse_key("A minor")).symbol
        'E7'
        >>> parse_numeral("V/V", parse_key("C")).symbol
        'D'
    """
    match = _NUMERAL.match(text)
    if not match:
        raise unknown_chord(text)
    sign, roman, mark, figures, target = (part or "" for part in match.groups())
    mark, step = mark.replace("o", "°"), _ROMANS.index(roman.upper())
    row = FIGURES[4 if figures in FIGURES[4] else 3]
    if target:
        home = key.name_at(_ROMANS.index(target.upper()) + 1)
        root = home.up(step, LETTER_SEMITONES[step])
    else:
        alter = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}[sign]
        # vii° of a minor key stands on the raised seventh, vii of it on the natural.
        low = step == 6 and key.mode.is_minor and key.scale_semitones[6] == 10
        root = key.name_at(step + 1, alter + (low and mark in ("°", "ø")))
    triad, seventh = _QUALITIES[mark or ("m" if roman.islower() else "")]
    quality = seventh if len(row) == 4 else triad
    return Chord(root, quality, Inversion(row.index(figures)))


_QUALITIES = {
    "": (Quality.MAJOR, Quality.DOMINANT_SEVENTH),
    "m": (Quality.MINOR, Quality.MINOR_SEVENTH),
    "°": (Quality.DIMINISHED, Quality.DIMINISHED_SEVENTH),
    "+": (Quality.AUGMENTED, Quality.AUGMENTED),
    "ø": (Quality.HALF_DIMINISHED, Quality.HALF_DIMINISHED),
}
"""Triad and seventh chord of each mark, capitals, and small letters ("m")."""


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
            f'"{shorten(word)}" is not a Roman numeral.',
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
