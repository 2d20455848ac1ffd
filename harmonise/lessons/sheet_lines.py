"""The lines of music of a worksheet, blank and solved, broken at the same bars."""

from collections.abc import Sequence
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import NamedTuple

from harmonise.lessons.sheet_parts import Box, SheetPiece
from harmonise.lessons.sheet_pictures import is_crowded, set_in_rows
from harmonise.notation.paper.blocks import Look, System
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.score.copies import ScoreCopy, copy_plan, text_width
from harmonise.notation.score.printed_labels import new_lines
from harmonise.notation.score.score_plan import ScoreBox, plan_score
from harmonise.theory.tune import Tune

MOST_BARS = 4
"""Full bars of a line at most."""


class SheetSize(NamedTuple):
    """How large the music of a sheet is.

    Attributes:
        staff: Height of a staff in millimetres.
        bars: Full bars of a line at most.
        full: Whether short lines share one; else each phrase has its own.
    """

    staff: float = 8
    bars: int = MOST_BARS
    full: bool = False


_FREE, _TIGHT = 1.2, 0.4
"""Room in a box besides what stands in it, in letters' sizes: for a pupil's larger
hand, and for print alone."""


def in_full_lines(piece: SheetPiece, most: int = MOST_BARS) -> SheetPiece:
    """Return a piece whose short lines share one.

    Args:
        piece: The piece.
        most: Full bars of a line at most.
    """
    tune = piece.arrangement.tune
    ends: list[Fraction] = []
    start = Fraction(0)
    for before, end in pairwise((*tune.phrases, tune.end)):
        if _full_bars(tune, start, end) > most:
            ends.append(before)
            start = before
    # Where ends of phrases would still take more lines, lines have equally many bars.
    parts = pairwise((Fraction(0), *ends, tune.end))
    count = sum(-(-_full_bars(tune, *part) // most) for part in parts)
    if count > -(-_full_bars(tune, Fraction(0), tune.end) // most):
        ends = []
    tune = tune._replace(phrases=(*ends, tune.end))
    return piece._replace(arrangement=piece.arrangement._replace(tune=tune))


def _full_bars(tune: Tune, start: Fraction, end: Fraction) -> int:
    """Return how many full bars begin in a stretch of a tune."""
    return sum(start <= bar.start < end and not bar.offset for bar in tune.bars)


Lines = tuple[tuple[System, ...], tuple[System, ...]]
"""The lines of a piece, blank and solved."""


def engraved(piece: SheetPiece, look: Look, most: int = MOST_BARS) -> Lines:
    """Return the lines of a piece, blank and solved, broken at the same bars.

    Args:
        piece: The piece.
        look: How it is engraved.
        most: Full bars of a line at most; fewer where boxes would be in each other's
            way.
    """
    (lines,) = engraved_alike([piece], look, most)
    return lines


def engraved_alike(
    pieces: Sequence[SheetPiece], look: Look, most: int = MOST_BARS
) -> list[Lines]:
    """Return the lines of one piece at several depths, all broken at the same bars."""
    bars = most
    pairs = _broken_alike(pieces, look, line_starts(pieces[0], bars))
    while bars > 1 and any(map(_crowded, pieces, pairs)):
        bars -= 1
        pairs = _broken_alike(pieces, look, line_starts(pieces[0], bars))
    return [
        _in_rows(piece, blank, solved)
        for piece, (blank, solved) in zip(pieces, pairs, strict=True)
    ]


def _to_write(piece: SheetPiece) -> bool:
    """Whether pupils write in boxes of a piece."""
    return any(box.ruled and not box.key_only for box in piece.boxes)


def _crowded(piece: SheetPiece, pair: Lines) -> bool:
    crowded = partial(is_crowded, to_write=_to_write(piece))
    return any(map(crowded, (*pair[0], *pair[1])))


def _in_rows(
    piece: SheetPiece, blank: tuple[System, ...], solved: tuple[System, ...]
) -> Lines:
    in_rows = partial(set_in_rows, to_write=_to_write(piece))
    return tuple(map(in_rows, blank)), tuple(map(in_rows, solved))


def _broken_alike(
    pieces: Sequence[SheetPiece], look: Look, lines: frozenset[int]
) -> list[Lines]:
    plans = [plan_score(piece.arrangement) for piece in pieces]
    while True:
        pairs = [
            (
                engrave_plan(copy_plan(plan, _copy(piece, lines, answers=False)), look),
                engrave_plan(copy_plan(plan, _copy(piece, lines, answers=True)), look),
            )
            for plan, piece in zip(plans, pieces, strict=True)
        ]
        starts = {
            frozenset(int(system.bars[0][1:]) for system in systems)
            for pair in pairs
            for systems in pair
        }
        if len(starts) == 1:
            return pairs
        # Where any copy broke, all break, until none has to any more.
        lines = frozenset().union(*starts) - {0}


def _room(piece: SheetPiece) -> float:
    """Return the width of the boxes of a piece, in letters' sizes."""
    widths = [text_width(box.text) for box in piece.boxes if box.ruled]
    asked = any(not box.key_only for box in piece.boxes)
    return max(widths, default=0.0) + (_FREE if asked else _TIGHT)


def line_starts(piece: SheetPiece, most: int) -> frozenset[int]:
    """Return the numbers of the bars that begin a line, the first one aside.

    The lines of a phrase get nearly the same number of bars.

    Args:
        piece: The piece.
        most: Full bars of a line at most.
    """
    tune = piece.arrangement.tune
    edges = sorted({0, *new_lines(tune), len(tune.bars)})
    starts = set(edges[:-1])
    for start, end in pairwise(edges):
        full = [at for at in range(start, end) if not tune.bars[at].offset]
        count = max(1, -(-len(full) // most))
        # The last one is the shortest, if any is.
        starts |= {full[-(-len(full) * n // count)] for n in range(1, count)}
    return frozenset(starts - {0})


def _copy(piece: SheetPiece, lines: frozenset[int], *, answers: bool) -> ScoreCopy:
    room = _room(piece)
    boxes = [box for box in piece.boxes if answers or not box.key_only]
    return ScoreCopy(
        frozenset() if answers else piece.hidden,
        tuple(_frame(box, room, answers=answers) for box in boxes),
        piece.ties if answers else (),
        piece.shows_symbols(answers=answers),
        piece.tune_only,
        lines,
    )


def _frame(box: Box, room: float, *, answers: bool) -> ScoreBox:
    text = box.text if answers or box.given else ""
    return ScoreBox(box.onset, text, room, box.above, box.ruled)
