"""Time signatures: the one in force in each measure, or what its bars suggest.

Composite signatures keep their groups: 3+2/8, and 3/8+2/8+3/4 as 11/8 in 3+2+6. Where
the file gives no time signature, the commonest length of its bars is taken for one;
without bar measure (`<senza-misura>`) each bar is counted as long as it is.
"""

import re
from collections import Counter
from fractions import Fraction
from math import ceil, lcm
from typing import NamedTuple

from harmonise.errors import NotationError, Place
from harmonise.notation.reading.musicxml.remarks import Code, Remarks
from harmonise.notation.reading.musicxml.tree import Element, whole, words
from harmonise.notation.reading.musicxml.walk import Measure
from harmonise.theory.metre import TimeSignature

MOST_BEATS = 32
_BEAT_TYPES = (1, 2, 4, 8, 16, 32, 64, 128)
_BEATS = re.compile(r"[0-9]{1,3}(\s*\+\s*[0-9]{1,3})*$")


class _Found(NamedTuple):
    """A time signature as it stands in a measure.

    Attributes:
        measure: Count of the measure from 0.
        onset: Crotchets from its bar line.
        time: The signature; None for music without bar measure.
    """

    measure: int
    onset: Fraction
    time: TimeSignature | None


def measure_times(
    measures: tuple[Measure, ...], staff: int, remarks: Remarks
) -> tuple[TimeSignature, ...]:
    """Return the time signature of each measure.

    Raises:
        NotationError: If one cannot be, with its bar.
    """
    found = _find(measures, staff)
    if not found or found[0][:2] > (0, 0):
        until = found[0].measure if found else len(measures)
        guess = _commonest(measures[:until])
        remarks.add(
            Code.NO_TIME,
            f"the file gives no time signature here; its bars suggest {guess}.",
            Fraction(0),
        )
        found.insert(0, _Found(0, Fraction(0), guess))
    return tuple(_spread(measures, found, remarks))


def _find(measures: tuple[Measure, ...], staff: int) -> list[_Found]:
    found: list[_Found] = []
    for count, measure in enumerate(measures):
        for item in measure.items:
            if item.element.tag != "attributes":
                continue
            for time in item.element.iterfind("time"):
                if (whole(time.get("number")) or staff) == staff:
                    number = whole(measure.label)
                    place = Place(count + 1 if number is None else number)
                    found.append(_Found(count, item.onset, _parse(time, place)))
    return found


def _spread(
    measures: tuple[Measure, ...], found: list[_Found], remarks: Remarks
) -> list[TimeSignature]:
    times: list[TimeSignature] = []
    start = Fraction(0)
    now: TimeSignature | None = None
    coming = list(reversed(found))
    for count, measure in enumerate(measures):
        while coming and (coming[-1].measure, coming[-1].onset) <= (count, 0):
            now = coming.pop().time
        if now is None:
            remarks.add(
                Code.UNMEASURED,
                "the music has no bar measure here; each bar is counted as it stands.",
                start,
            )
        times.append(now or _as_long_as(measure.length))
        start += measure.length or times[-1].bar_length
    return times


def _parse(time: Element, place: Place) -> TimeSignature | None:
    """Return the signature of a `<time>`; None for `<senza-misura>`."""
    if time.find("senza-misura") is not None and time.find("beats") is None:
        return None
    uppers = [words(beats.text) for beats in time.iterfind("beats")]
    lowers = [whole(lower.text) for lower in time.iterfind("beat-type")]
    shown = " + ".join(
        f"{upper}/{lower}" for upper, lower in zip(uppers, lowers, strict=False)
    )
    groups = _common_groups(uppers, lowers)
    if groups is None or len(uppers) != len(lowers):
        raise NotationError(
            f'the time signature "{shown or "without beats"}" is not read.',
            place,
            "Both numbers must be whole, the lower one 1, 2, 4, 8 and so on.",
        )
    sizes, lower = groups
    if not 0 < sum(sizes) <= MOST_BEATS or not all(sizes):
        raise NotationError(
            f"the time signature {shown} has {sum(sizes)} beats in a bar.",
            place,
            f"From 1 to {MOST_BEATS} are read.",
        )
    return TimeSignature(sum(sizes), lower, tuple(sizes) if len(sizes) > 1 else ())


def _common_groups(
    uppers: list[str], lowers: list[int | None]
) -> tuple[list[int], int] | None:
    """Return all groups counted in the shortest of the lower numbers' notes."""
    good = [lower for lower in lowers if lower in _BEAT_TYPES]
    if not uppers or len(good) != len(lowers) or not all(map(_BEATS.match, uppers)):
        return None
    common = lcm(*good)
    sizes = [
        int(size) * (common // lower)
        for upper, lower in zip(uppers, good, strict=False)
        for size in upper.split("+")
    ]
    return sizes, common


def _commonest(measures: tuple[Measure, ...]) -> TimeSignature:
    lengths = Counter(measure.length for measure in measures if measure.length)
    if not lengths:
        return TimeSignature(4, 4)
    return _as_long_as(max(lengths, key=lambda length: (lengths[length], length)))


def _as_long_as(length: Fraction) -> TimeSignature:
    """Return the plainest signature whose bar has a length in crotchets.

    A length that no signature has within our limits (a stray third of a beat, say)
    gets the next longer bar that has one.
    """
    for lower in (4, 8, 16, 32):
        beats = length * lower / 4
        if beats.denominator == 1 and 0 < beats <= MOST_BEATS:
            return TimeSignature(int(beats), lower)
    return TimeSignature(min(max(ceil(length), 1), MOST_BEATS), 4)
