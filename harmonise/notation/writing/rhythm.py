"""The rhythm of one voice in one bar, ready to print: values, ties, tuplets, beams.

Pure and remembered: bars with the same rhythm are worked out once.
"""

from fractions import Fraction
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from harmonise.notation.writing.beams import Stem, beam
from harmonise.notation.writing.durations import (
    Part,
    Value,
    spell_note,
    spell_rest,
    value_of,
)
from harmonise.notation.writing.metric_grid import Grid
from harmonise.notation.writing.tuplets import (
    Tuplet,
    find_tuplets,
    ratio_of,
    spell_in_tuplet,
)


class Stretch(NamedTuple):
    """A note, chord or rest of a voice, cut at the bar lines.

    Attributes:
        start: Ticks from the bar line; of the whole bar in a part bar.
        end: Ticks from the bar line.
        is_rest: Whether it is a rest.
    """

    start: int
    end: int
    is_rest: bool


class Ratio(NamedTuple):
    """The tuplet ratio of one note.

    Attributes:
        actual: Notes of the tuplet.
        normal: Plain notes whose time they take.
        kind: Type of those plain notes.
    """

    actual: int
    normal: int
    kind: str


class Sign(NamedTuple):
    """One printed note, chord or rest.

    Attributes:
        stretch: Number, from 0, of the stretch that it is a part of.
        start: Ticks from the bar line.
        end: Ticks from the bar line.
        value: Note value; None for the rest of a whole bar.
        ratio: Its tuplet ratio; None outside tuplets.
        starts: Whether a tuplet sign begins here.
        stops: Whether a tuplet sign ends here.
        bracket: Whether that tuplet needs a bracket, as it has no single beam.
        beams: MusicXML beam values, primary beam first.
    """

    stretch: int
    start: int
    end: int
    value: Value | None
    ratio: Ratio | None = None
    starts: bool = False
    stops: bool = False
    bracket: bool = False
    beams: tuple[str, ...] = ()


@lru_cache(maxsize=8192)
def lay_out(stretches: tuple[Stretch, ...], grid: Grid) -> tuple[Sign, ...]:
    """Return the printed signs of a voice in a bar.

    Args:
        stretches: What sounds, in order and without gaps; never empty.
        grid: The metre.
    """
    if len(stretches) == 1 and _is_bar_rest(stretches[0], grid):
        return (Sign(0, stretches[0].start, stretches[0].end, None),)
    bounds = (stretches[0].start, *(stretch.end for stretch in stretches))
    tuplets = find_tuplets(bounds, grid)
    signs: list[Sign] = []
    owners: list[Tuplet | None] = []
    for number, stretch in enumerate(stretches):
        for start, end, tuplet in _cut(stretch, tuplets):
            made = _spell(Stretch(start, end, stretch.is_rest), tuplet, grid)
            signs.extend(sign._replace(stretch=number) for sign in made)
            owners.extend([tuplet] * len(made))
    return _beamed(signs, owners, stretches, grid)


def _is_bar_rest(stretch: Stretch, grid: Grid) -> bool:
    return stretch.is_rest and stretch.start == 0 and stretch.end == grid.bar


def _cut(
    stretch: Stretch, tuplets: tuple[Tuplet, ...]
) -> list[tuple[int, int, Tuplet | None]]:
    """Cut a stretch at the edges of tuplets; say which tuplet each piece is in."""
    pieces: list[tuple[int, int, Tuplet | None]] = []
    place = stretch.start
    for tuplet in tuplets:
        if tuplet.end <= place or tuplet.start >= stretch.end:
            continue
        if place < tuplet.start:
            pieces.append((place, tuplet.start, None))
        start, place = max(place, tuplet.start), min(stretch.end, tuplet.end)
        pieces.append((start, place, tuplet))
    if place < stretch.end:
        pieces.append((place, stretch.end, None))
    return pieces


def _spell(stretch: Stretch, tuplet: Tuplet | None, grid: Grid) -> list[Sign]:
    start, end, is_rest = stretch
    if tuplet is None:
        spell = spell_rest if is_rest else spell_note
        return [_plain(part, grid) for part in spell(start, end, grid)]
    if not tuplet.actual:
        return [_plain(Part(start, end, None), grid)]
    unit = value_of(tuplet.unit)
    ratio = Ratio(tuplet.actual, tuplet.normal, unit.kind if unit else "")
    parts = spell_in_tuplet(start, end, tuplet, grid)
    return [Sign(0, *part, ratio=ratio) for part in parts]


def _plain(part: Part, grid: Grid) -> Sign:
    """Return the sign of a part; without a value, by a ratio of its own."""
    length = Fraction(part.end - part.start, grid.divisions)
    value = part.value or value_of(length)
    if value:
        return Sign(0, part.start, part.end, value)
    kind, actual, normal = ratio_of(length)
    return Sign(0, part.start, part.end, Value(kind), Ratio(actual, normal, kind))


def _beamed(
    signs: list[Sign],
    owners: list[Tuplet | None],
    stretches: tuple[Stretch, ...],
    grid: Grid,
) -> tuple[Sign, ...]:
    stems = []
    for sign, owner in zip(signs, owners, strict=True):
        is_rest = stretches[sign.stretch].is_rest
        flags = sign.value.beams if sign.value and not is_rest else 0
        plain = flags == 1 and sign.value == Value("eighth") and sign.ratio is None
        tuplet = (owner.start, owner.end) if owner else None
        stems.append(Stem(sign.start, sign.end, flags, plain, tuplet))
    beams = beam(stems, grid)
    beamed = [sign._replace(beams=own) for sign, own in zip(signs, beams, strict=True)]
    _bracket(beamed, owners)
    return tuple(beamed)


def _bracket(signs: list[Sign], owners: list[Tuplet | None]) -> None:
    """Mark the first and last sign of each tuplet that has a ratio."""
    for owner, run in groupby(range(len(signs)), owners.__getitem__):
        members = list(run)
        if owner is None or not owner.actual:
            continue
        first, last = members[0], members[-1]
        joined = all(signs[at].beams for at in members) and not any(
            "end" in signs[at].beams[:1] for at in members[:-1]
        )
        signs[first] = signs[first]._replace(starts=True, bracket=not joined)
        signs[last] = signs[last]._replace(stops=True)
