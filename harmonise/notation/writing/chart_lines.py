"""The lines of a chord chart: stretches of the tune, and what is said between them.

A chart has no bar lines to hang repeats and endings on, so they are told in words, on
lines of their own. A line of the chart is a phrase of the tune; where nothing is sung,
as many bars as the score has on a line.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.notation.writing.chart_heading import told_key, told_tempo
from harmonise.notation.writing.directions import is_sign
from harmonise.notation.writing.musicxml_bars import new_lines
from harmonise.notation.writing.xml_text import clean
from harmonise.theory.capo import Capo, shape_key
from harmonise.theory.tune import Tune

_TIMES = ("First", "Second", "Third", "Fourth", "Fifth", "Sixth", "Seventh", "Eighth")


class Sign(NamedTuple):
    """What is said between two lines.

    Attributes:
        onset: Crotchets from the start.
        text: A few words, without a full stop.
        closing: Whether it belongs to what went before.
    """

    onset: Fraction
    text: str
    closing: bool = False


class Stretch(NamedTuple):
    """One line of a chart.

    Attributes:
        start: Crotchets from the start.
        end: Crotchets from the start.
    """

    start: Fraction
    end: Fraction


def chart_lines(tune: Tune, capo: Capo | None = None) -> list[Sign | Stretch]:
    """Return the lines of a tune and the signs between them, in order.

    Args:
        tune: The tune.
        capo: The guitarist's capo; None if the piano's chords are shown.
    """
    signs = sorted(_signs(tune, capo), key=lambda own: (own.onset, not own.closing))
    cuts = {tune.bars[0].start, tune.end, *_line_ends(tune)}
    cuts.update(sign.onset for sign in signs if sign.onset <= tune.end)
    found: list[Sign | Stretch] = []
    for start, end in pairwise(sorted(cuts)):
        found += [sign for sign in signs if sign.onset == start]
        found.append(Stretch(start, end))
    return [*found, *(sign for sign in signs if sign.onset >= tune.end)]


def is_sung(tune: Tune) -> bool:
    """Whether a tune has words."""
    return any(syllable for note in tune.notes for syllable in note.syllables)


def _line_ends(tune: Tune) -> list[Fraction]:
    if is_sung(tune):
        return [onset for onset in tune.phrases if 0 < onset < tune.end]
    return [tune.bars[at].start for at in new_lines(tune)]


def _signs(tune: Tune, capo: Capo | None) -> Iterator[Sign]:
    yield from _repeats(tune)
    yield from _changes(tune, capo)
    for bar in tune.bars:
        if bar.section:
            yield Sign(bar.start, clean(bar.section))
    for onset, text in tune.end_text:
        yield Sign(onset, clean(text), closing=not is_sign(text))


def _repeats(tune: Tune) -> Iterator[Sign]:
    """Yield repeats and endings in words."""
    marked = False
    ending: tuple[int, ...] = ()
    for bar in tune.bars:
        if bar.ending != ending:
            told = _told_ending(bar.ending) if bar.ending else "Go on"
            yield Sign(bar.start, told)
            ending = bar.ending
        if bar.repeat_start:
            marked = True
            yield Sign(bar.start, "Repeat from here")
        if bar.repeat_end > 1:
            where = "Go back" if marked else "Go back to the beginning"
            if bar.repeat_end > 2:
                where += f": play {bar.repeat_end} times in all"
            elif not bar.ending:
                where += " and play it again"
            yield Sign(bar.end, where, closing=True)


def _told_ending(ending: tuple[int, ...]) -> str:
    """Return an ending in words: "First time", "First and second time"."""
    told = [
        _TIMES[number - 1].lower() if number <= len(_TIMES) else str(number)
        for number in ending
    ]
    listed = " and ".join(filter(None, (", ".join(told[:-1]), told[-1])))
    return f"{listed.capitalize()} time"


def _changes(tune: Tune, capo: Capo | None) -> Iterator[Sign]:
    """Yield changes of key, time and tempo after the beginning."""
    for before, change in pairwise(tune.keys):
        if change.key != before.key:
            played = f", play {told_key(shape_key(change.key, capo))}" if capo else ""
            yield Sign(change.onset, f"Key: {told_key(change.key)}{played}")
    for before_bar, bar in pairwise(tune.bars):
        if bar.time != before_bar.time:
            yield Sign(bar.start, f"Time: {bar.time}")
    for mark in tune.tempos:
        if mark.onset > 0:
            yield Sign(mark.onset, f"Tempo: {told_tempo(mark)}")
