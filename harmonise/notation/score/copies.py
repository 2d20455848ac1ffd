"""Copies of a planned score on which something is left to write.

What a pupil has to write keeps its room, but is not printed: so sheet and answer key
have the same bars, lines and spacing. Boxes to write in are words in a frame.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from harmonise.notation.score.placed_signs import (
    BASS_STAFF,
    TREBLE_STAFF,
    Line,
    PlacedSign,
    PrintedNote,
)
from harmonise.notation.score.score_plan import BarPlan, Floating, Plan, ScoreBox
from harmonise.theory.arrangement import Slot

_BLANK = "\N{NO-BREAK SPACE}"
_BLANK_WIDTH = 0.5
"""What the engraver makes of a blank, as a multiple of the size of the letters; fonts
have half as much, so that blanks in front alone put a word in the middle."""


class ScoreCopy(NamedTuple):
    """What a copy shows of a score.

    Attributes:
        hidden: Numbers of the notes that are not printed.
        frames: Boxes; those at one place from the top down.
        ties: Pairs of numbers of notes that a line joins.
        symbols: Whether chord symbols are printed.
        tune_only: Whether only the treble staff is printed.
        lines: Numbers, from 0, of the bars that begin a line besides the score's own.
    """

    hidden: frozenset[int] = frozenset()
    frames: tuple[ScoreBox, ...] = ()
    ties: tuple[tuple[int, int], ...] = ()
    symbols: bool = True
    tune_only: bool = False
    lines: frozenset[int] = frozenset()


def copy_plan(plan: Plan, copy: ScoreCopy) -> Plan:
    """Return a score as a copy shows it.

    Args:
        plan: The whole score.
        copy: What is shown and what is left to write.
    """
    bars = []
    for number, bar in enumerate(plan.bars):
        start, end = bar.bar.start, bar.bar.end
        boxes = tuple(
            Floating(
                bar.start + int((box.onset - start) * plan.divisions), _padded(box)
            )
            for box in copy.frames
            if start <= box.onset < end and (box.above or not copy.tune_only)
        )
        lines = _lines(bar, copy)
        new_line = bar.new_line or number in copy.lines
        bars.append(bar._replace(new_line=new_line, boxes=boxes, lines=lines))
    made = plan._replace(bars=bars, staves=1 if copy.tune_only else plan.staves)
    made = made if copy.symbols else without_symbols(made)
    return _tied(made, copy.ties) if copy.ties else made


def without_symbols(plan: Plan) -> Plan:
    """Return a score without its chord symbols."""
    bars = [
        bar._replace(
            above=[sign for sign in bar.above if not isinstance(sign.what, Slot)]
        )
        for bar in plan.bars
    ]
    return plan._replace(bars=bars)


def change_signs(plan: Plan, change: Callable[[PlacedSign], PlacedSign]) -> Plan:
    """Return a score each of whose signs is what `change` makes of it."""
    bars = [
        bar._replace(lines=[list(map(change, line)) for line in bar.lines])
        for bar in plan.bars
    ]
    return plan._replace(bars=bars)


def _lines(bar: BarPlan, copy: ScoreCopy) -> list[Line]:
    """Return the voices of a bar without the notes that are to be written.

    Rests on the staff that the pupil writes are not given either, unless nothing else
    in their bar is to be written there.
    """
    lines = [
        [_left_over(sign, copy.hidden) for sign in line]
        for line in bar.lines
        if not copy.tune_only or line[0].staff == TREBLE_STAFF
    ]
    staff = TREBLE_STAFF if copy.tune_only else BASS_STAFF
    if not any(sign.hidden and sign.staff == staff for line in lines for sign in line):
        return lines
    return [
        [sign if sign.notes or sign.staff != staff else _unseen(sign) for sign in line]
        for line in lines
    ]


def _left_over(sign: PlacedSign, hidden: frozenset[int]) -> PlacedSign:
    """Return a sign whose hidden notes are gone, or that is unseen if all are."""
    kept = tuple(note for note in sign.notes if note.number not in hidden)
    if len(kept) == len(sign.notes):
        return sign
    if not kept:
        return _unseen(sign)
    # What is left of a chord may turn its stem the other way.
    return sign._replace(notes=kept, stem="")


def _unseen(sign: PlacedSign) -> PlacedSign:
    """Return a sign that takes its room, and nothing that hangs on it but words."""
    plain = sign.sign._replace(starts=False, stops=False, beams=())
    notes = []
    for note in sign.notes:
        graces = tuple(
            grace._replace(beams=(), accidental=None) for grace in note.graces
        )
        bare = PrintedNote(note.name, note.number, note.pitch, words=note.words)
        notes.append(bare._replace(graces=graces))
    return sign._replace(sign=plain, notes=tuple(notes), fermata=False, hidden=True)


def _padded(box: ScoreBox) -> ScoreBox:
    """Return a box with blanks in front of what stands in it."""
    free = max(0, round((box.room - text_width(box.text)) / _BLANK_WIDTH))
    return box._replace(text=_BLANK * free + box.text) if box.ruled else box


def text_width(text: str) -> float:
    """Return about how wide a text is, as a multiple of the size of its letters.

    >>> text_width("Gm") > text_width("IV") > text_width("i")
    True
    """
    return sum(
        0.33 if letter in "Iijltfr/°♭"
        else 0.8 if letter in "mM"
        else 0.68 if letter.isupper()
        else 0.48
        for letter in text
    )  # fmt: skip


def _tied(plan: Plan, pairs: Sequence[tuple[int, int]]) -> Plan:
    """Join pairs of notes by a line: the last part of one to the first of the other."""
    parts: dict[int | None, list[str]] = {}
    for sign in plan.signs():
        for note in sign.notes:
            parts.setdefault(note.number, []).append(note.name)
    there = [pair for pair in pairs if pair[0] in parts and pair[1] in parts]
    begins = {parts[first][-1] for first, _ in there}
    ends = {parts[second][0] for _, second in there}

    def tied(sign: PlacedSign) -> PlacedSign:
        notes = tuple(
            note._replace(
                tied_on=note.tied_on or note.name in begins,
                tied_back=note.tied_back or note.name in ends,
            )
            for note in sign.notes
        )
        return sign if sign.hidden else sign._replace(notes=notes)

    return change_signs(plan, tied)
