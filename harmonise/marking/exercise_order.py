"""The exercises of a drill, whichever of them a pupil wrote first.

A drill of several exercises may be handed in in any order. Each stretch of the
script that is as long as an exercise goes where most of its notes stand in the model;
exercises change places only with others of the same length, and of all orders the one
that has most notes in place is taken, the given one among equals.
"""

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise, permutations
from typing import NamedTuple

from harmonise.marking.script import Script, in_order
from harmonise.marking.task import Task
from harmonise.theory.arrangement import SoundingNote

_MOST = 6
"""So many exercises of one length are tried in every order."""
_TOLD = (
    "The exercises stand in another order than in the drill; each was marked where it "
    "belongs."
)


class _Part(NamedTuple):
    """Where an exercise stands in its drill, in crotchets."""

    start: Fraction
    end: Fraction


def in_task_order(script: Script, task: Task) -> Script:
    """Return a script with its exercises in the order of the task."""
    tune = task.model.tune
    cuts = [bar.end for bar in tune.bars[:-1] if bar.double]
    whole = not script.bars or script.bars[-1].end == tune.end
    if not (task.free and cuts and whole):
        return script
    parts = [_Part(*edges) for edges in pairwise([Fraction(0), *cuts, tune.end])]
    moves = _moves(script, task, parts)
    if not any(moves):
        return script

    def there(onset: Fraction) -> Fraction:
        return onset + moves[sum(part.start <= onset for part in parts) - 1]

    return script._replace(
        notes=tuple(
            sorted(
                (n._replace(onset=there(n.onset)) for n in script.notes), key=in_order
            )
        ),
        symbols=tuple(
            row._replace(
                onset=there(row.onset), end=there(row.onset) + row.end - row.onset
            )
            for row in script.symbols
        ),
        words=tuple(row._replace(onset=there(row.onset)) for row in script.words),
        assumed=(*script.assumed, _TOLD),
    )


def _moves(script: Script, task: Task, parts: Sequence[_Part]) -> list[Fraction]:
    """Return by how much each stretch of a script is moved."""
    written = [_notes_in(script.notes, part) for part in parts]
    wanted = [_notes_in(task.model.notes, part) for part in parts]
    moves = [Fraction(0)] * len(parts)
    alike: dict[Fraction, list[int]] = defaultdict(list)
    for number, part in enumerate(parts):
        alike[part.end - part.start].append(number)
    for numbers in alike.values():
        if not 1 < len(numbers) <= _MOST:
            continue
        # The given order comes first, so that it stays where none is better.
        best = max(
            permutations(numbers),
            key=lambda order: sum(
                len(written[here] & wanted[there])
                for here, there in zip(numbers, order, strict=True)
            ),
        )
        for here, there in zip(numbers, best, strict=True):
            moves[here] = parts[there].start - parts[here].start
    return moves


def _notes_in(
    notes: Sequence[SoundingNote], part: _Part
) -> frozenset[tuple[Fraction, int]]:
    """Return the notes that begin in an exercise, counted from its start."""
    return frozenset(
        (note.onset - part.start, note.pitch.midi)
        for note in notes
        if part.start <= note.onset < part.end
    )
