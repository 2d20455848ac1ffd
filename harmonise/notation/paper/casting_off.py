"""Casting off: which bars stand on a line, which lines on a page, and how large.

Lines end with phrases and hold equally many bars where phrases and the paper allow it
(TRADE N12). A player has no hand free to turn a page: a piece that nearly fits on one
page is set smaller, pages end with a section or while a hand rests, and no line stands
alone on the last page. A short piece is set larger, in the upper two thirds of its page
(common practice of music engravers). Large print is set smaller only where that saves a
page, and then by so little that it stays large. Lengths are millimetres.
"""

from collections.abc import Callable, Collection, Iterator, Sequence
from functools import cache
from itertools import pairwise
from math import ceil
from typing import NamedTuple

from harmonise.notation.paper.blocks import (
    FOOT,
    GAP,
    MARGIN,
    Look,
    Page,
    System,
    page_size,
)
from harmonise.notation.paper.engraving import DraftScore
from harmonise.notation.score.printed_labels import ends_section, new_lines
from harmonise.theory.arrangement import Arrangement, Hand
from harmonise.theory.tune import Tune

_LEAST, _MOST = 0.85, 1.2
"""How small and how large staves may become, as parts of their usual size."""
_SIZES = (1.0, 0.95, 0.9, 0.85)
"""Sizes that are tried to make lines even."""
_LOOSE = 0.9
"""How full lines may be that are set larger, as a part of what fits."""
_LEAST_OF_PAGES = 0.92
"""How small they may become to save one of several pages, and in large print any."""
_STEPS = 14
"""How many sizes are tried between the usual one and the least."""
_WIDEST = 11.0
"""Largest gap between two lines: what is further apart falls into pieces."""
_USUAL_GAP = 7.5
"""Largest gap on a page that has all the piece."""
_UPPER = 2 / 3
"""The part of the page in whose middle a short piece stands."""

Drafter = Callable[[Collection[int]], DraftScore]
"""Drafts a score whose lines of print begin with bars of these numbers, from 0."""


class CastLine(NamedTuple):
    """A line of music in its place.

    Attributes:
        system: The engraved line.
        above: Millimetres between it and the line above on its page.
        turned: Whether a new page begins with it.
    """

    system: System
    above: float
    turned: bool


class Cast(NamedTuple):
    """A piece as it is laid on its pages.

    Attributes:
        top: Millimetres left free above its title.
        lines: Its lines in order.
    """

    top: float
    lines: tuple[CastLine, ...]


class OtherRoom(NamedTuple):
    """What else stands on the pages of a piece.

    Attributes:
        above: Height of what stands above its music on the first page, such as titles.
        below: Height of what stands below it on the last page, such as a legend.
        after: Height of what follows there if it fits, and else on further pages, such
            as keyboards.
        alone: Whether nothing but this piece stands on its pages; in a booklet short
            pieces share one, and are set neither larger nor lower.
    """

    above: float
    below: float
    after: float = 0
    alone: bool = True


def cast_off(
    arrangement: Arrangement, drafter: Drafter, look: Look, page: Page, room: OtherRoom
) -> Cast:
    """Return the lines of a score as they stand on their pages.

    Args:
        arrangement: What is printed.
        drafter: Drafts the score.
        look: How it is engraved in its usual size.
        page: The page that it is set on.
        room: What else stands there.

    Raises:
        LibraryError: If verovio is not installed.
        OutputError: If it cannot engrave the score.
    """
    draft = drafter(new_lines(arrangement.tune))
    room_of_page = page_size(page)[1] - MARGIN - FOOT
    page_holds = (room_of_page + GAP) / (draft.height(look) + GAP)
    parts = (1.0,) if page.large_print else _SIZES
    part, starts = _even_lines(arrangement.tune, draft, look, parts, page_holds)
    lines = {int(name.removeprefix("m")) for name in starts[1:]}
    if lines != new_lines(arrangement.tune):
        # Chords are said again at the start of every line: of these lines now.
        draft = drafter(lines)
    ragged = _ends_in_short_section(arrangement.tune, starts)
    look = look._replace(staff=look.staff * part, ragged=ragged)
    systems = draft.engraved(look, starts)
    sheet = _Pages(room_of_page, room, _turns(arrangement, lines)).filled(systems)
    size = sheet.size(systems, _LEAST_OF_PAGES if page.large_print else _LEAST / part)
    if size == part == 1 and sheet.room.alone and not page.large_print:
        size = _larger(draft, look, starts, sheet.largest(systems))
    if size != 1:
        systems = draft.engraved(look._replace(staff=look.staff * size), starts)
    return sheet.laid(systems)


# Which bars stand on a line.


def _even_lines(
    tune: Tune, draft: DraftScore, look: Look, parts: Sequence[float], page_holds: float
) -> tuple[float, tuple[str, ...]]:
    """Return the size of the staves and the bars that begin lines, the evenest of all.

    Args:
        tune: The tune.
        draft: Its score, before lines are broken.
        look: How it is engraved in its usual size.
        parts: Sizes that it may be set in, as parts of the usual one.
        page_holds: How many lines of that size a page holds.
    """
    phrases = new_lines(tune)
    ways: list[Collection[int]] = [phrases]
    ways += [joined] if (joined := new_lines(tune, joined=True)) != phrases else []
    ways += [_halved(tune, ways[-1])]
    found: list[tuple[float, float, tuple[str, ...]]] = []
    for way in ways:
        marked = draft._replace(endless=draft.endless.marked({f"m{at}" for at in way}))
        for part in parts:
            starts = marked.starts(look._replace(staff=look.staff * part))
            price = _price(tune, starts, phrases) + 40 * (1 - part)
            price += 4 * ceil(len(starts) * part / page_holds)
            found.append((price, part, starts))
    _, part, starts = min(found, key=lambda one: one[0])
    return part, starts


def _halved(tune: Tune, lines: Collection[int]) -> set[int]:
    """Return lines of which those of four full bars and more are halved."""
    halved = set(lines)
    for start, end in pairwise([0, *sorted(lines), len(tune.bars)]):
        full = [at for at in range(start, end) if not tune.bars[at].offset]
        if len(full) >= 4:
            halved.add(full[len(full) // 2])
    return halved


def _price(tune: Tune, starts: Sequence[str], phrases: Collection[int]) -> float:
    """Return what lines cost: unevenness most, then phrases that they cut."""
    bars = tune.bars
    edges = [int(name.removeprefix("m")) for name in starts]
    parted = [True, *(ends_section(bars[at - 1], bars[at]) for at in edges[1:]), True]
    counts = [
        (sum(not bar.offset for bar in bars[start:end]), all(parted[at : at + 2]))
        for at, (start, end) in enumerate(pairwise([*edges, len(bars)]))
    ]
    # A short introduction or Amen is no uneven line: it is a section by itself.
    uneven = sum(
        2 * short[0] <= long[0] and not short[1]
        for short, long in map(sorted, pairwise(counts))
    )
    cut = sum(at not in phrases for at in edges[1:])
    return 10 * uneven + 2 * cut


def _ends_in_short_section(tune: Tune, starts: Sequence[str]) -> bool:
    """Whether the last line is a section of two bars at most, such as an Amen."""
    last = int(starts[-1].removeprefix("m"))
    bars = tune.bars[last:]
    alone = last > 0 and ends_section(tune.bars[last - 1], bars[0])
    return alone and sum(not bar.offset for bar in bars) <= 2


# Which lines stand on a page.


def _turns(arrangement: Arrangement, lines: Collection[int]) -> tuple[float, ...]:
    """Return how bad it is to turn the page before each line but the first."""
    tune = arrangement.tune
    ends = set(tune.phrases)
    prices = []
    for at in sorted(lines):
        before, bar = tune.bars[at - 1 : at + 1]
        price = 3.0 if bar.start in ends or before.start in ends else 5.0
        if _free_hand(arrangement, at):
            price = 1.0
        if bar.ending:
            # The eye leaps from the first ending back and on to the second.
            price = 7.0
        elif ends_section(before, bar):
            price = 0.0
        prices.append(price)
    return tuple(prices)


def _free_hand(arrangement: Arrangement, at: int) -> bool:
    """Whether a hand rests for a crotchet before or after the start of a bar."""
    edge = arrangement.tune.bars[at].start
    for hand in Hand:
        notes = [note for note in arrangement.notes if note.hand is hand]
        for start in (edge - 1, edge):
            if not any(
                note.onset < start + 1 and start < note.onset + note.length
                for note in notes
            ):
                return True
    return False


_Division = tuple[int, float, tuple[int, ...]]
"""How many pages, what is bad about them, and the lines that they begin with."""


class _Pages(NamedTuple):
    """The pages of a piece.

    Attributes:
        height: Room from the top to the foot of a page.
        room: What stands there beside the music.
        turns: How bad a page turn is before each line but the first.
    """

    height: float
    room: OtherRoom
    turns: tuple[float, ...]

    def filled(self, systems: Sequence[System]) -> "_Pages":
        """Return the pages with what follows the music, if one page holds it all.

        If not, the music leaves as much room as it can to what follows.
        """
        below = self.room.below + self.room.after
        full = self._replace(room=self.room._replace(below=below))
        heights = [system.height for system in systems]
        if full.free(heights, 0, len(heights)) >= 0:
            return full
        alone = self.room.alone and not self.room.after
        return self._replace(room=self.room._replace(alone=alone))

    def size(self, systems: Sequence[System], least: float) -> float:
        """Return the size, as a part of the present one, that saves a page; or 1.

        A last page of a line alone, which a smaller size gives another, is saved too.
        """
        heights = [system.height for system in systems]
        needs = [(self._needed(heights), 0, 1.0)]
        for step in range(1, _STEPS + 1):
            part = 1 - (1 - _LEAST) * step / _STEPS
            need = self._needed([part * height for height in heights])
            if part >= least and (need == 1 or part >= _LEAST_OF_PAGES):
                needs.append((need, step, part))
        return min(needs)[2]

    def _needed(self, heights: Sequence[float]) -> int:
        """Return how many pages lines need, one more if the last has one of them."""
        starts = self._pages(heights)
        return len(starts) + (0 < starts[-1] == len(heights) - 1)

    def largest(self, systems: Sequence[System]) -> float:
        """Return the size, as a part of the present one, that a short piece may have.

        It fills the upper two thirds of its page at most.
        """
        free = _UPPER * self.height - self._others(len(systems))
        part = free / sum(system.height for system in systems)
        return max(1.0, min(_MOST, part))

    def laid(self, systems: Sequence[System]) -> Cast:
        """Return the lines on their pages."""
        heights = [system.height for system in systems]
        starts = self._pages(heights)
        spans = list(pairwise([*starts, len(systems)]))
        gaps = [self._gap(heights, *span) for span in spans]
        top = 0.0
        if len(spans) == 1 and self.room.alone:
            gap = min(gaps[0], _USUAL_GAP)
            filled = self._others(len(systems), gap) + sum(heights)
            gaps, top = [gap], max(0.0, (_UPPER * self.height - filled) / 2)
        # The last page is not pulled apart to fill the paper.
        gaps[-1] = min(gaps)
        lines = [
            CastLine(systems[at], GAP if at == start else gap, start == at > 0)
            for (start, end), gap in zip(spans, gaps, strict=True)
            for at in range(start, end)
        ]
        return Cast(round(top, 2), tuple(lines))

    def _others(self, lines: int, gap: float = GAP) -> float:
        """Return the height of all but the lines themselves, on one page."""
        return self.room.above + self.room.below + gap * (lines - 1)

    def _gap(self, heights: Sequence[float], start: int, end: int) -> float:
        """Return the gap with which lines fill a page, within what looks well."""
        if end - start < 2 or not self.room.alone:
            return GAP
        free = self.free(heights, start, end) / (end - start - 1)
        return round(min(_WIDEST, GAP + max(0.0, free)), 2)

    def free(self, heights: Sequence[float], start: int, end: int) -> float:
        """Return what lines leave free of a page; less than 0 if they overfill it."""
        others = self.room.above if start == 0 else 0.0
        others += self.room.below if end == len(heights) else 0.0
        gaps = GAP * (end - start - 1)
        return self.height - others - gaps - sum(heights[start:end])

    def _pages(self, heights: Sequence[float]) -> tuple[int, ...]:
        """Return the lines that pages begin with: few pages, good turns, none alone."""

        @cache
        def best(start: int) -> _Division:
            return min(
                (1 + after[0], price + after[1], (start, *after[2]))
                for price, after in ways(start)
            )

        def ways(start: int) -> Iterator[tuple[float, _Division]]:
            count = len(heights)
            for end in range(start + 1, count + 1):
                free = self.free(heights, start, end)
                if free < 0 and end > start + 1:
                    break
                price = 4 * (free / self.height) ** 2
                if start > 0 and end - start == 1:
                    price += 30 if end == count else 10
                if end == count:
                    yield price, (0, 0.0, ())
                else:
                    yield price + self.turns[end - 1], best(end)

        # From the end, so that no piece is too long for the depth of calls.
        for start in reversed(range(1, len(heights))):
            best(start)
        return best(0)[2]


# How large.


def _larger(
    draft: DraftScore, look: Look, starts: tuple[str, ...], most: float
) -> float:
    """Return the largest size that leaves lines as they are, of those up to the most.

    Args:
        draft: The score.
        look: How it is engraved now.
        starts: Ids of the bars that lines begin with.
        most: The size that the page has room for.
    """
    marked = draft._replace(endless=draft.endless.marked(starts))
    # Larger notes and words in full lines would look crammed: some room stays.
    usual = look._replace(width=look.width * _LOOSE)
    for step in range(20, 0, -1):
        part = 1 + (most - 1) * step / 20
        if marked.starts(usual._replace(staff=look.staff * part)) == starts:
            return part
    return 1.0
