"""Notes that lead the left hand from one root to the next through the scale.

Up a fourth C (D E) F, down a fourth C (B A) G, up a tone F (F#) G: common practice. In
a minor key the sixth and seventh degrees are raised on the way up to the keynote; a
letter that the chord has is taken as the chord has it.
"""

from itertools import count, pairwise, takewhile

from harmonise.theory.chord import Chord
from harmonise.theory.key import Key, Mode
from harmonise.theory.pitch import Pitch, PitchName


def leading_notes(
    start: Pitch, goal: Pitch, key: Key, chord: Chord, most: int
) -> tuple[Pitch, ...]:
    """Return the notes between two roots, in order; at most so many, the last ones.

    Args:
        start: The root that sounds.
        goal: The next root.
        key: Key in force.
        chord: Chord in force.
        most: How many there is time for.

    >>> from harmonise.theory.chord import parse_symbol
    >>> from harmonise.theory.key import parse_key
    >>> from harmonise.theory.pitch import parse_pitch
    >>> found = leading_notes(
    ...     parse_pitch("E3"), parse_pitch("A3"), parse_key("A minor"),
    ...     parse_symbol("E"), 2,
    ... )
    >>> " ".join(map(str, found))
    'F#3 G#3'
    """
    rise = goal.midi - start.midi
    if rise == 2 and start.alter < 1 and goal.letter != start.letter:
        between: list[Pitch] = [Pitch(start.letter, start.alter + 1, start.octave)]
    elif abs(rise) < 3 or abs(rise) >= 12:
        return ()
    else:
        between = _scale_between(start, goal, _names(key, chord, goal, up=rise > 0))
    if not _goes_on([start, *between, goal], 1 if rise > 0 else -1):
        return ()
    return tuple(between[max(0, len(between) - most) :]) if most > 0 else ()


def _goes_on(way: list[Pitch], step: int) -> bool:
    """Return whether a way goes on in one direction, by a tone and a half at most."""
    return all(0 < step * (b.midi - a.midi) <= 3 for a, b in pairwise(way))


def _names(key: Key, chord: Chord, goal: Pitch, *, up: bool) -> dict[int, PitchName]:
    """Return the name of each letter on the way."""
    names = {name.letter: name for name in key.scale}
    if up and key.mode is Mode.MINOR and goal.name == key.tonic:
        names |= {name.letter: name for name in (key.name_at(6, 1), key.name_at(7, 1))}
    return names | {name.letter: name for name in chord.members}


def _scale_between(
    start: Pitch, goal: Pitch, names: dict[int, PitchName]
) -> list[Pitch]:
    step = 1 if goal.staff_step > start.staff_step else -1
    places = takewhile(
        lambda place: place != goal.staff_step, count(start.staff_step + step, step)
    )
    if start.staff_step == goal.staff_step:
        return []
    found = []
    for place in places:
        octave, letter = divmod(place, 7)
        found.append(Pitch(letter, names[letter].alter, octave))
    return found
