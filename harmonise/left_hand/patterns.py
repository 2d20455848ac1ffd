"""The left hand's patterns: which metres they suit and what they leave the right hand.

The rows are common practice of accompanying songs and dances. A pattern that a bar's
metre does not suit falls back to the held root there.

What the left hand plays under one chord, pattern by pattern.

The patterns are common practice; `theory.left_hand` says which metres they suit. Every
one has the chord's bass on its first stroke. Heights are MIDI numbers and times are
crotchets, so the same table serves drills and tunes in every key.
"""

from collections.abc import Callable, Iterable, Iterator
from enum import Enum
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from harmonise.errors import HarmoniseError
from harmonise.left_hand.strokes import Ground, Stroke
from harmonise.theory.arrangement import HarmonicRhythm, LeftHand
from harmonise.theory.limits import LEFT_HAND_LOWEST, OCTAVE_LOWEST, low_interval
from harmonise.theory.metre import TimeSignature


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


@lru_cache(maxsize=4096)
def strokes(pattern: LeftHand, ground: Ground) -> tuple[Stroke, ...]:
    """Return what the left hand plays under one chord, by time and from the lowest up.

    Returns:
        Strokes; () where nothing from C2 up leaves a gap to the right hand.
    """
    return tuple(_MAKERS[pattern](ground)) if ground.places else ()


def _tiles(
    length: Fraction, unit: Fraction
) -> Iterator[tuple[int, Fraction, Fraction]]:
    """Yield number, start and length of each unit in a stretch; the last may be cut."""
    number, at = 0, Fraction(0)
    while at < length:
        yield number, at, min(unit, length - at)
        number, at = number + 1, at + unit


def _held(ground: Ground) -> Iterator[Stroke]:
    yield Stroke(Fraction(0), ground.length, ground.places[0])


def _repeated(ground: Ground) -> Iterator[Stroke]:
    for _, at, length in _tiles(ground.length, ground.time.beat):
        yield Stroke(at, length, ground.places[0])


def _octave(ground: Ground) -> Iterator[Stroke]:
    """Yield the bass with the octave below it: fingers 5 and 1."""
    upper = ground.places[0]
    if upper - 12 >= OCTAVE_LOWEST:
        yield Stroke(Fraction(0), ground.length, upper - 12, 5)
        yield Stroke(Fraction(0), ground.length, upper, 1)
    else:
        yield Stroke(Fraction(0), ground.length, upper)


def _turn(ground: Ground) -> Fraction:
    """Return how long the root lasts before its fifth: half, in whole beats if it can.

    One dotted beat is parted two to one; less than a beat is the root's alone.
    """
    beat = ground.time.beat
    if ground.length < beat:
        return ground.length
    if ground.length == beat:
        return beat * 2 / 3 if ground.time.is_compound else beat / 2
    return beat * -(-(ground.length / beat) // 2)


def _root_fifth(ground: Ground) -> Iterator[Stroke]:
    """Yield the root and then the fifth, above it where there is room, or below."""
    yield from _low_high(ground, ground.length, _turn(ground))


def _jig(ground: Ground) -> Iterator[Stroke]:
    """Yield root and fifth as crotchet and quaver on each dotted beat."""
    beat = ground.time.beat
    yield from _low_high(ground, beat, beat * 2 / 3)


def _low_high(ground: Ground, unit: Fraction, low: Fraction) -> Iterator[Stroke]:
    """Yield root and fifth in turn, the root for the first part of each unit."""
    root, fifth = _with_companion(ground)
    fingers = (5, 1) if fifth > root else (1, 5) if fifth < root else (0, 0)
    for _, at, length in _tiles(ground.length, unit):
        yield Stroke(at, min(low, length), root, fingers[0])
        if length > low:
            yield Stroke(at + low, length - low, fifth, fingers[1])


def _with_companion(ground: Ground) -> tuple[int, int]:
    """Return the places of the bass and its companion; the bass twice where it must."""
    for place in ground.places:
        if place + ground.companion <= ground.room:
            return place, place + ground.companion
    place = ground.places[0]
    below = place + ground.companion - 12
    return place, below if below >= LEFT_HAND_LOWEST else place


def _drone(ground: Ground) -> Iterator[Stroke]:
    """Yield the bass with its companion, both held."""
    for place in ground.places:
        upper = place + ground.companion
        if upper <= ground.room and low_interval(place, upper) is None:
            yield Stroke(Fraction(0), ground.length, place, 5)
            yield Stroke(Fraction(0), ground.length, upper, 1)
            return
    yield from _held(ground)


def _pair(ground: Ground, place: int) -> tuple[int, ...]:
    """Return two chord notes over a place of the bass, as low as they sound clear.

    Third and fifth (or seventh) in either order; fifth and octave where the right hand
    has the third; () where neither is clear under the right hand.
    """
    found = []
    for lower, upper in (ground.pair, ground.pair[::-1]):
        low = place + lower
        high = low + ((upper - lower) % 12)
        if high <= ground.room and low_interval(low, high) is None:
            found.append((high, low))
    return tuple(sorted(min(found))) if found else ()


def _low_chord(ground: Ground) -> tuple[int, tuple[int, ...]]:
    """Return the place of the bass, and the chord over it or else its companion."""
    for place in ground.places:
        pair = _pair(ground, place)
        if pair:
            return place, pair
    place, companion = _with_companion(ground)
    return place, (companion,)


def _waltz(ground: Ground) -> Iterator[Stroke]:
    """Yield the root low on the first beat and two notes over it on the others."""
    root, pair = _low_chord(ground)
    for number, at, length in _tiles(ground.length, ground.time.beat):
        yield from _together(at, length, pair if number else (root,))


def _march(ground: Ground) -> Iterator[Stroke]:
    """Yield low and high in turn: root, chord, fifth below, chord."""
    root, pair = _low_chord(ground)
    below = root + ground.companion - 12
    low = (root, below if below >= LEFT_HAND_LOWEST else root)
    time = ground.time
    unit = time.beat if time.beats == 4 else time.beat / 2
    for number, at, length in _tiles(ground.length, unit):
        turn = number % 4
        yield from _together(at, length, pair if turn % 2 else (low[turn // 2],))


def _together(
    at: Fraction, length: Fraction, heights: tuple[int, ...]
) -> Iterator[Stroke]:
    """Yield one low note, or a chord with the thumb on top."""
    if len(heights) == 1:
        yield Stroke(at, length, heights[0], 5)
        return
    wide = heights[1] - heights[0]
    yield Stroke(at, length, heights[0], 2 if wide <= 5 else 4)
    yield Stroke(at, length, heights[1], 1)


def _broken(ground: Ground) -> Iterator[Stroke]:
    """Yield the chord note by note.

    Quavers root, fifth, octave, fifth; in 3/4 crotchets root, fifth, third or octave;
    in dotted beats quavers root, fifth, octave.
    """
    time = ground.time
    root, middle, top = _open_chord(ground, tenth=time.beats == 3)
    high = (top, 1 if top > root else 5)
    row = [(root, 5), (middle, 2), high]
    if time.is_compound:
        unit = time.beat / 3
    elif time.beats == 3:
        unit = time.beat
    else:
        unit = time.beat / 2
        row.append(row[1])
    for number, at, length in _tiles(ground.length, unit):
        midi, finger = row[number % len(row)]
        yield Stroke(at, length, midi, finger)


def _open_chord(ground: Ground, *, tenth: bool) -> tuple[int, int, int]:
    """Return bass, companion over it, and third over the octave, octave or bass."""
    tops = [12 + ground.third] if tenth and ground.third else []
    for rise in (*tops, 12):
        for place in ground.places:
            if place + rise <= ground.room:
                return place, place + ground.companion, place + rise
    place, companion = _with_companion(ground)
    return place, companion, place


_MAKERS: dict[LeftHand, Callable[[Ground], Iterator[Stroke]]] = {
    LeftHand.HELD: _held,
    LeftHand.REPEATED: _repeated,
    LeftHand.OCTAVE: _octave,
    LeftHand.ROOT_FIFTH: _root_fifth,
    LeftHand.DRONE: _drone,
    LeftHand.WALTZ: _waltz,
    LeftHand.MARCH: _march,
    LeftHand.BROKEN: _broken,
    LeftHand.JIG: _jig,
    LeftHand.WALKING: _held,
}
"""A walking bass is a held root here; `theory.walking` adds what leads on."""
