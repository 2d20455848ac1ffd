"""The order in which a written page is played: repeats, endings, D.C., D.S., Coda.

A repeat goes back to where it opened; one that opened nowhere goes back to behind the
last one, or to the beginning. Bars under a bracket are played in the rounds that it
numbers. An ending with another behind it goes back even where its repeat sign is
missing. "D.C." and "D.S." are followed once each, after the repeats of their own bar;
what has been played already is then played without repeats and with its last ending.
So no page is endless. All this is common practice; see also Gardner Read, "Music
Notation" (1979), chapter 13 (from memory).

Words stand at the end of a bar, the signs "Segno" and "Coda" at the start of one. "To
Coda" leaves at the end of its bar; where those words are missing and two coda signs
stand on the page, the first one's bar is the one that is left.
"""

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from harmonise.theory.tune import Bar, Tune

_FINE = re.compile(r"fine\b", re.IGNORECASE)
_TO_CODA = re.compile(r"(to|da)\s*coda", re.IGNORECASE)
_SEGNO = re.compile(r"d\.?\s*s(?![a-z])|.*\bsegno", re.IGNORECASE)
_BACK = re.compile(
    r"d\.?\s*[cs](?![a-z])|da\s*capo|dal\s*segno|.*\bal (fine|coda)\b", re.IGNORECASE
)


class Passage(NamedTuple):
    """A stretch of the page that is played without a jump.

    Attributes:
        start: Where it begins on the page, in crotchets.
        end: Where it ends on the page.
        at: When it begins in playing, in crotchets from the first sound.
    """

    start: Fraction
    end: Fraction
    at: Fraction

    @property
    def stop(self) -> Fraction:
        """When it ends in playing, in crotchets."""
        return self.at + self.end - self.start


class _Ending(NamedTuple):
    """Bars under one bracket.

    Attributes:
        numbers: Rounds in which they are played.
        last: Index of the last of them.
        total: How many rounds all the brackets side by side make.
        closes: Whether no further bracket follows.
    """

    numbers: tuple[int, ...]
    last: int
    total: int
    closes: bool


class _Words(NamedTuple):
    """What the jump words and signs say, by index of bar."""

    fines: frozenset[int]
    leave: frozenset[int]
    codas: tuple[int, ...]
    segnos: tuple[int, ...]
    back: dict[int, str]


def played(tune: Tune) -> tuple[Passage, ...]:
    """Return the stretches of the page in the order in which they are played."""
    return passages(tune.bars[index] for index in played_bars(tune))


def played_bars(tune: Tune) -> tuple[int, ...]:
    """Return the indices of the bars in the order in which they are played.

    Where second endings alone leave no bar to play, each is played as it stands.
    """
    return tuple(_Walk(tune).bars()) or tuple(range(len(tune.bars)))


def once_through(bars: Sequence[Bar]) -> tuple[Bar, ...]:
    """Return neighbouring bars as they are practised: each one once, no repeats.

    Of several endings side by side only the last is kept.
    """
    endings = _endings(bars)
    return tuple(
        bar for at, bar in enumerate(bars) if at not in endings or endings[at].closes
    )


def passages(bars: Iterable[Bar]) -> tuple[Passage, ...]:
    """Return bars in playing order as stretches; what is neighbours is joined."""
    stretches: list[Passage] = []
    now = Fraction(0)
    for bar in bars:
        if stretches and stretches[-1].end == bar.start:
            stretches[-1] = stretches[-1]._replace(end=bar.end)
        else:
            stretches.append(Passage(bar.start, bar.end, now))
        now += bar.length
    return tuple(stretches)


def played_onsets(order: Sequence[Passage], onset: Fraction) -> tuple[Fraction, ...]:
    """Return every time at which a place of the page is played, in crotchets.

    >>> order = (Passage(Fraction(0), Fraction(4), Fraction(0)),
    ...          Passage(Fraction(0), Fraction(8), Fraction(4)))
    >>> [str(time) for time in played_onsets(order, Fraction(1))]
    ['1', '5']
    """
    return tuple(
        stretch.at + onset - stretch.start
        for stretch in order
        if stretch.start <= onset < stretch.end
    )


class _Walk:
    """A player's way through the page.

    Attributes:
        at: Index of the bar that comes next.
        begin: Index of the bar to which the next repeat goes back.
        round: How often the player has come by since, from 1.
        old: Index of the last bar that was played before a jump back; -1 for none.
        leaves: Whether the last jump back was not "al Fine", so that "To Coda" counts.
        stops: Whether a jump back was taken that was not "al Coda", so that "Fine"
            counts.
    """

    def __init__(self, tune: Tune) -> None:
        self._page = tune.bars
        self._endings = _endings(tune.bars)
        self._words = _words(tune)
        self._taken: set[int] = set()
        self.at = self.begin = 0
        self.round = 1
        self.old = -1
        self.leaves = self.stops = False

    def bars(self) -> Iterator[int]:
        """Yield the indices of the bars that are played."""
        while self.at < len(self._page):
            here = self.at
            if self._page[here].repeat_start and here != self.begin:
                self._open(here)
            ending = self._endings.get(here)
            if ending and self._round(ending) not in ending.numbers:
                self._pass_over(ending)
                continue
            yield here
            if self._repeats(here, ending):
                self.at, self.round = self.begin, self.round + 1
            elif self.stops and here in self._words.fines:
                return
            else:
                self._go_on(here, ending)

    def _open(self, at: int) -> None:
        self.begin, self.round = at, 1

    def _round(self, ending: _Ending) -> int:
        # What was played before a jump back comes again with its last ending.
        return ending.total if self.at <= self.old else self.round

    def _pass_over(self, ending: _Ending) -> None:
        self.at = ending.last + 1
        if ending.closes:
            self._open(self.at)

    def _repeats(self, here: int, ending: _Ending | None) -> bool:
        """Return whether the player goes back from the end of a bar."""
        if here <= self.old:
            return False
        if ending:
            return here == ending.last and self.round < ending.total
        return self.round < self._page[here].repeat_end

    def _go_on(self, here: int, ending: _Ending | None) -> None:
        """Go to the next bar, or where the words at the end of this one send us."""
        if here in self._words.back and here not in self._taken:
            self._jump_back(here)
        elif self.leaves and here in self._words.leave:
            self.leaves = False
            after = [sign for sign in self._words.codas if sign > here]
            self.at = after[0] if after else self.old + 1
            self._open(self.at)
        else:
            self.at = here + 1
            # A repeat that is played out shuts: the next one goes back to here at most.
            ended = self._page[here].repeat_end > 1
            if ended or (ending and ending.closes and here == ending.last):
                self._open(self.at)

    def _jump_back(self, here: int) -> None:
        self._taken.add(here)
        words = self._words.back[here].lower()
        before = [sign for sign in self._words.segnos if sign <= here]
        to_sign = before and _SEGNO.match(words)
        self.old = max(self.old, here)
        self.leaves, self.stops = "fine" not in words, "coda" not in words
        self.at = before[-1] if to_sign else 0
        self._open(self.at)


def _endings(bars: Sequence[Bar]) -> dict[int, _Ending]:
    """Return the endings by the indices of their bars."""
    endings: dict[int, _Ending] = {}
    for group in _ending_groups(bars):
        total = max(number for run in group for number in bars[run[0]].ending)
        # A single bracket that goes back is left out in the last round.
        if len(group) == 1 and bars[group[0][-1]].repeat_end > 1:
            total += 1
        for run in group:
            closes = run is group[-1]
            ending = _Ending(bars[run[0]].ending, run[-1], total, closes)
            endings |= dict.fromkeys(run, ending)
    return endings


def _ending_groups(bars: Sequence[Bar]) -> list[list[list[int]]]:
    """Return brackets side by side, each as the indices of its bars."""
    groups: list[list[list[int]]] = []
    end = -1
    for numbers, members in groupby(range(len(bars)), key=lambda at: bars[at].ending):
        run = list(members)
        if not numbers:
            continue
        # A bracket with a 1, or one that a repeat begins in, belongs to a new section.
        opens = bars[run[0]].repeat_start or min(numbers) == 1
        if run[0] == end + 1 and groups and not opens:
            groups[-1].append(run)
        else:
            groups.append([run])
        end = run[-1]
    return groups


def _words(tune: Tune) -> _Words:
    """Return jump words by the bars at whose end they stand, signs by their bars."""
    starts = [bar.start for bar in tune.bars]
    ends = [bar.end for bar in tune.bars]
    fines: set[int] = set()
    leave: set[int] = set()
    back: dict[int, str] = {}
    signs: dict[str, list[int]] = {"segno": [], "coda": []}
    for onset, text in tune.end_text:
        said = text.strip()
        closed = min(bisect_left(ends, onset), len(ends) - 1)
        if said.lower() in signs:
            signs[said.lower()].append(max(bisect_right(starts, onset) - 1, 0))
        elif _FINE.match(said):
            fines.add(closed)
        elif _TO_CODA.match(said):
            leave.add(closed)
        elif _BACK.match(said):
            back[closed] = said
    codas = tuple(sorted(signs["coda"]))
    if not leave and len(codas) > 1:
        leave.add(codas[0])
    segnos = tuple(sorted(signs["segno"]))
    return _Words(frozenset(fines), frozenset(leave), codas, segnos, back)
