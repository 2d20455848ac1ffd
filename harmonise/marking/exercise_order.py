"""The exercises of a drill, whichever of them a pupil wrote first.

A drill of several exercises may be handed in in any order. Of all orders the one that
has most notes in place is taken, the given one among equals.
"""

from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from itertools import accumulate, combinations, pairwise
from operator import itemgetter
from typing import NamedTuple

from harmonise.marking.script import Script, in_order
from harmonise.marking.task import Task
from harmonise.theory.arrangement import SoundingNote

_MOST = 12
"""So many exercises are tried in every order."""
_TOLD = (
    "The exercises stand in another order than in the drill; each was marked where it "
    "belongs."
)


class _Part(NamedTuple):
    """Where an exercise stands in its drill, in crotchets."""

    start: Fraction
    end: Fraction

    @property
    def length(self) -> Fraction:
        """How long it is."""
        return self.end - self.start


def in_task_order(script: Script, task: Task) -> Script:
    """Return a script with its exercises in the order of the task."""
    tune = task.model.tune
    cuts = [bar.end for bar in tune.bars[:-1] if bar.double]
    whole = not script.bars or script.bars[-1].end == tune.end
    if task.chosen or not (cuts and whole):
        return script
    parts = [_Part(*edges) for edges in pairwise([Fraction(0), *cuts, tune.end])]
    if len(parts) > _MOST:
        return script
    order = _order(script, task, parts)
    lengths = (parts[number].length for number in order[:-1])
    starts = list(accumulate(lengths, initial=Fraction(0)))
    rows = zip(order, starts, strict=True)
    moves = [parts[number].start - start for number, start in rows]
    if not any(moves):
        return script

    def there(onset: Fraction) -> Fraction:
        return onset + moves[sum(start <= onset for start in starts) - 1]

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


def _order(script: Script, task: Task, parts: Sequence[_Part]) -> list[int]:
    """Return which exercise stands first in a script, which second, and so on.

    Where an exercise begins those before it tell, whatever their order: so the best
    order of each set of them is worked out from those of the sets with one less.
    """
    wanted = [_notes_in(task.model.notes, part) for part in parts]
    given = tuple(range(len(parts)))

    @cache
    def fits(number: int, start: Fraction) -> int:
        here = _Part(start, start + parts[number].length)
        return len(_notes_in(script.notes, here) & wanted[number])

    best: dict[frozenset[int], tuple[int, tuple[int, ...]]] = {frozenset(): (0, ())}
    for size in given:
        for before in combinations(given, size):
            count, order = best[frozenset(before)]
            start = sum((parts[number].length for number in before), Fraction(0))
            for number in set(given).difference(before):
                row = (count + fits(number, start), (*order, number))
                now = frozenset(row[1])
                best[now] = max(best.get(now, row), row, key=itemgetter(0))
    count, order = best[frozenset(given)]
    as_given = sum(fits(number, parts[number].start) for number in given)
    # What is out of place in another way has hardly a note in place in any order.
    clear = 2 * count >= sum(map(len, wanted)) and count > as_given
    return list(order if clear else given)


def _notes_in(
    notes: Sequence[SoundingNote], part: _Part
) -> frozenset[tuple[Fraction, int]]:
    """Return the notes that begin in an exercise, counted from its start."""
    return frozenset(
        (note.onset - part.start, note.pitch.midi)
        for note in notes
        if part.start <= note.onset < part.end
    )
