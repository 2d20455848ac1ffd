"""Tunes that were typed, a bar a line, as keys of worksheets print them.

    G major
    the pickup: D4
    bar 1: G4 B4 D5 G5

Nobody types lengths, so the notes of a bar stand where the given ones do, one after
the other; those that are one too many share the last place. A letter without its octave
is the note of that name that lies nearest to the one that is asked for.
"""

import re
from collections.abc import Iterator
from itertools import chain, groupby, pairwise
from operator import itemgetter
from typing import NamedTuple

from harmonise.errors import HarmoniseError
from harmonise.marking.script import Script, placed
from harmonise.theory.arrangement import Hand, SoundingNote, Voice
from harmonise.theory.key import Key, parse_key
from harmonise.theory.pitch import Pitch, parse_name, parse_pitch
from harmonise.theory.tune import Bar, Tune, TuneNote

_NOTES = re.compile(r"(?:[A-Ga-g][#b♯♭]*\d\s*)+")
_LETTERS = re.compile(r"(?:[A-Ga-g][#b♯♭]*\d?(?:\s+|$))+")
_OCTAVE = 12
_ORDER = re.compile(r"^\d+\.\s*|[:.]\s*$")
"""What stands around the name of a key in a heading: "1. G major:"."""


class _TypedBar(NamedTuple):
    """A line: its heading, the bar that it names, what it has."""

    heading: Key | None
    number: int
    words: tuple[str, ...]


def parse_tune_lines(text: str, tune: Tune, *, letters: bool = False) -> Script | None:
    """Return the script of a tune that was typed; None if the text is none.

    Args:
        text: The lines, and over those of each key its name.
        tune: The tune of the task, one key after the other if there are several.
        letters: Whether letters without octave are notes; else they may be chords.
    """
    rows = list(_rows(text, _LETTERS if letters else _NOTES))
    several = any(row and len(row.words) > 1 for row in rows)
    # One letter and figure in each line would be chords, such as C7.
    if not several or None in rows:
        return None
    notes = tuple(_laid([row for row in rows if row], tune))
    return Script(notes) if notes else None


def _rows(text: str, notes: re.Pattern[str]) -> Iterator[_TypedBar | None]:
    """Yield what the lines say; None for one that is no line of a tune."""
    heading: Key | None = None
    for line in text.splitlines():
        plain = line.partition(" #")[0].strip()
        match = placed(plain)
        if not plain or plain.startswith("#"):
            continue
        if not match:
            heading = _key(plain)
            if heading is None:
                yield None
        elif match[2] or not notes.fullmatch(match[3].strip()):
            yield None
        else:
            words = (f"{word[0].upper()}{word[1:]}" for word in match[3].split())
            yield _TypedBar(heading, int(match[1]), tuple(words))


def _key(text: str) -> Key | None:
    try:
        return parse_key(_ORDER.sub("", text))
    except HarmoniseError:
        return None


def _laid(rows: list[_TypedBar], tune: Tune) -> Iterator[SoundingNote]:
    """Yield the notes of lines, each bar in the stretch of the tune that it is of."""
    stretches = _stretches(tune)
    # The first of several stretches is the one that was given.
    at, last = int(len(stretches) > 1 and _blocks(rows) < len(stretches)), None
    for (heading, number), lines in groupby(rows, key=itemgetter(0, 1)):
        if last and (number < last[1] or heading != last[0]):
            at += 1
        named = [
            place
            for place, bars in enumerate(stretches)
            if heading and tune.key_at(bars[0].start) == heading
        ]
        at = named[-1] if named else at
        here = stretches[at] if at < len(stretches) else []
        parts = [_given(tune, bar) for bar in here if bar.number == number]
        typed = [row.words for row in lines]
        # A bar that a repeat divides may be typed as one.
        given = [list(chain(*parts))] if len(typed) == 1 else parts
        for words, notes in zip(typed, given, strict=False):
            yield from _bar(words, notes)
        last = (heading, number)


def _blocks(rows: list[_TypedBar]) -> int:
    """Return how many times the lines begin anew."""
    return 1 + sum(after.number < before.number for before, after in pairwise(rows))


def _stretches(tune: Tune) -> list[list[Bar]]:
    """Return the bars of a tune, cut where they are numbered anew."""
    stretches = [[tune.bars[0]]]
    for last, bar in pairwise(tune.bars):
        anew = bar.number < last.number
        if anew or (bar.number == last.number and not bar.offset):
            stretches.append([])
        stretches[-1].append(bar)
    return stretches


def _given(tune: Tune, bar: Bar) -> list[TuneNote]:
    return [n for n in tune.sounding if bar.start <= n.onset < bar.end]


def _bar(words: tuple[str, ...], given: list[TuneNote]) -> Iterator[SoundingNote]:
    """Yield the notes of a bar; where nothing is asked for there are none."""
    last = len(given) - 1
    for number, word in enumerate(words if given else ()):
        onset, length, asked = given[min(number, last)][:3]
        if asked:
            pitch = _nearest(word, asked)
            yield SoundingNote(onset, length, pitch, Hand.RIGHT, Voice.INNER)


def _nearest(word: str, asked: Pitch) -> Pitch:
    """Return the note of a word; one without octave is the nearest of its name."""
    if word[-1].isdigit():
        return parse_pitch(word)
    name = parse_name(word)
    away = (name.pitch_class - asked.midi) % _OCTAVE
    return name.at(asked.midi + away - (_OCTAVE if 2 * away > _OCTAVE else 0))
