"""The left hand's patterns: which metres they suit and what they leave the right hand.

The rows are common practice of accompanying songs and dances. A pattern that a bar's
metre does not suit falls back to the held root there.
"""

from collections.abc import Iterable
from enum import Enum
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import HarmoniseError
from harmonise.theory.arrangement import HarmonicRhythm, LeftHand
from harmonise.theory.chord import Chord, Member
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature
from harmonise.theory.pitch import PitchName


class RightHand(Enum):
    """What a pattern leaves for the right hand."""

    FULL = "the full chord"
    TWO = "the tune and one note"
    LIGHT = "the tune, with one note where there is room"


class PatternRow(NamedTuple):
    """What is known of one pattern.

    Attributes:
        title: Its name on the page.
        phrase: Its name in a sentence.
        times: Metres it suits, as (beats, beat type); () for every metre.
        right: What it leaves for the right hand.
    """

    title: str
    phrase: str
    times: tuple[tuple[int, int], ...] = ()
    right: RightHand = RightHand.FULL


_EVEN = ((2, 4), (4, 4), (2, 2))
_DOTTED = ((6, 8), (9, 8), (12, 8))

PATTERNS = {
    LeftHand.HELD: PatternRow("held root", "a held root"),
    LeftHand.REPEATED: PatternRow("repeated root", "a repeated root"),
    LeftHand.OCTAVE: PatternRow("octaves", "an octave"),
    LeftHand.ROOT_FIFTH: PatternRow(
        "root and fifth", "root and fifth", (*_EVEN, (6, 8))
    ),
    LeftHand.DRONE: PatternRow("drone", "a drone", (), RightHand.TWO),
    LeftHand.WALTZ: PatternRow("waltz", "a waltz", ((3, 4),), RightHand.LIGHT),
    LeftHand.MARCH: PatternRow("march", "a march", _EVEN, RightHand.LIGHT),
    LeftHand.BROKEN: PatternRow(
        "broken chord", "a broken chord", (*_EVEN, (3, 4), *_DOTTED), RightHand.TWO
    ),
    LeftHand.JIG: PatternRow("jig", "a jig", _DOTTED, RightHand.TWO),
    LeftHand.WALKING: PatternRow("walking bass", "a walking bass", (*_EVEN, (3, 4))),
}
"""Every pattern but "auto" with its row; the order is the one that lists follow."""

PATTERNS_FROM = 3
"""Lowest level at which "auto" takes a pattern that moves."""
SLOW = 72
"""Counted beats a minute up to which "auto" breaks the chords."""
_BY_TIME = {
    (3, 4): LeftHand.WALTZ,
    (2, 4): LeftHand.ROOT_FIFTH,
    (4, 4): LeftHand.ROOT_FIFTH,
    (2, 2): LeftHand.ROOT_FIFTH,
    (6, 8): LeftHand.ROOT_FIFTH,
    (9, 8): LeftHand.JIG,
    (12, 8): LeftHand.JIG,
}


def suits(pattern: LeftHand, time: TimeSignature) -> bool:
    """Return whether a pattern is offered in a metre.

    >>> suits(LeftHand.WALTZ, TimeSignature(3, 4)), suits(
    ...     LeftHand.WALTZ, TimeSignature(4, 4)
    ... )
    (True, False)
    """
    if pattern is LeftHand.AUTO:
        return True
    times = PATTERNS[pattern].times
    return not times or (time.beats, time.beat_type) in times


def suited_patterns(time: TimeSignature) -> tuple[LeftHand, ...]:
    """Return every pattern that suits a metre."""
    return tuple(pattern for pattern in PATTERNS if suits(pattern, time))


def assert_suits(
    pattern: LeftHand, times: Iterable[TimeSignature], where: str = ""
) -> None:
    """Refuse a pattern that suits none of some metres.

    Args:
        pattern: The pattern.
        times: The metres of a tune, or of a part of it.
        where: The part as typed; "" for the whole tune.

    Raises:
        HarmoniseError: With the patterns that do suit.
    """
    every = tuple(dict.fromkeys(times))
    if any(suits(pattern, time) for time in every):
        return
    found = dict.fromkeys(p for time in every for p in suited_patterns(time))
    names = [own.value for own in found]
    metres = " or ".join(map(str, every))
    phrase = PATTERNS[pattern].phrase
    beginning = f"{where}: {phrase}" if where else phrase[0].upper() + phrase[1:]
    raise HarmoniseError(
        f"{beginning} does not suit {metres}.",
        None,
        f"Choose one of {', '.join(names)}.",
    )


def leading_note(chord: Chord, key: Key) -> PitchName | None:
    """Return the leading note of the key where it is the third of the dominant.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.key import parse_key
    >>> str(leading_note(parse_symbol("E7"), parse_key("A minor")))
    'G#'
    """
    third = chord.members[Member.THIRD]
    if key.degree(chord.root) != (5, 0) or key.tonic.up(6, 11) != third:
        return None
    return third


def settle_left_hand(
    time: TimeSignature, level: int, rhythm: HarmonicRhythm, pace: Fraction
) -> LeftHand:
    """Return the pattern that "auto" takes.

    Levels 1 and 2 and hymns with a chord on every beat hold the root. From level 3 on
    a slow tune breaks the chords; else the metre decides: waltz in 3/4, root and fifth
    in 2/4, 4/4, 2/2 and 6/8, jig in 9/8 and 12/8, and a held root in every other.

    Args:
        time: Metre of the first bar.
        level: Settled level.
        rhythm: Settled harmonic rhythm.
        pace: Counted beats a minute; 0 where no tempo is given.
    """
    if level < PATTERNS_FROM or rhythm is HarmonicRhythm.BEAT:
        return LeftHand.HELD
    if 0 < pace <= SLOW and suits(LeftHand.BROKEN, time):
        return LeftHand.BROKEN
    return _BY_TIME.get((time.beats, time.beat_type), LeftHand.HELD)
