"""How note numbers are spelled in a key.

Notes of the scale take its letters; in minor the raised sixth and seventh do so too. A
chromatic note that goes up a semitone is a raised degree, one that goes down a semitone
a lowered one; but #4 is never b5, and b7 is #6 only as a neighbour of 7. Others take
the usual name: #1, b3, #4, #5, b7 in major, but #2 beside 7 or #4 (the chord B D# F#
in C) and b6 beside 1 or 4 (F Ab C). All this is common practice.
"""

from collections.abc import Sequence
from functools import lru_cache

from harmonise.theory.key import Key
from harmonise.theory.pitch import Pitch, PitchName

_ALWAYS = {6: (4, 1), 11: (7, 1)}
"""Semitones above the keynote: degree, and whether it is raised or lowered."""
_USUAL = {1: (1, 1), 3: (3, -1), 4: (3, 1), 8: (5, 1), 9: (6, 1), 10: (7, -1)}
_USUAL_MINOR = {1: (2, -1), 8: (6, -1)}
_UP = {1: (1, 1), 3: (2, 1), 8: (5, 1), 10: (6, 1)}
"""What leads a semitone up."""
_DOWN = {1: (2, -1), 3: (3, -1), 8: (6, -1), 10: (7, -1)}
"""What leads a semitone down."""
_BESIDE = {3: ({11, 6}, (2, 1)), 8: ({0, 5}, (6, -1))}
"""In major: neighbours of a leaping note, and its name beside them."""


def spell(midis: Sequence[int], keys: Sequence[Key]) -> tuple[Pitch, ...]:
    """Return spelled pitches.

    Args:
        midis: Note numbers in order.
        keys: The key at each of them.

    >>> from harmonise.theory.key import parse_key
    >>> str(spell([68], [parse_key("A minor")])[0])
    'G#4'
    """
    others = _neighbours(midis)
    return tuple(
        _name(midi, around, key).at(midi)
        for midi, around, key in zip(midis, others, keys, strict=True)
    )


def _neighbours(midis: Sequence[int]) -> list[tuple[int | None, int | None]]:
    """Return the other notes before and after each note; repeated ones are one."""
    before: list[int | None] = []
    for number, midi in enumerate(midis):
        same = number and midis[number - 1] == midi
        last = midis[number - 1] if number else None
        before.append(before[-1] if same else last)
    after: list[int | None] = []
    back = list(reversed(midis))
    for number, midi in enumerate(back):
        same = number and back[number - 1] == midi
        last = back[number - 1] if number else None
        after.append(after[-1] if same else last)
    return list(zip(before, reversed(after), strict=True))


@lru_cache(maxsize=4096)
def _name(midi: int, around: tuple[int | None, int | None], key: Key) -> PitchName:
    step = (midi - key.tonic.pitch_class) % 12
    if step in key.scale_semitones:
        return key.scale[key.scale_semitones.index(step)]
    return key.name_at(*_chromatic(step, midi, around, key))


def _chromatic(
    step: int, midi: int, around: tuple[int | None, int | None], key: Key
) -> tuple[int, int]:
    """Return degree and way of a note outside the scale."""
    after = around[1]
    if step in _ALWAYS:
        return _ALWAYS[step]
    if after == midi + 1 and step in _UP and (step != 10 or around[0] == after):
        return _UP[step]
    if after == midi - 1 and step in _DOWN:
        return _DOWN[step]
    if not key.mode.is_minor and step in _BESIDE:
        beside, name = _BESIDE[step]
        tonic = key.tonic.pitch_class
        if any(n is not None and (n - tonic) % 12 in beside for n in around):
            return name
    return (_USUAL_MINOR if key.mode.is_minor else _USUAL).get(step, _USUAL[step])
