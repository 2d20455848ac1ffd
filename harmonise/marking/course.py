"""Where a script and its task run together: whole bars or beats put in, left out, late.

The tune's notes (roots where no tune is given) are laid on what the pupil has on top,
by one exact dynamic programme over all pairs of like notes: a note that is left out
costs one, a note too many less, and each place from which all is shifted costs as much
as three lost notes, so that a few wrong notes never look like a shift. Work in another
key is tried in all twelve, and in none that explains less than three notes in four.
Source: alignment with affine gap costs, O. Gotoh, An improved algorithm for matching
biological sequences, 1982; the weights are our own.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import format_beat, listed
from harmonise.theory.pitch import Pitch
from harmonise.theory.tune import Tune

_LEFT_OUT, _TOO_MANY, _SHIFT, _BACK, _INSIDE = 10, 4, 30, 10, 1
"""Prices: of a given note that is missing, of one too many, of a shift, of one back to
where all should stand, and what a shift costs more that comes inside a bar."""
WELL, DEAR = 7, 60
"""What a course is worth, for each given note, that needs no other explanation; and
what another one must be worth more that tells of one slip more."""
_FITS, _FOREIGN = Fraction(3, 4), Fraction(1, 3)
"""Shares of the given notes: that speak for a key, and below which it is none of it."""
_FEWEST = 5
"""With fewer given notes no other key and no other piece is told."""


class GivenNote(NamedTuple):
    """A pitch at a place.

    Attributes:
        onset: Where it begins, in crotchets.
        pitch: The pitch.
        leads: Whether a bar of the task begins with it.
    """

    onset: Fraction
    pitch: Pitch
    leads: bool = False


class MovedStretch(NamedTuple):
    """Music of a script that lies in its task, all by one offset.

    Attributes:
        start: Where it begins in the script; None from the very front.
        end: Where it ends there; None for the end.
        offset: Crotchets by which it is late.
    """

    start: Fraction | None
    end: Fraction | None
    offset: Fraction

    def holds(self, onset: Fraction) -> bool:
        """Whether a place of the script is in it."""
        after = self.start is None or self.start <= onset
        return after and (self.end is None or onset < self.end)


class ScriptCourse(NamedTuple):
    """How a script runs along its task.

    Attributes:
        stretches: What stands in the task, in order; at least one.
        steps: Letters by which all of it lies too high.
        semitones: Semitones by which it does.
        foreign: Whether hardly a note of the task is in it.
        matched: How many given notes were found in it.
    """

    stretches: tuple[MovedStretch, ...]
    steps: int = 0
    semitones: int = 0
    foreign: bool = False
    matched: int = 0

    @property
    def is_straight(self) -> bool:
        """Whether nothing is shifted."""
        return len(self.stretches) == 1 and not self.stretches[0].offset

    @property
    def worth(self) -> int:
        """How well it explains the script: notes found, less what shifts cost."""
        shifts = len(self.stretches) - (not self.stretches[0].offset)
        return _LEFT_OUT * self.matched - _SHIFT * shifts


STRAIGHT = ScriptCourse((MovedStretch(None, None, Fraction(0)),))
"""The course of a script that runs along its task from front to end."""
_Match = tuple[GivenNote, GivenNote]


def find_course(
    given: Sequence[GivenNote], written: Sequence[GivenNote], lines: Sequence[Fraction]
) -> ScriptCourse:
    """Return how a script runs along its task.

    Args:
        given: What the task has, in order.
        written: What the script has there, in order, one pitch a place.
        lines: Where the bars of the script begin.
    """
    # What was hardly begun has no course of its own.
    if not given or 2 * len(written) < len(given):
        return STRAIGHT
    matches, steps, semitones = _matches(given, written, 0), 0, 0
    enough = len(given) >= _FEWEST
    if enough and len(matches) < _FITS * len(given):
        tries = [_matches(given, written, key) for key in range(1, 12)]
        other = max(tries, key=len)
        if len(other) >= _FITS * len(given):
            matches = other
            steps, semitones = _interval(matches)
    foreign = enough and len(matches) < _FOREIGN * len(given)
    if foreign or not matches:
        return STRAIGHT._replace(foreign=foreign)
    stretches = tuple(_stretches(matches, lines))
    return ScriptCourse(stretches, steps, semitones, matched=len(matches))


def _interval(matches: Sequence[_Match]) -> tuple[int, int]:
    """Return letters and semitones, within half an octave, of most of the matches."""
    ways = Counter(
        (here.pitch.staff_step - own.pitch.staff_step, here.pitch.midi - own.pitch.midi)
        for own, here in matches
    )
    (steps, semitones), _ = ways.most_common(1)[0]
    octaves = round(Fraction(semitones, 12))
    return steps - 7 * octaves, semitones - 12 * octaves


def _matches(
    given: Sequence[GivenNote], written: Sequence[GivenNote], key: int
) -> list[_Match]:
    """Return the cheapest pairing of like notes, in order; [] where none is better.

    `best[offset]` is the cheapest end of a pairing at an offset, `row[j]` the cheapest
    of any that ends on a written note up to `j`; both are kept as if every note before
    had been paired, so that skipped notes need no loop of their own.
    """
    by_class: dict[int, list[int]] = {}
    for at, note in enumerate(written):
        by_class.setdefault((note.pitch.midi - key) % 12, []).append(at)
    columns: list[tuple[int, int]] = [(_FAR, -1)] * len(written)
    best: dict[Fraction, tuple[int, int]] = {}
    nodes: list[tuple[int, int, int]] = []
    for number, own in enumerate(given):
        ends = _running(columns)
        for at in by_class.get(own.pitch.midi % 12, ()):
            offset = written[at].onset - own.onset
            skipped = _LEFT_OUT * number + _TOO_MANY * at
            shift = (_SHIFT if offset else _BACK) + (0 if own.leads else _INSIDE)
            same = best.get(offset, (_FAR, -1))
            other = ends[at]
            cost, before = min(
                (same[0] + skipped, same[1]),
                (other[0] + skipped + shift, other[1]),
                (skipped + (shift if offset else 0), -1),
                key=lambda row: row[0],
            )
            nodes.append((before, number, at))
            entry = (
                cost - _LEFT_OUT * (number + 1) - _TOO_MANY * (at + 1),
                len(nodes) - 1,
            )
            best[offset] = min(same, entry)
            columns[at] = min(columns[at], entry)
    ends = _running([*columns, (_FAR, -1)])
    matches, last = [], ends[-1][1]
    while last >= 0:
        last, number, at = nodes[last]
        matches.append((given[number], written[at]))
    return matches[::-1]


_FAR = 10**9


def _running(columns: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return, for each place, the least of all that stand before it."""
    least, now = [], (_FAR, -1)
    for entry in columns:
        least.append(now)
        now = min(now, entry)
    return least


def _stretches(
    matches: Sequence[_Match], lines: Sequence[Fraction]
) -> Iterator[MovedStretch]:
    """Yield the stretches of a pairing, cut at bar lines where there are any."""
    offset = matches[0][1].onset - matches[0][0].onset
    start = offset if offset > 0 else None
    for (_, before), (own, here) in pairwise(matches):
        after = here.onset - own.onset
        if after == offset:
            continue
        gap = max(after - offset, Fraction(0))
        latest = here.onset - gap
        inside = [line for line in lines if before.onset < line <= latest]
        cut = max(inside, default=latest)
        yield MovedStretch(start, cut, offset)
        start, offset = cut + gap, after
    yield MovedStretch(start, None, offset)


def told_course(course: ScriptCourse, tune: Tune, written: Sequence[Fraction]) -> str:
    """Return what is shifted, in whole sentences; "" for nothing.

    Args:
        course: How the script runs along the task.
        tune: The tune of the task.
        written: Where notes of the script begin.
    """
    sentences, offset = [], Fraction(0)
    place, end = Fraction(0), Fraction(0)
    for stretch in course.stretches:
        if stretch.offset != offset:
            start = stretch.start or Fraction(0)
            empty = not any(end <= onset < start for onset in written)
            sentences.append(_told((offset, stretch.offset), place, tune, empty=empty))
        offset, end = stretch.offset, stretch.end or Fraction(0)
        place = end - offset
    return " ".join(f"{text[:1].upper()}{text[1:]}" for text in sentences)


def _told(
    offsets: tuple[Fraction, Fraction], place: Fraction, tune: Tune, *, empty: bool
) -> str:
    """Return one shift, from one offset to another, at a place of the task."""
    before, after = offsets
    bar = tune.bar_at(place)
    full, moved = bar.time.bar_length, after - before
    pickup = tune.bars[0].length if tune.bars[0].number == 0 else Fraction(0)
    now = _how_late(after, full, bar.time.unit)
    if not place and -moved == pickup:
        return "the pickup is left out."
    if moved % full:
        # What is early begins where the beats that are left out end.
        bar = tune.bar_at(place + max(-moved, Fraction(0))) if place else bar
        return f"{f'from bar {bar.number} on ' if place else ''}all is {now}."
    count = int(abs(moved) / full)
    if moved < 0:
        first = tune.bar_at(place + (0 if place else pickup)).number
        row = listed([str(number) for number in range(first, first + count)])
        are = "s {} are" if count > 1 else " {} is"
        return f"bar{are.format(row)} left out; from there all is {now}."
    bars = f"{_number(count)} {'empty ' if empty else ''}bar{'s' if count > 1 else ''}"
    stand = f"{'' if empty else 'too many '}stand{'' if count > 1 else 's'}"
    where = f"before bar {bar.number}" if place else "in front"
    return f"{bars} {stand} {where}; from there all is {now}."


def _how_late(offset: Fraction, full: Fraction, unit: Fraction) -> str:
    """Return by how much something is late or early: "one bar late"."""
    if not offset:
        return "in its place again"
    size, name = (full, "bar") if not offset % full else (unit, "beat")
    count = abs(offset) / size
    way = "late" if offset > 0 else "early"
    return f"{_number(count)} {name}{'' if count <= 1 else 's'} {way}"


def _number(count: Fraction | int) -> str:
    """Return a small number as a word."""
    words = ("one", "two", "three", "four")
    whole = Fraction(count)
    return words[int(whole) - 1] if whole in (1, 2, 3, 4) else format_beat(whole)
