"""The lines of music of a worksheet, blank and solved, broken at the same bars."""

from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import NamedTuple

from harmonise.lessons.sheet_pictures import is_crowded, set_in_rows
from harmonise.lessons.worksheet import Box, SheetPiece
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


def engraved(
    piece: SheetPiece, look: Look, most: int = MOST_BARS
) -> tuple[tuple[System, ...], tuple[System, ...]]:
    """Return the lines of a piece, blank and solved, broken at the same bars.

    Args:
        piece: The piece.
        look: How it is engraved.
        most: Full bars of a line at most; fewer where boxes would be in each other's
            way.
    """
    bars = most
    to_write = any(box.ruled and not box.key_only for box in piece.boxes)
    crowded = partial(is_crowded, to_write=to_write)
    pair = _broken_alike(piece, look, line_starts(piece, bars))
    while bars > 1 and any(map(crowded, (*pair[0], *pair[1]))):
        bars -= 1
        pair = _broken_alike(piece, look, line_starts(piece, bars))
    in_rows = partial(set_in_rows, to_write=to_write)
    blank, solved = (tuple(map(in_rows, systems)) for systems in pair)
    return blank, solved


def _broken_alike(
    piece: SheetPiece, look: Look, lines: frozenset[int]
) -> tuple[tuple[System, ...], tuple[System, ...]]:
    plan, room = plan_score(piece.arrangement), _room(piece)
    while True:
        blank = copy_plan(plan, _copy(piece, room, lines, answers=False))
        solved = copy_plan(plan, _copy(piece, room, lines, answers=True))
        pair = engrave_plan(blank, look), engrave_plan(solved, look)
        starts = [{int(system.bars[0][1:]) for system in systems} for systems in pair]
        if starts[0] == starts[1]:
            return pair
        # Where either copy broke, both break, until neither has to any more.
        lines = frozenset(starts[0] | starts[1]) - {0}


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
        starts |= {full[len(full) * n // count] for n in range(1, count)}
    return frozenset(starts - {0})


def _copy(
    piece: SheetPiece, room: float, lines: frozenset[int], *, answers: bool
) -> ScoreCopy:
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
