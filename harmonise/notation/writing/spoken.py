"""The whole score in words, for a pianist who hears it through a speech synthesiser.

One thought a line, always in the same order: the right hand from its lowest note up,
the tune last as it lies on top, then the left hand, then the chord and what is sung.
Every bar has a heading of its own, so that one can jump. The text is exact:
`parse_spoken` reads it back to the same notes.

    spoken_beats  what happens on one beat      spoken_bars  signs around a bar
    spoken_walk   from chord to chord           spoken_words pitches, lengths, chords
"""

from collections import deque
from collections.abc import Iterator
from fractions import Fraction

from harmonise.notation.spoken_words import (
    say_name,
    say_number,
    say_pace,
    say_time,
)
from harmonise.notation.writing.directions import format_decimal
from harmonise.notation.writing.spoken_bars import after_bar, before_bar, one_line
from harmonise.notation.writing.spoken_beats import Beats
from harmonise.notation.writing.spoken_walk import format_walk
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.key import Key
from harmonise.theory.tune import Tempo, Tune

__all__ = ["format_spoken", "format_walk"]

PHRASE_ENDS = "A phrase ends here."
MANNER = (
    "How to listen: the right hand is said from its lowest note up, the tune last, "
    "as it is on top; then the left hand. C 4 is middle C."
)


def format_spoken(arrangement: Arrangement) -> str:
    """Return the score in words; `parse_spoken` reads the notes back.

    Args:
        arrangement: What was arranged.

    Returns:
        A heading, then every bar with a line for each beat on which something begins.
    """
    tune = arrangement.tune
    beats = Beats(arrangement)
    phrases = {*tune.phrases}
    lines = list(_heading(tune))
    changes = deque(_changes(tune))
    for number, bar in enumerate(tune.bars):
        lines += ["", *before_bar(tune, number), *beats.held(bar)]
        for onset, line in beats.lines(bar):
            lines += _taken(changes, onset, through=True)
            lines.append(line)
        lines += _taken(changes, bar.end, through=False)
        lines += [PHRASE_ENDS] if bar.end in phrases else []
        lines += after_bar(tune, number)
    return "\n".join([*lines, "", "End of the score."]) + "\n"


def _heading(tune: Tune) -> Iterator[str]:
    yield f"Title: {one_line(tune.title)}" if tune.title.split() else "Untitled."
    if tune.origin.split():
        yield f"From: {one_line(tune.origin)}"
    yield f"Key: {_key(tune.key)}."
    yield f"Time: {say_time(tune.bars[0].time)}"
    for tempo in tune.tempos[:1]:
        if tempo.onset == 0:
            yield f"Tempo: {_tempo(tempo)}."
    yield f"Length: {_length(tune)}."
    yield MANNER


def _key(key: Key) -> str:
    return f"{say_name(key.tonic)} {key.mode.value}"


def _tempo(tempo: Tempo) -> str:
    number = format_decimal(tempo.per_minute)
    words = f", {one_line(tempo.words)}" if tempo.words.split() else ""
    return f"{say_pace(number, tempo.beat)}{words}"


def _length(tune: Tune) -> str:
    """Return how many bars there are; the parts of a split bar count as one."""
    numbers = dict.fromkeys(bar.number for bar in tune.bars)
    count = len(numbers) - (0 in numbers)
    bars = "one bar" if count == 1 else f"{say_number(count)} bars"
    return f"a pickup and {bars}" if 0 in numbers else bars


def _changes(tune: Tune) -> list[tuple[Fraction, str]]:
    """Return later keys and tempos, and phrases that end inside bars, by onset."""
    bar_ends = {bar.end for bar in tune.bars}
    found = [(onset, PHRASE_ENDS) for onset in tune.phrases if onset not in bar_ends]
    found += [
        (change.onset, f"The key changes to {_key(change.key)}.")
        for change in tune.keys[1:]
    ]
    found += [
        (tempo.onset, f"The tempo changes to {_tempo(tempo)}.")
        for tempo in tune.tempos
        if tempo.onset
    ]
    return sorted(found)


def _taken(
    changes: deque[tuple[Fraction, str]], last: Fraction, *, through: bool
) -> Iterator[str]:
    """Take the changes before a place, and those at it if it counts itself."""
    while changes and (changes[0][0] < last or (through and changes[0][0] == last)):
        yield changes.popleft()[1]
