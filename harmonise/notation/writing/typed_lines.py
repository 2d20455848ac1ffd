"""Lines of a typed tune: headers, and the beats between one line end and the next.

What tune text and sol-fa have in common. A line ends at each phrase end that falls on a
beat and where key, time or tempo change.
"""

from bisect import bisect_left
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import OutputError, Place
from harmonise.theory.key import Key
from harmonise.theory.tune import Tune, TuneNote

TUNE_TEXT, SOLFA = "typed in tune text", "written in sol-fa"
"""How sentences name the two notations."""


class Beat(NamedTuple):
    """One beat of the text.

    Attributes:
        bar: Number of its bar in the tune, from 0.
        onset: Crotchets from the start.
        text: As typed.
    """

    bar: int
    onset: Fraction
    text: str


def unsayable(place: Place, what: str, notation: str = TUNE_TEXT) -> OutputError:
    """Return the error of something that a notation has no sign for."""
    remedy = "Write MusicXML instead."
    return OutputError(f"{what} cannot be {notation}.", place, remedy)


def opening(tune: Tune) -> list[str]:
    """Return the headers of a whole tune: title and origin."""
    heads = (("Title", tune.title), ("Origin", tune.origin))
    return [f"{name}: {_one_line(text)}" for name, text in heads if text]


def tempo_lines(tune: Tune, onset: Fraction) -> list[str]:
    """Return the `Tempo:` lines of what begins at an onset."""
    found = []
    for tempo in tune.tempos:
        if tempo.onset == onset:
            number = tempo.per_minute * tempo.beat / tune.bar_at(onset).time.beat
            shown = str(number) if number.denominator == 1 else f"{float(number):.2f}"
            found.append(f"Tempo: {_one_line(tempo.words)} {shown}".replace("  ", " "))
    return found


def time_lines(tune: Tune, onset: Fraction) -> list[str]:
    """Return the `Time:` line of what begins at an onset, if time changes there."""
    bar = tune.bar_at(onset)
    before = tune.bar_at(onset - bar.time.unit / 64) if onset else None
    return [f"Time: {bar.time}"] if not before or before.time != bar.time else []


def new_keys(tune: Tune, onset: Fraction) -> list[Key]:
    """Return the key that begins at an onset, if one does."""
    return [change.key for change in tune.keys if change.onset == onset]


def passages_of(
    tune: Tune, beats: list[Beat], notation: str = TUNE_TEXT
) -> list[list[Beat]]:
    """Return the beats line by line.

    Raises:
        OutputError: If the key changes inside a beat.
    """
    breaks = {change.onset for change in tune.keys} | set(tune.phrases)
    breaks |= {tempo.onset for tempo in tune.tempos}
    for before, bar in zip(tune.bars, tune.bars[1:], strict=False):
        if before.time != bar.time:
            breaks.add(bar.start)
    onsets = {beat.onset for beat in beats}
    for change in tune.keys:
        if change.onset not in onsets:
            place = tune.place(change.onset)
            raise unsayable(place, "a key change inside a beat", notation)
    passages: list[list[Beat]] = []
    for beat in beats:
        if not passages or beat.onset in breaks:
            passages.append([])
        passages[-1].append(beat)
    return passages


def end_of(tune: Tune, passage: list[Beat]) -> Fraction:
    """Return where a line ends, in crotchets."""
    return passage[-1].onset + tune.bars[passage[-1].bar].time.unit


def struck_in(tune: Tune, start: Fraction, end: Fraction) -> list[TuneNote]:
    """Return the notes and rests that begin in a stretch."""
    first = bisect_left(tune.notes, start, key=lambda note: note.onset)
    last = bisect_left(tune.notes, end, first, key=lambda note: note.onset)
    return list(tune.notes[first:last])


def _one_line(text: str) -> str:
    return " ".join(text.replace("%", "\\%").split())
