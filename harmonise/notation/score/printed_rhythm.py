"""The rhythm of one voice in one bar, ready to print: values, ties, tuplets, beams.

Beams join notes of one beat; where nothing but quavers fill half a 4/4 bar or a whole
2/4 or 3/4 bar, one beam joins them all. Common practice. Bars with the same rhythm are
worked out once and remembered.
"""

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import groupby
from typing import NamedTuple

from harmonise.notation.score.note_values import (
    MetricGrid,
    ShownLength,
    Value,
    spell,
    value_of,
)
from harmonise.notation.score.tuplets import (
    TupletSpan,
    find_tuplets,
    ratio_of,
    spell_in_tuplet,
)


class _Stem(NamedTuple):
    """What beaming asks about one note or rest.

    Attributes:
        start: Ticks from the bar line.
        end: Ticks from the bar line.
        flags: Beams or flags of its value; 0 for rests.
        plain: Whether it is an undotted quaver outside tuplets.
        tuplet: Its tuplet; None outside.
    """

    start: int
    end: int
    flags: int
    plain: bool
    tuplet: TupletSpan | None


def _beam(stems: Sequence[_Stem], grid: MetricGrid) -> list[tuple[str, ...]]:
    """Return the MusicXML beam values of every note, primary beam first."""
    groups = _groups(stems, grid)
    beams: list[tuple[str, ...]] = [()] * len(stems)
    keys = [(group, stem.flags > 0) for group, stem in zip(groups, stems, strict=True)]
    for (_, flagged), run in groupby(range(len(stems)), keys.__getitem__):
        members = list(run)
        if not flagged or len(members) < 2:
            continue
        # The outermost notes of a run have no neighbour: nought flags.
        flags = [0, *(stems[at].flags for at in members), 0]
        for number, at in enumerate(members, 1):
            before, after = flags[number - 1], flags[number + 1]
            beams[at] = tuple(
                _value(level, before, after, stems[at])
                for level in range(1, stems[at].flags + 1)
            )
    return beams


def _groups(stems: Sequence[_Stem], grid: MetricGrid) -> list[tuple[str, int]]:
    """Return the beam group of every note: a beat, a tuplet across beats, or wider.

    Quavers that fill a wide stretch are one group.
    """
    # Beams break at the beats, but a tuplet across beats is one group.
    groups = [("beat", grid.floor(grid.beamed, stem.start)) for stem in stems]
    for at, (_, _, _, _, tuplet) in enumerate(stems):
        if tuplet and grid.between(grid.beamed, tuplet.start, tuplet.end):
            groups[at] = ("tuplet", tuplet.start)
    cells = [grid.floor(grid.wide, stem.start) for stem in stems if grid.wide]
    for start, run in groupby(range(len(cells)), cells.__getitem__):
        members = list(run)
        end = grid.ceiling(grid.wide, start)
        full = stems[members[0]].start == start and stems[members[-1]].end == end
        if full and all(stems[at].plain for at in members):
            groups[members[0] : members[-1] + 1] = [("wide", start)] * len(members)
    return groups


def _value(level: int, before: int, after: int, stem: _Stem) -> str:
    """Return what one beam of a note does, by the flags of its neighbours."""
    if before >= level:
        return "continue" if after >= level else "end"
    if after >= level:
        return "begin"
    # A broken beam points into the pair that the note is half of.
    if before and after:
        forward = stem.start // (stem.end - stem.start) % 2 == 0
    else:
        forward = not before
    return "forward hook" if forward else "backward hook"


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
    if stretches == (BarPiece(0, grid.bar, is_rest=True),):
        return (NoteSign(0, 0, grid.bar, None),)
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
        return [_plain(part, grid) for part in spell(start, end, grid, rest=is_rest)]
    if not tuplet.actual:
        # No ratio is small enough: the piece has one of its own.
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
        stems.append(_Stem(sign.start, sign.end, flags, plain, owner))
    beams = _beam(stems, grid)
    beamed = [sign._replace(beams=row) for sign, row in zip(signs, beams, strict=True)]
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
