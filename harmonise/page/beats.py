"""Beats as they are typed: parts of a beat, and the words that stand for them."""

from collections.abc import Iterable, Sequence
from fractions import Fraction
from math import lcm

REST, HOLD = "0", "-"

Part = tuple[str, Fraction]
"""What is typed for a note or a rest, and how many beats it lasts."""


def length_of(parts: Iterable[Part]) -> Fraction:
    """Return how many beats some parts last together."""
    return sum((length for _, length in parts), Fraction(0))


def joined(parts: list[Part], sign: str, length: Fraction) -> list[Part]:
    """Return parts with one more; holds and rests go on."""
    if parts and (sign == HOLD or sign == parts[-1][0] == REST):
        *before, (last, was) = parts
        return [*before, (last, was + length)]
    return [*parts, (sign, length)]


def word_of(parts: Sequence[Part]) -> str:
    """Return one beat as typed.

    >>> word_of([("E", Fraction(1, 2)), ("F", Fraction(1, 4)), ("G", Fraction(1, 4))])
    'E.-.F.G'
    """
    count = lcm(*(length.denominator for _, length in parts))
    signs = ([sign, *[HOLD] * int(length * count - 1)] for sign, length in parts)
    return ".".join(sign for some in signs for sign in some)


def words_of(parts: Iterable[Part]) -> list[str]:
    """Return whole beats as typed.

    >>> words_of([("E", Fraction(3, 2)), ("F", Fraction(1, 2))])
    ['E', '-.F']
    """
    words, beat = list[str](), list[Part]()
    for sign, length in parts:
        left, now = length, sign
        while left:
            part = min(1 - length_of(beat), left)
            beat, left = joined(beat, now, part), left - part
            now = sign if sign == REST else HOLD
            if length_of(beat) == 1:
                words.append(word_of(beat))
                beat = []
    return words


def parts_of(word: str) -> list[Part]:
    """Return the parts of one beat as typed."""
    signs = word.split(".")
    return [(sign, Fraction(1, len(signs))) for sign in signs]
