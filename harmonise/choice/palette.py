"""Which chords a key and a level offer.

Level 1 holds the three primary chords (in modes the three that cover every degree),
level 2 adds the dominant seventh, level 3 the other common triads of the scale, level 4
secondary dominants, the cadential 6/4 and passing inversions. Common practice; the
tests check every triad against music21's RomanNumeral.
"""

from functools import lru_cache
from typing import NamedTuple

from harmonise.theory.chord import Chord, numeral, parse_numeral
from harmonise.theory.key import Key, Mode


class Offer(NamedTuple):
    """A chord on offer.

    Attributes:
        chord: The chord.
        numeral: Its Roman numeral.
        family: Numeral of its triad in root position: V for V7 and V6.
        cost: What it costs more than its plain triad, in thousandths.
    """

    chord: Chord
    numeral: str
    family: str
    cost: int


_LEVELS: dict[Mode, tuple[tuple[str, ...], ...]] = {
    Mode.MAJOR: (
        ("I", "IV", "V"),
        ("V7",),
        ("ii", "vi"),
        ("iii", "V/V", "V7/IV", "V/ii", "V/vi", "iv", "I6/4", "I6", "V6", "ii6"),
    ),
    Mode.MINOR: (
        ("i", "iv", "V"),
        ("V7",),
        ("VI", "III", "VII", "ii°"),
        ("v", "IV", "V7/iv", "i6/4", "i6", "V6"),
    ),
    Mode.DORIAN: (("i", "IV", "VII"), (), ("III", "v"), ("ii", "i6", "vi°")),
    Mode.MIXOLYDIAN: (("I", "IV", "VII"), (), ("ii", "v", "vi"), ("I6", "iii°")),
    Mode.AEOLIAN: (("i", "VI", "VII"), (), ("iv", "III", "v"), ("ii°", "i6")),
}

_COSTS = {
    "V7/IV": 700,
    "V7/iv": 700,
    "I6/4": 250,
    "i6/4": 250,
    "I6": 500,
    "i6": 500,
    "V6": 450,
    "ii6": 350,
}
"""What a chord costs more than its plain triad, in thousandths."""


def palette(key: Key, level: int, extra: tuple[str, ...] = ()) -> tuple[Offer, ...]:
    """Return the chords on offer in a key at a level, the level's own order.

    Args:
        key: Key or mode.
        level: 1 to 4; each level holds the ones below.
        extra: Numerals of further chords that the tune asks for.

    Example:
        >>> from harmonise.theory.key import parse_key
        >>> [offer.chord.symbol for offer in palette(parse_key("G mixolydian"), 1)]
        ['G', 'C', 'F']
    """
    return _palette(key, level, extra)


@lru_cache(maxsize=256)
def _palette(key: Key, level: int, extra: tuple[str, ...]) -> tuple[Offer, ...]:
    rows = _LEVELS[key.mode][:level]
    names = dict.fromkeys(name for row in (*rows, extra) for name in row)
    return tuple(offer_of(parse_numeral(name, key), key) for name in names)


def offer_of(chord: Chord, key: Key) -> Offer:
    """Return a chord as an offer in a key: a lock need not stand in any palette."""
    name = numeral(chord, key)
    return Offer(chord, name, family_of(name), _COSTS.get(name, 0))


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


class Heard(NamedTuple):
    """Which sevenths a tune has.

    Attributes:
        flat_seventh: Number of notes a tone below the keynote.
        leading_note: Number of notes a semitone below it.
    """

    flat_seventh: int
    leading_note: int


def suited(key: Key, level: int, heard: Heard) -> tuple[Key, tuple[str, ...]]:
    """Return the key whose chords suit a tune, and the chords it needs besides.

    A major tune with more flat than sharp sevenths is harmonised as Mixolydian; a minor
    one with natural sevenths has VII too. Human arrangers do so (DEVELOPERS.md).
    """
    flat, sharp = heard.flat_seventh, heard.leading_note
    if key.mode is Mode.MAJOR and flat > sharp:
        return Key(key.tonic, Mode.MIXOLYDIAN), ("V",) if level >= 3 else ()
    if key.mode is Mode.MINOR and flat:
        return key, ("VII", "v", "IV") if level >= 3 else ("VII",)
    return key, ()
