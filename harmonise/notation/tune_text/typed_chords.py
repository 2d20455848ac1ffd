"""Chords typed under a tune or for the whole of it, into locks: E19 and E20.

In each bar one chord holds for the whole bar, two for half each, otherwise there is one
for each beat. `?` leaves the choice to us, `-` goes on with what was before. In a
`Chords:` line a part of a bar at the front (a pickup) may be left out; `--chords` takes
the same signs, a group of them for each bar.
"""

import re
from collections.abc import Callable, Iterable
from fractions import Fraction
from functools import partial
from typing import NamedTuple

from harmonise.errors import NotationError, Place, shorten
from harmonise.notation.tune_text.typed_bars import TypedBar
from harmonise.notation.tune_text.typed_headers import TypedLine
from harmonise.notation.tune_text.typed_lines import TypedPassage
from harmonise.notation.tune_text.word_faults import (
    fault,
)
from harmonise.theory.chord import Chord, parse_symbol
from harmonise.theory.key import Key
from harmonise.theory.metre import TimeSignature, strong_starts
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.tune import Bar, ChordAt, Tune

_BAR_LINE = r"\|\||\|:|:\||\|"
_ENDING = r"\[[1-9][,\d]*"
_HOLD_REMEDY = 'Type a chord, or "?" for a free choice.'


class _ChordStretch(NamedTuple):
    """The part of a bar that one line of the tune holds."""

    bar: TypedBar
    first: int  # Its first beat in the bar, from 0.
    beats: int

    @property
    def is_part(self) -> bool:
        """Whether the front of its bar lies elsewhere."""
        return self.first > 0 or self.bar.offset > 0


_SignAt = tuple[Fraction, Fraction, str]
"""A sign with where it begins and ends."""


class _Event(NamedTuple):
    """A sign of a Chords: line on its place; the chord is None for a free choice."""

    onset: Fraction
    end: Fraction
    chord: Chord | None


def parse_locks(
    passages: list[TypedPassage], bars: list[TypedBar], keys: list[Key]
) -> tuple[ChordAt, ...]:
    """Return the chords that the `Chords:` lines lock.

    Args:
        passages: Lines of the tune.
        bars: Its bars.
        keys: The key in force in each passage; Roman numerals are read in it.

    Raises:
        NotationError: E19 or E20.
    """
    if not any(passage.chords for passage in passages):
        return ()
    stretches = _stretches(passages, bars)
    events: list[_Event] = []
    above: list[_ChordStretch] = []
    for passage, here in zip(passages, stretches, strict=True):
        above.extend(here)
        for line in passage.chords:
            for stretch, signs in _by_bars(line, here, above):
                spread = _spread_on(stretch, signs, line)
                refuse = partial(_fault, line, stretch.bar)
                key = keys[stretch.bar.words[stretch.first].passage]
                _lock(events, spread, key, refuse)
            above = []
    return _locks(events)


def _fault(line: TypedLine, bar: TypedBar, what: str, remedy: str) -> NotationError:
    return fault(what, line.number, place=Place(bar.told), remedy=remedy)


def _spread_on(
    stretch: _ChordStretch, signs: list[str], line: TypedLine
) -> list[_SignAt]:
    """Return where each sign over a stretch begins and ends."""
    bar = stretch.bar
    starts = [bar.start + bar.time.unit * at for at in _starts(stretch, signs, line)]
    ends = [*starts[1:], bar.start + bar.time.unit * bar.beats]
    return list(zip(starts, ends, signs, strict=False))


def _stretches(
    passages: list[TypedPassage], bars: list[TypedBar]
) -> list[list[_ChordStretch]]:
    by_passage: list[list[_ChordStretch]] = [[] for _ in passages]
    for bar in bars:
        first = 0
        while first < bar.beats:
            passage = bar.words[first].passage
            beats = sum(word.passage == passage for word in bar.words[first:])
            by_passage[passage].append(_ChordStretch(bar, first, beats))
            first += beats
    return by_passage


def _by_bars(
    line: TypedLine, here: list[_ChordStretch], above: list[_ChordStretch]
) -> list[tuple[_ChordStretch, list[str]]]:
    """Pair the bars of a chord line with those of its tune line.

    Args:
        line: The chord line.
        here: The bars of the tune line over it.
        above: Those of all tune lines since the last chord line: its bars may be these.
    """
    # People copy repeat signs and brackets of endings from the tune; they say nothing.
    plain = re.sub(_ENDING, " ", line.text)
    groups = [group.split() for group in re.split(_BAR_LINE, plain)]
    if len(groups) > 1 and not groups[-1]:
        groups.pop()
    whole = _whole_bars(above)
    for stretches in (here, whole):
        paired = _paired(groups, stretches)
        if paired is not None:
            return paired
    given = len(groups) - (not groups[0])
    wanted = str(_counted(here))
    if len(whole) > len(here):
        wanted += f", and with the lines before it {_counted(whole)}"
    raise fault(
        f"Chords: line has {given} bar{'' if given == 1 else 's'}, the tune line has "
        f"{wanted}.",
        line.number,
        remedy='Type "?" for a bar whose chord is free.',
    )


def _counted(stretches: list[_ChordStretch]) -> int:
    """Return how many bars wait for a chord: a part at the front needs none."""
    return len(stretches) - (bool(stretches) and stretches[0].is_part)


def _paired(
    groups: list[list[str]], stretches: list[_ChordStretch]
) -> list[tuple[_ChordStretch, list[str]]] | None:
    """Return bars with their signs; None if there are not as many."""
    if len(groups) == len(stretches) - 1 and stretches[0].is_part:
        groups = [[], *groups]
    elif len(groups) == len(stretches) + 1 and not groups[0]:
        groups = groups[1:]
    if len(groups) != len(stretches):
        return None
    return [
        (stretch, group or ([] if stretch.is_part else ["?"]))
        for stretch, group in zip(stretches, groups, strict=True)
    ]


def _whole_bars(stretches: list[_ChordStretch]) -> list[_ChordStretch]:
    """Return stretches with the parts of a bar that runs over a line end as one."""
    whole: list[_ChordStretch] = []
    for stretch in stretches:
        if whole and whole[-1].bar is stretch.bar:
            beats = whole[-1].beats + stretch.beats
            whole[-1] = whole[-1]._replace(beats=beats)
        else:
            whole.append(stretch)
    return whole


def _lock(
    events: list[_Event],
    signs: Iterable[_SignAt],
    key: Key,
    refuse: Callable[[str, str], NotationError],
    hold_remedy: str = "",
) -> None:
    """Add signs to those before them; a hold makes the one before it longer.

    Args:
        events: What stands before; grows.
        signs: Signs with their places.
        key: The key in force; Roman numerals are read in it.
        refuse: Makes the error of what is wrong and what to do.
        hold_remedy: What to do where a hold has nothing before it.
    """
    for onset, end, sign in signs:
        if events and events[-1].end > onset:
            events[-1] = events[-1]._replace(end=onset)
        if sign != "-":
            events.append(_Event(onset, end, _chord(sign, key, refuse)))
        elif events and events[-1].end == onset:
            events[-1] = events[-1]._replace(end=end)
        else:
            raise refuse("a hold (-) needs a chord before it.", hold_remedy)


def _chord(
    sign: str, key: Key, refuse: Callable[[str, str], NotationError]
) -> Chord | None:
    if sign == "?":
        return None
    sign = shorten(sign)  # No chord is as long as what this cuts.
    try:
        return parse_symbol(sign) if sign[0] in "ABCDEFG" else parse_numeral(sign, key)
    except NotationError as error:
        raise refuse(error.what, error.remedy) from None


def _locks(events: list[_Event]) -> tuple[ChordAt, ...]:
    """Return the chords of signs; a free choice locks nothing."""
    return tuple(
        ChordAt(event.onset, event.end, event.chord) for event in events if event.chord
    )


def _starts(stretch: _ChordStretch, signs: list[str], line: TypedLine) -> list[int]:
    """Return the beats of the bar, from 0, on which its chords begin."""
    bar, count = stretch.bar, len(signs)
    if not count:
        return []
    beats = division(stretch.beats, count, bar.time)
    # Where a bar runs over the line end its chords may be typed as for the whole bar.
    if (
        beats is None
        and stretch.first + stretch.beats < bar.beats
        and not stretch.first
    ):
        whole = division(bar.beats, count, bar.time)
        beats = whole if whole and whole[-1] < stretch.beats else None
    if beats is None:
        fits = [
            str(number)
            for number in range(1, stretch.beats + 1)
            if division(stretch.beats, number, bar.time)
        ]
        what = f"{count} chords stand in a bar of {stretch.beats} beats."
        remedy = f"Type {' or '.join(fits)}; - goes on with the chord before."
        raise fault(what, line.number, place=Place(bar.told), remedy=remedy)
    return [stretch.first + at for at in beats]


def division(beats: int, count: int, time: TimeSignature) -> list[int] | None:
    """Return where a number of chords begin in so many beats; None if it is unclear."""
    if count == 1:
        return [0]
    if count == beats:
        return list(range(beats))
    strong = (
        []
        if beats != time.beats
        else [int(start / time.unit) for start in strong_starts(time)]
    )
    if count == 2 and beats == time.beats and beats % 2 == 0:
        return [0, beats // 2]
    if count == 2 and len(strong) == 1:
        return [0, *strong]
    return list(range(0, beats, 3)) if time.is_compound and 3 * count == beats else None


def parse_chords(text: str, tune: Tune) -> tuple[ChordAt, ...]:
    """Return the locks that a line of chords asks for.

    Args:
        text: Bars of chords with `|` between them, from bar 1 on, or from the pickup
            if there is one bar more; fewer bars leave the rest free.
        tune: The tune; Roman numerals are read in its keys.

    Raises:
        NotationError: If a chord is not one of ours, or there are too many.
    """
    groups = [group.split() for group in text.strip().strip("|").split("|")]
    bars = _bars(tune, len(groups))
    events: list[_Event] = []
    for bar, signs in zip(bars, groups, strict=False):
        refuse = partial(_refusal, bar)
        for sign in _spread(bar, signs):
            _lock(events, [sign], tune.key_at(sign[0]), refuse, _HOLD_REMEDY)
    return _locks(events)


def _refusal(bar: Bar, what: str, remedy: str) -> NotationError:
    return NotationError(what, Place(bar.number), remedy)


def _bars(tune: Tune, count: int) -> list[Bar]:
    """Return the bars that the groups stand for; the parts of a split bar as one."""
    whole: list[Bar] = []
    for bar in tune.bars:
        if whole and bar.offset and whole[-1].number == bar.number:
            whole[-1] = whole[-1]._replace(length=whole[-1].length + bar.length)
        else:
            whole.append(bar)
    full = [bar for bar in whole if bar.number > 0]
    if count > len(whole):
        what = f"--chords has {count} bars, the tune has {len(full)}."
        remedy = 'Type one group a bar, with | between; "?" for a free bar.'
        raise NotationError(what, None, remedy)
    return whole if count > len(full) else full


def _spread(bar: Bar, signs: list[str]) -> list[_SignAt]:
    """Return where each sign of a bar begins and ends."""
    if not signs:
        return []
    beats = int(bar.length / bar.time.unit)
    starts = division(beats, len(signs), bar.time)
    if starts is None:
        what = f"{len(signs)} chords stand in a bar of {beats} beats."
        remedy = f"Type 1, 2 or {beats}; - goes on with the chord before."
        raise NotationError(what, Place(bar.number), remedy)
    onsets = [bar.start + bar.time.unit * start for start in starts]
    return list(zip(onsets, [*onsets[1:], bar.end], signs, strict=True))
