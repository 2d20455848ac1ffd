"""What the left hand plays under one chord, pattern by pattern.

The table of patterns is `theory.arrangement.LeftHand`. A pattern runs while its chord
lasts within a bar: it has the chord's bass on its first stroke and does not begin again
where the chord might have changed. One that a bar's metre does not suit falls back to
the held root there. Heights are MIDI numbers and times are crotchets, so that one table
serves drills and tunes in every key.
"""

from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from harmonise.errors import HarmoniseError
from harmonise.left_hand.strokes import PatternRoom, Stroke
from harmonise.theory.arrangement import PATTERNS, HarmonicRhythm, LeftHand
from harmonise.theory.metre import TimeSignature
from harmonise.theory.reach import (
    LEFT_HAND_LOWEST,
    OCTAVE_LOWEST,
    WINDOW_LOWEST,
    low_interval,
)
from harmonise.theory.tune import Tune, is_quick

PATTERNS_FROM = 3
"""Lowest level at which "auto" takes a pattern that moves."""
_CHORD_HIGHEST = 64
"""E4: highest note of a chord that the left hand holds."""
_LOWER = 5
"""Semitones that the hand rather leaps further than go down an octave."""
_CLEAR_FROM = 48
"""C3: lowest root of such a chord, if there is room: its third is clear there."""
SLOW = 72
"""Counted beats a minute up to which "auto" breaks the chords."""

_Playing = Callable[[PatternRoom], Iterator[Stroke]]
_PLAYERS: dict[LeftHand, _Playing] = {}


def _plays(*patterns: LeftHand) -> Callable[[_Playing], _Playing]:
    """Say which patterns a function plays."""

    def enter(player: _Playing) -> _Playing:
        _PLAYERS.update(dict.fromkeys(patterns, player))
        return player

    return enter


def suited_patterns(time: TimeSignature) -> tuple[LeftHand, ...]:
    """Return every pattern that suits a metre."""
    return tuple(pattern for pattern in PATTERNS if pattern.suits(time))


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
    if any(pattern.suits(time) for time in every):
        return
    suited = dict.fromkeys(p for time in every for p in suited_patterns(time))
    names = [pattern.value for pattern in suited]
    metres = " or ".join(map(str, every))
    phrase = pattern.row.phrase
    beginning = f"{where}: {phrase}" if where else phrase[0].upper() + phrase[1:]
    raise HarmoniseError(
        f"{beginning} does not suit {metres}.",
        None,
        f"Choose one of {', '.join(names)}.",
    )


def settle_left_hand(
    tune: Tune, level: int, rhythm: HarmonicRhythm, pace: Fraction
) -> LeftHand:
    """Return the pattern that "auto" takes.

    Levels 1 and 2, hymns with a chord on every beat and chorales, which their fermatas
    tell, hold the root. From level 3 on a slow tune that does not run, as a dance in
    2/2 may, breaks the chords; else the metre
    decides: waltz in 3/4, root and fifth in 2/4, 4/4, 2/2 and 6/8, jig in 9/8 and 12/8,
    and a held root in every other. Under other tunes that move in beats root and fifth
    would plod: the root is held.

    Args:
        tune: The tune; its first metre counts.
        level: Settled level.
        rhythm: Settled harmonic rhythm.
        pace: Counted beats a minute; 0 where no tempo is given.
    """
    time = tune.bars[0].time
    # One fermata may stand at the end of any tune; those of a chorale end its lines.
    chorale = sum(note.fermata for note in tune.notes) > 1
    if level < PATTERNS_FROM or rhythm is HarmonicRhythm.BEAT or chorale:
        return LeftHand.HELD
    if 0 < pace <= SLOW and LeftHand.BROKEN.suits(time) and not is_quick(tune):
        return LeftHand.BROKEN
    metre = (time.beats, time.beat_type)
    usual = next((own for own in PATTERNS if metre in own.row.usual), LeftHand.HELD)
    plods = usual is LeftHand.ROOT_FIFTH and _moves_in_beats(tune)
    return LeftHand.HELD if plods else usual


def _moves_in_beats(tune: Tune) -> bool:
    """Return whether most notes last a beat and few are quicker, a third at most."""
    notes = tune.sounding
    beats = [note.length / tune.bar_at(note.onset).time.beat for note in notes]
    quick = sum(length < 1 for length in beats)
    return 2 * beats.count(Fraction(1)) >= len(notes) and 3 * quick <= len(notes)


@lru_cache(maxsize=4096)
def strokes(pattern: LeftHand, room: PatternRoom) -> tuple[Stroke, ...]:
    """Return what the left hand plays under one chord, by time and from the lowest up.

    Returns:
        Strokes; () where nothing from C2 up leaves a gap to the right hand.
    """
    return tuple(_PLAYERS[pattern](room)) if room.places else ()


def _tiles(
    length: Fraction, unit: Fraction
) -> Iterator[tuple[int, Fraction, Fraction]]:
    """Yield number, start and length of each unit in a stretch; the last may be cut."""
    number, at = 0, Fraction(0)
    while at < length:
        yield number, at, min(unit, length - at)
        number, at = number + 1, at + unit


@_plays(LeftHand.HELD, LeftHand.WALKING)
def _held(room: PatternRoom) -> Iterator[Stroke]:
    """Yield the bass; what leads a walking one on is added by `left_hand.walking`."""
    yield Stroke(Fraction(0), room.length, room.places[0])


@_plays(LeftHand.REPEATED)
def _repeated(room: PatternRoom) -> Iterator[Stroke]:
    for _, at, length in _tiles(room.length, room.time.beat):
        yield Stroke(at, length, room.places[0])


@_plays(LeftHand.OCTAVE)
def _octave(room: PatternRoom) -> Iterator[Stroke]:
    """Yield the bass with the octave below it: fingers 5 and 1."""
    upper = room.places[0]
    # Lower than this an octave is mud: the bass goes alone.
    if upper - 12 >= OCTAVE_LOWEST:
        yield Stroke(Fraction(0), room.length, upper - 12, 5)
        yield Stroke(Fraction(0), room.length, upper, 1)
    else:
        yield Stroke(Fraction(0), room.length, upper)


@_plays(LeftHand.ROOT_FIFTH)
def _root_fifth(room: PatternRoom) -> Iterator[Stroke]:
    """Yield root and fifth on the two halves of the bar: above it, or else below."""
    yield from _low_high(room, room.time.bar_length, room.time.bar_length / 2)


@_plays(LeftHand.JIG)
def _jig(room: PatternRoom) -> Iterator[Stroke]:
    """Yield root and fifth as crotchet and quaver on each dotted beat."""
    beat = room.time.beat
    yield from _low_high(room, beat, beat * 2 / 3)


def _low_high(room: PatternRoom, unit: Fraction, low: Fraction) -> Iterator[Stroke]:
    """Yield root and fifth in turn, the root for the first part of each unit.

    Under the tune alone the whole chord answers the root, not its fifth.
    """
    if room.bare:
        yield from _low_chords(room, unit, low) if room.length > low else _chords(room)
        return
    root, fifth = _with_companion(room)
    fingers = (5, 1) if fifth > root else (1, 5) if fifth < root else (0, 0)
    for _, at, length in _tiles(room.length, unit):
        yield Stroke(at, min(low, length), root, fingers[0])
        if length > low:
            yield Stroke(at + low, length - low, fifth, fingers[1])


def _low_chords(room: PatternRoom, unit: Fraction, low: Fraction) -> Iterator[Stroke]:
    """Yield root and chord in turn."""
    root, pair = _low_chord(room)
    for _, at, length in _tiles(room.length, unit):
        yield from _together(at, min(low, length), (root,))
        if length > low:
            yield from _together(at + low, length - low, pair)


def _with_companion(room: PatternRoom) -> tuple[int, int]:
    """Return the places of the bass and its companion; the bass twice where it must."""
    # Over the bass; else below it, which is clearer than both an octave lower.
    place, *others = room.places
    below = place + room.companion - 12
    for root in (place, *(others if below < WINDOW_LOWEST else ())):
        if root + room.companion <= room.highest:
            return root, root + room.companion
    return place, below if below >= LEFT_HAND_LOWEST else place


@_plays(LeftHand.CHORDS)
def _chords(room: PatternRoom) -> Iterator[Stroke]:
    """Yield the bass and what the right hand leaves of the chord over it, all held.

    As full as it sounds clear in close position, in the bass's usual place or an octave
    higher; the most telling note before the others.
    """
    over = [rise for rise in room.pair if rise < 12]
    rises: list[tuple[int, ...]] = [tuple(sorted(over)), *((rise,) for rise in over)]
    place = room.bass + (12 if room.bass < _CLEAR_FROM else 0)
    places = [place, *([place - 12] if place - 12 >= WINDOW_LOWEST else [])]
    if room.before:
        # A common key is kept, and nobody leaps an octave to and fro.
        places.sort(
            key=lambda at: abs(at - room.before) + (_LOWER if at < place else 0)
        )
    for chord in [chord for chord in rises if chord and len(chord) < room.most]:
        for place in places:
            heights = [place, *(place + rise for rise in chord)]
            if heights[-1] <= min(room.highest, _CHORD_HIGHEST) and _is_close(
                heights, room.reach
            ):
                for midi in heights:
                    yield Stroke(Fraction(0), room.length, midi)
                return
    yield from _held(room)


def _is_close(heights: list[int], reach: int) -> bool:
    """Whether notes lie under one hand and are clear."""
    clear = all(low_interval(low, high) is None for low, high in pairwise(heights))
    return clear and heights[-1] - heights[0] <= reach


@_plays(LeftHand.DRONE)
def _drone(room: PatternRoom) -> Iterator[Stroke]:
    """Yield the bass with its companion, both held."""
    for place in room.places:
        upper = place + room.companion
        if upper <= room.highest and low_interval(place, upper) is None:
            yield Stroke(Fraction(0), room.length, place, 5)
            yield Stroke(Fraction(0), room.length, upper, 1)
            return
    yield from _held(room)


def _pair(room: PatternRoom, place: int) -> tuple[int, ...]:
    """Return two chord notes over a place of the bass, as low as they sound clear.

    Third and fifth (or seventh) in either order; fifth and octave where the right hand
    has the third; () where neither is clear under the right hand.
    """
    pairs = []
    for lower, upper in (room.pair, room.pair[::-1]):
        low = place + lower
        high = low + ((upper - lower) % 12)
        if high <= room.highest and low_interval(low, high) is None:
            pairs.append((high, low))
    return tuple(sorted(min(pairs))) if pairs else ()


def _low_chord(room: PatternRoom) -> tuple[int, tuple[int, ...]]:
    """Return the place of the bass, and the chord over it or else its companion."""
    for place in room.places:
        pair = _pair(room, place)
        if pair:
            return place, pair
    place, companion = _with_companion(room)
    return place, (companion,)


@_plays(LeftHand.WALTZ)
def _waltz(room: PatternRoom) -> Iterator[Stroke]:
    """Yield the root low on the first beat and two notes over it on the others."""
    root, pair = _low_chord(room)
    for number, at, length in _tiles(room.length, room.time.beat):
        yield from _together(at, length, pair if number else (root,))


@_plays(LeftHand.MARCH)
def _march(room: PatternRoom) -> Iterator[Stroke]:
    """Yield low and high in turn: root, chord, fifth below, chord."""
    root, pair = _low_chord(room)
    low = (root, _other_low(room, root, pair[0]))
    time = room.time
    unit = time.beat if time.beats == 4 else time.beat / 2
    for number, at, length in _tiles(room.length, unit):
        turn = number % 4
        yield from _together(at, length, pair if turn % 2 else (low[turn // 2],))


def _other_low(room: PatternRoom, root: int, chord: int) -> int:
    """Return what the bass of a march has in turn with its root.

    The fifth below, as a band's bass has it; where that lies too low the fifth above,
    if it stays under the chord; or else the root again.
    """
    above = root + room.companion
    if above - 12 >= LEFT_HAND_LOWEST:
        return above - 12
    return above if above < chord else root


def _together(
    at: Fraction, length: Fraction, heights: tuple[int, ...]
) -> Iterator[Stroke]:
    """Yield one low note, or a chord with the thumb on top."""
    if len(heights) == 1:
        yield Stroke(at, length, heights[0], 5)
        return
    # Thumb and second finger span a fourth, thumb and fourth finger what is wider.
    wide = heights[1] - heights[0]
    yield Stroke(at, length, heights[0], 2 if wide <= 5 else 4)
    yield Stroke(at, length, heights[1], 1)


@_plays(LeftHand.BROKEN)
def _broken(room: PatternRoom) -> Iterator[Stroke]:
    """Yield the chord note by note.

    Quavers root, fifth, octave, fifth; in 3/4 crotchets root, fifth, third or octave;
    in dotted beats quavers root, fifth, octave.
    """
    time = room.time
    root, middle, top = _open_chord(room, tenth=time.beats == 3)
    high = (top, 1 if top > root else 5)
    row = [(root, 5), (middle, 2), high]
    if time.is_compound:
        unit = time.beat / 3
    elif time.beats == 3:
        unit = time.beat
    else:
        unit = time.beat / 2
        row.append(row[1])
    for number, at, length in _tiles(room.length, unit):
        midi, finger = row[number % len(row)]
        yield Stroke(at, length, midi, finger)


def _open_chord(room: PatternRoom, *, tenth: bool) -> tuple[int, int, int]:
    """Return bass, companion over it, and third over the octave, octave or bass."""
    tops = [12 + room.third] if tenth and room.third else []
    for rise in (*tops, 12):
        for place in room.places:
            if place + rise <= room.highest:
                return place, place + room.companion, place + rise
    place, companion = _with_companion(room)
    return place, companion, place
