"""Which bars of a tune must have equal chords (H20).

Bars are *alike* if they have the same notes, struck at the same times, and stand at
equal places: the bar after them is the same too, or their whole sections are. The way
into a cadence may differ, so a bar that another one follows is free. Common practice:
in song books and hymnals the same phrase has the same chords.
"""

from bisect import bisect_left, bisect_right
from itertools import pairwise

from harmonise.theory.phrases import in_whole_numbers, sections_of
from harmonise.theory.tune import Tune


class Groups:
    """Numbers from 0 in groups that grow together, each known by its least one."""

    def __init__(self, size: int) -> None:
        """Put each number into a group of its own."""
        self._less = list(range(size))

    def join(self, one: int, other: int) -> None:
        """Make one group of those of two numbers."""
        low, high = sorted((self._least(one), self._least(other)))
        self._less[high] = low

    def _least(self, number: int) -> int:
        less = self._less
        while less[number] != number:
            # Each look-up halves the way, so that long chains do not last.
            number = less[number] = less[less[number]]
        return number

    def least(self) -> list[int]:
        """Return, for each number, the least one of its group."""
        return [self._least(number) for number in range(len(self._less))]


def alike_bars(tune: Tune) -> tuple[int, ...]:
    """Return, for each bar of a tune, the first one whose chords it must have.

    Returns:
        Numbers of bars as `tune.bars` counts them; a bar that is like no other before
        it has its own.
    """
    figures = _figures(tune)
    groups = Groups(len(figures))
    known: dict[object, int] = {}
    for bar, both in enumerate(pairwise(figures)):
        groups.join(known.setdefault(both, bar), bar)
    # Inside sections alike every bar but the last is followed by the same one.
    sections, inside = sections_of(tune), list[int]()
    for bar, (figure, section) in enumerate(zip(figures, sections, strict=True)):
        inside.append(figure)
        if section not in sections[bar + 1 : bar + 2]:
            groups.join(known.setdefault((None, *inside), bar), bar)
            inside = []
    return tuple(groups.least())


def _figures(tune: Tune) -> list[int]:
    """Number the bars so that those of the same notes, time and key have one number."""
    _, (onsets, begins, skipped, changes) = in_whole_numbers(
        [note.onset for note in tune.notes],
        [bar.start for bar in tune.bars] + [tune.end],
        [bar.offset for bar in tune.bars],
        [change.onset for change in tune.keys],
    )
    keys = list(zip(changes, (change.key for change in tune.keys), strict=True))
    pitches = [note.pitch for note in tune.notes]
    numbers: dict[object, int] = {}
    figures = []
    for bar, offset, (start, end) in zip(
        tune.bars, skipped, pairwise(begins), strict=True
    ):
        inside = slice(bisect_right(onsets, start) - 1, bisect_left(onsets, end))
        # A note that is held into the bar is another than one struck at its start; a
        # rest only shortens the note before it.
        notes = [
            (max(at - start, -1), pitch)
            for at, pitch in zip(onsets[inside], pitches[inside], strict=True)
            if pitch
        ]
        within = [(max(at - start, 0), key) for at, key in keys if at < end]
        signs = (bar.time, offset, end - start, within[-1])
        figure = (signs, *notes)
        figures.append(numbers.setdefault(figure, len(numbers)))
    return figures
