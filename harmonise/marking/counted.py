"""Work in other note values than its task: all of them doubled, or all halved.

A pupil who counts quavers for crotchets writes every note right and every length wrong.
That is one slip, and all is marked as if it had been counted as asked.
"""

from collections.abc import Collection
from fractions import Fraction

from harmonise.marking.script import Script
from harmonise.theory.arrangement import SoundingNote
from harmonise.theory.tune import Tune

_SAME = Fraction(3, 4)
"""Share of the given notes that stand in their places once all is counted as asked."""
_NAMES = {Fraction(2): "halved", Fraction(1, 2): "doubled"}
"""What was done to the values, by what undoes it."""


def in_task_values(
    script: Script, given: Collection[tuple[Fraction, int]], tune: Tune
) -> tuple[Script, str]:
    """Return a script in the note values of its task, and what they are in it.

    Args:
        script: What a pupil wrote.
        given: Onsets and pitch classes of the notes by which a script is laid.
        tune: The tune of the task.

    Returns:
        The script and a sentence without its capital; "" where it has those values.
    """
    for factor, name in _NAMES.items():
        if _in_place(script, given, factor) < _SAME * len(given):
            continue
        # Quick notes that come again may stand in both places.
        if _in_place(script, given, Fraction(1)) < _SAME * len(given):
            return _counted(script, factor, tune), f"all note values are {name}."
    return script, ""


def _in_place(
    script: Script, given: Collection[tuple[Fraction, int]], factor: Fraction
) -> int:
    """Return how many given notes are in a script whose values are multiplied."""
    there = {(note.onset * factor, note.pitch.pitch_class) for note in script.notes}
    return sum(note in there for note in given)


def _counted(script: Script, factor: Fraction, tune: Tune) -> Script:
    """Return a script with all its values multiplied, on the bars of its task."""

    def longer(note: SoundingNote) -> SoundingNote:
        return note._replace(onset=factor * note.onset, length=factor * note.length)

    return script._replace(
        notes=tuple(longer(note) for note in script.notes),
        bars=tune.bars if script.bars else (),
        symbols=tuple(
            symbol._replace(onset=factor * symbol.onset, end=factor * symbol.end)
            for symbol in script.symbols
        ),
        words=tuple(word._replace(onset=factor * word.onset) for word in script.words),
    )
