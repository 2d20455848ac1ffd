"""Beams: which notes they join, and where they begin, go on, end or stick out.

Beams join notes of one beat; where nothing but quavers fill half a 4/4 bar or a whole
2/4 or 3/4 bar, one beam joins them all. Common practice.

The rhythm of one voice in one bar, ready to print: values, ties, tuplets, beams.

Pure and remembered: bars with the same rhythm are worked out once.
"""

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from harmonise.notation.score.note_values import (
    MetricGrid,
    ShownLength,
    Value,
    spell_note,
    spell_rest,
    value_of,
)
from harmonise.notation.score.tuplets import (
    TupletSpan,
    find_tuplets,
    ratio_of,
    spell_in_tuplet,
)


class Stem(NamedTuple):
    """What beaming asks about one note or rest.

    Attributes:
        start: Ticks from the bar line.
        end: Ticks from the bar line.
        flags: Beams or flags of its value; 0 for rests.
        plain: Whether it is an undotted quaver outside tuplets.
        tuplet: Start and end of its tuplet; None outside.
    """

    start: int
    end: int
    flags: int
    plain: bool
    tuplet: tuple[int, int] | None


def beam(stems: list[Stem], grid: MetricGrid) -> list[tuple[str, ...]]:
    """Return the MusicXML beam values of every note, primary beam first.

    Args:
        stems: The notes and rests of a voice in a bar, without gaps.
        grid: The metre.
    """
    groups = [_group(stem, grid) for stem in stems]
    _widen(stems, groups, grid)
    beams: list[tuple[str, ...]] = [()] * len(stems)
    for members in _runs(stems, groups):
        for place, values in zip(members, _join(stems, members), strict=True):
            beams[place] = values
    return beams


_Group = tuple[str, int]


def _group(stem: Stem, grid: MetricGrid) -> _Group:
    """Return the beam group of a note; a tuplet across beats is a group itself."""
    if stem.tuplet:
        start, end = stem.tuplet
        if grid.between(grid.beamed, start, end):
            return "tuplet", start
    return "beat", grid.floor(grid.beamed, stem.start)


def _widen(stems: list[Stem], groups: list[_Group], grid: MetricGrid) -> None:
    """Give one group to the quavers that fill a wide stretch."""
    if not grid.wide:
        return
    cells = [grid.floor(grid.wide, stem.start) for stem in stems]
    for start, run in groupby(range(len(stems)), cells.__getitem__):
        members = list(run)
        end = grid.ceiling(grid.wide, start)
        full = stems[members[0]].start == start and stems[members[-1]].end == end
        if full and all(stems[at].plain for at in members):
            for at in members:
                groups[at] = ("wide", start)


def _runs(stems: list[Stem], groups: list[_Group]) -> Iterator[list[int]]:
    """Yield the runs of two or more neighbours that share beams."""
    keys = [(group, stem.flags > 0) for group, stem in zip(groups, stems, strict=True)]
    for (_, flagged), run in groupby(range(len(stems)), keys.__getitem__):
        members = list(run)
        if flagged and len(members) > 1:
            yield members


def _join(stems: list[Stem], members: list[int]) -> Iterator[tuple[str, ...]]:
    flags = [stems[at].flags for at in members]
    for place, own in enumerate(flags):
        before = flags[place - 1] if place else 0
        after = flags[place + 1] if place + 1 < len(flags) else 0
        yield tuple(
            _value(level, before, after) or _hook(stems[members[place]], before, after)
            for level in range(1, own + 1)
        )


def _value(level: int, before: int, after: int) -> str:
    """Return what one beam of a note does; "" if no neighbour shares it."""
    if before >= level:
        return "continue" if after >= level else "end"
    return "begin" if after >= level else ""


def _hook(stem: Stem, before: int, after: int) -> str:
    """Return which way a broken beam points: into the pair that the note is half of."""
    if not before or not after:
        return "backward hook" if before else "forward hook"
    length = stem.end - stem.start
    return "forward hook" if stem.start // length % 2 == 0 else "backward hook"


class BarPiece(NamedTuple):
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


class NoteSign(NamedTuple):
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
def lay_out(stretches: tuple[BarPiece, ...], grid: MetricGrid) -> tuple[NoteSign, ...]:
    """Return the printed signs of a voice in a bar.

    Args:
        stretches: What sounds, in order and without gaps; never empty.
        grid: The metre.
    """
    if len(stretches) == 1 and _is_bar_rest(stretches[0], grid):
        return (NoteSign(0, stretches[0].start, stretches[0].end, None),)
    bounds = (stretches[0].start, *(stretch.end for stretch in stretches))
    tuplets = find_tuplets(bounds, grid)
    signs: list[NoteSign] = []
    owners: list[TupletSpan | None] = []
    for number, stretch in enumerate(stretches):
        for start, end, tuplet in _cut(stretch, tuplets):
            made = _spell(BarPiece(start, end, stretch.is_rest), tuplet, grid)
            signs.extend(sign._replace(stretch=number) for sign in made)
            owners.extend([tuplet] * len(made))
    return _beamed(signs, owners, stretches, grid)


def _is_bar_rest(stretch: BarPiece, grid: MetricGrid) -> bool:
    return stretch.is_rest and stretch.start == 0 and stretch.end == grid.bar


def _cut(
    stretch: BarPiece, tuplets: tuple[TupletSpan, ...]
) -> list[tuple[int, int, TupletSpan | None]]:
    """Cut a stretch at the edges of tuplets; say which tuplet each piece is in."""
    pieces: list[tuple[int, int, TupletSpan | None]] = []
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


def _spell(
    stretch: BarPiece, tuplet: TupletSpan | None, grid: MetricGrid
) -> list[NoteSign]:
    start, end, is_rest = stretch
    if tuplet is None:
        spell = spell_rest if is_rest else spell_note
        return [_plain(part, grid) for part in spell(start, end, grid)]
    if not tuplet.actual:
        return [_plain(ShownLength(start, end, None), grid)]
    unit = value_of(tuplet.unit)
    ratio = Ratio(tuplet.actual, tuplet.normal, unit.kind if unit else "")
    parts = spell_in_tuplet(start, end, tuplet, grid)
    return [NoteSign(0, *part, ratio=ratio) for part in parts]


def _plain(part: ShownLength, grid: MetricGrid) -> NoteSign:
    """Return the sign of a part; without a value, by a ratio of its own."""
    length = Fraction(part.end - part.start, grid.divisions)
    value = part.value or value_of(length)
    if value:
        return NoteSign(0, part.start, part.end, value)
    kind, actual, normal = ratio_of(length)
    return NoteSign(0, part.start, part.end, Value(kind), Ratio(actual, normal, kind))


def _beamed(
    signs: list[NoteSign],
    owners: list[TupletSpan | None],
    stretches: tuple[BarPiece, ...],
    grid: MetricGrid,
) -> tuple[NoteSign, ...]:
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


def _bracket(signs: list[NoteSign], owners: list[TupletSpan | None]) -> None:
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
