"""A tune cut into the notes that ABC writes: at bar lines, chords, changes, lines.

A note is cut where something begins inside it, and where no single note value shows
its length; the pieces are tied. A rest is cut at the same places without a tie.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from harmonise.notation.writing.durations import spell_note, value_of
from harmonise.notation.writing.heads import clock_of
from harmonise.notation.writing.metric_grid import grid_of
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tune, TuneNote


class Piece(NamedTuple):
    """One written note or rest.

    Attributes:
        onset: Crotchets from the start.
        length: Crotchets.
        note: The note or rest that it is a part of.
    """

    onset: Fraction
    length: Fraction
    note: TuneNote

    @property
    def is_first(self) -> bool:
        """Whether the note is struck here."""
        return self.onset == self.note.onset

    @property
    def is_last(self) -> bool:
        """Whether the note ends with it."""
        return self.onset + self.length == self.note.end


class Written(NamedTuple):
    """A piece with its length as written.

    Attributes:
        piece: The piece.
        length: Written length in crotchets; more than the real one in a tuplet.
        tuplet: Sign of the tuplet that begins with it, such as "(3"; else "".
        grouped: Whether it belongs to a tuplet.
    """

    piece: Piece
    length: Fraction
    tuplet: str = ""
    grouped: bool = False


def cut_pieces(tune: Tune, cuts: Iterable[Fraction]) -> list[list[Piece]]:
    """Return the written notes of each bar.

    Args:
        tune: The tune.
        cuts: Onsets besides bar lines at which a written note must begin.
    """
    edges = sorted({*(bar.start for bar in tune.bars), *cuts})
    starts = [bar.start for bar in tune.bars]
    found: list[list[Piece]] = [[] for _ in tune.bars]
    for note in tune.notes:
        for start, end in _stretches(note, edges):
            number = bisect_right(starts, start) - 1
            piece = Piece(start, end - start, note)
            found[number] += _spelled(piece, tune.bars[number])
    return found


def _stretches(
    note: TuneNote, edges: Sequence[Fraction]
) -> Iterator[tuple[Fraction, Fraction]]:
    inside = edges[bisect_right(edges, note.onset) : bisect_left(edges, note.end)]
    yield from pairwise((note.onset, *inside, note.end))


def _spelled(piece: Piece, bar: Bar) -> Iterator[Piece]:
    """Yield the tied notes of a length that no single note value shows."""
    plain = piece.note.pitch is None or odd_part(piece.length) > 1
    if plain or value_of(piece.length):
        yield piece
        return
    first = piece.onset - bar.start + bar.offset
    for start, end in _spell(first, first + piece.length, bar.time):
        yield Piece(piece.onset + start - first, end - start, piece.note)


def _spell(
    start: Fraction, end: Fraction, time: TimeSignature
) -> Iterator[tuple[Fraction, Fraction]]:
    exact = (start, end, time.unit, time.beat, time.bar_length)
    divisions = lcm(*(value.denominator for value in exact))
    ticks = clock_of(divisions)
    for part in spell_note(ticks(start), ticks(end), grid_of(time, divisions)):
        yield Fraction(part.start, divisions), Fraction(part.end, divisions)


def odd_part(length: Fraction) -> int:
    """Return what of a length's denominator no halving reaches: 3 for a triplet.

    >>> odd_part(Fraction(1, 6)), odd_part(Fraction(3, 8))
    (3, 1)
    """
    lower = length.denominator
    while lower % 2 == 0:
        lower //= 2
    return lower


def write_lengths(pieces: Sequence[Piece]) -> Iterator[Written]:
    """Yield the pieces of a bar with their lengths as written, tuplets marked.

    A tuplet lasts until it fills a length that halving reaches, or to the bar line.
    """
    group: list[Piece] = []
    for piece in pieces:
        if not group and odd_part(piece.length) == 1:
            yield Written(piece, piece.length)
            continue
        group.append(piece)
        if odd_part(sum((own.length for own in group), Fraction(0))) == 1:
            yield from _tuplet(group)
            group = []
    if group:
        yield from _tuplet(group)


def _tuplet(group: list[Piece]) -> Iterator[Written]:
    actual = lcm(*(odd_part(piece.length) for piece in group))
    normal = 1 << (actual.bit_length() - 1)
    count = len(group)
    sign = "(3" if actual == count == 3 else f"({actual}:{normal}:{count}"
    for piece in group:
        length = piece.length * actual / normal
        yield Written(piece, length, sign, grouped=True)
        sign = ""
