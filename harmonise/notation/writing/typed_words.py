"""What stands under a line of a typed tune: words, and locked chords."""

from bisect import bisect_left
from fractions import Fraction

from harmonise.notation.writing.typed_lines import (
    TUNE_TEXT,
    Beat,
    struck_in,
    unsayable,
)
from harmonise.theory.tune import Tune, TuneNote

_SIGNS = str.maketrans(
    {sign: f"\\{sign}" for sign in "-_*|\\%"} | {" ": "~", "~": "\\~"}
)


class Verses:
    """The words, written line by line; a held syllable may run into the next line."""

    def __init__(self, tune: Tune) -> None:
        """Begin with the first line."""
        self.tune = tune
        self.owed = [False] * tune.verses  # A held syllable whose "_" is to come.
        self.held = [False] * tune.verses
        self.promised = tune.verses

    def lines(self, start: Fraction, end: Fraction) -> list[str]:
        """Return the `Words:` lines under one line of the tune."""
        struck = [note for note in struck_in(self.tune, start, end) if note.pitch]
        if not struck:
            return []
        verses = range(self.tune.verses)
        used = [
            verse
            for verse in verses
            if self.owed[verse] or any(note.syllables[verse] for note in struck)
        ]
        needed = max(self.promised, 1 + max(used, default=-1))
        self.promised = 0  # One full set of lines fixes the number of verses.
        return [
            "Words: " + " ".join(self._word(note, verse) for note in struck)
            for verse in range(needed)
        ]

    def _word(self, note: TuneNote, verse: int) -> str:
        syllable = note.syllables[verse]
        if syllable is None or not syllable.text:
            self.owed[verse] = False
            return "_" if self.held[verse] else "*"
        self.held[verse] = self.owed[verse] = syllable.extends
        return syllable.text.translate(_SIGNS) + ("-" if syllable.joins else "")


def chord_line(tune: Tune, passage: list[Beat], notation: str = TUNE_TEXT) -> str:
    """Return the `Chords:` line under a line of the tune.

    Raises:
        OutputError: If a chord begins or ends inside a beat.
    """
    groups: list[list[str]] = []
    previous = -1
    for beat in passage:
        if beat.bar != previous:
            groups.append([])
            previous = beat.bar
        groups[-1].append(_chord(tune, beat, notation))
    plain = [_shortest(group) for group in groups]
    return "Chords: " + " | ".join(" ".join(group) for group in plain)


def _chord(tune: Tune, beat: Beat, notation: str) -> str:
    unit = tune.bars[beat.bar].time.unit
    last = bisect_left(tune.locks, beat.onset + unit, key=lambda lock: lock.onset) - 1
    if last < 0:
        return "?"
    lock = tune.locks[last]
    if lock.onset > beat.onset or beat.onset < lock.end < beat.onset + unit:
        raise unsayable(tune.place(beat.onset), "a chord inside a beat", notation)
    if lock.onset == beat.onset:
        return lock.chord.symbol
    return "-" if beat.onset < lock.end else "?"


def _shortest(group: list[str]) -> list[str]:
    """Return one sign for the whole bar where one says it."""
    held = all(sign == "-" for sign in group[1:])
    free = all(sign == "?" for sign in group)
    return group[:1] if held or free else group
