"""Work in other note values than its task: all of them doubled, or all halved.

A pupil who counts quavers for crotchets writes every note right and every length wrong.
That is one slip, and all is marked as if it had been counted as asked.
"""

from collections.abc import Collection, Iterator
from fractions import Fraction

from harmonise.marking.script import Script
from harmonise.theory.arrangement import SoundingNote
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import Bar, Tune

NEARLY_ALL, MOST = Fraction(9, 10), Fraction(3, 4)
"""Shares of the given notes that stand in their places once all is counted as asked:
where nothing else is out of place, and where no other explanation is better."""
_NAMES = {Fraction(2): "halved", Fraction(1, 2): "doubled"}
"""What was done to the values, by what undoes it."""


def in_task_values(
    script: Script,
    given: Collection[tuple[Fraction, int]],
    tune: Tune,
    share: Fraction = NEARLY_ALL,
) -> tuple[Script, str]:
    """Return a script that begins in its place in the note values of its task.

    Args:
        script: What a pupil wrote.
        given: Onsets and pitch classes of the notes by which a script is laid.
        tune: The tune of the task.
        share: Share of the given notes that must stand in their places.

    Returns:
        The script and a sentence without its capital; "" where it has those values.
    """
    for factor in _NAMES:
        if _in_place(script, given, factor) < share * len(given):
            continue
        # Quick notes that come again may stand in both places.
        if _in_place(script, given, Fraction(1)) < share * len(given):
            counted, name = _counted(script, factor)
            return counted._replace(bars=tune.bars if script.bars else ()), name
    return script, ""


def in_other_values(script: Script) -> Iterator[tuple[Script, str]]:
    """Yield a script as if its values had been halved, and as if doubled.

    Its bars keep their notes, so that whatever else is out of place can be seen.
    """
    for factor in _NAMES:
        yield _counted(script, factor)


def _in_place(
    script: Script, given: Collection[tuple[Fraction, int]], factor: Fraction
) -> int:
    """Return how many given notes are in a script whose values are multiplied."""
    there = {(note.onset * factor, note.pitch.pitch_class) for note in script.notes}
    return sum(note in there for note in given)


def _counted(script: Script, factor: Fraction) -> tuple[Script, str]:
    """Return a script with all its values multiplied, and what they were."""

    def longer(note: SoundingNote) -> SoundingNote:
        return note._replace(onset=factor * note.onset, length=factor * note.length)

    counted = script._replace(
        notes=tuple(longer(note) for note in script.notes),
        bars=tuple(_longer_bar(bar, factor) for bar in script.bars),
        symbols=tuple(
            symbol._replace(onset=factor * symbol.onset, end=factor * symbol.end)
            for symbol in script.symbols
        ),
        words=tuple(word._replace(onset=factor * word.onset) for word in script.words),
    )
    return counted, f"all note values are {_NAMES[factor]}."


def _longer_bar(bar: Bar, factor: Fraction) -> Bar:
    """Return a bar with all its values multiplied, its signature among them."""
    beats, unit = bar.time.beats, bar.time.beat_type / factor
    # No beat is longer than a whole.
    time = TimeSignature(beats, int(unit))
    if unit < 1:
        time = TimeSignature(beats * 2, 1)
    return bar._replace(
        start=factor * bar.start,
        length=factor * bar.length,
        time=time,
        offset=factor * bar.offset,
    )
