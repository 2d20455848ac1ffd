"""A tune back into tune text, so that reading it again gives the same tune.

Letters are written, one line a phrase. What a keyboard cannot say in tune text (grace
notes, slurs, fermatas, sections, a pickup of half a beat) is refused, not dropped.
"""

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from math import lcm
from typing import NamedTuple

from harmonise.errors import OutputError, Place
from harmonise.theory.tune import Bar, Tune, TuneNote

_MOST_PARTS = 12
_SIGNS = str.maketrans(
    {sign: f"\\{sign}" for sign in "-_*|\\%"} | {" ": "~", "~": "\\~"}
)


class _Beat(NamedTuple):
    """One word of the text."""

    bar: int
    onset: Fraction
    text: str


def format_tune_text(tune: Tune) -> str:
    r"""Return a tune as tune text; `parse_tune_text` reads it back.

    Notes, bars, words, keys, tempos and locked chords come back as they were. A line
    ends at each phrase end that falls on a beat and where key, time or tempo change.

    Raises:
        OutputError: If the tune holds what tune text cannot say; the place is named.

    >>> from harmonise.notation.reading.tune_text import parse_tune_text
    >>> print(format_tune_text(parse_tune_text("Key: G\nG A.B C5 - | D5 - - 0 |")[0]))
    Key: G major
    Time: 4/4
    G A.B C5 - | D5 - - 0 |
    <BLANKLINE>
    """
    _assert_sayable(tune)
    low = any(note.pitch and note.pitch.octave == 2 for note in tune.notes)
    octave = 2 if low else 4
    lines = []
    if tune.title:
        lines.append(f"Title: {_one_line(tune.title)}")
    if tune.origin:
        lines.append(f"Origin: {_one_line(tune.origin)}")
    if octave != 4:
        lines.append(f"Octave: {octave}")
    beats = [
        beat
        for number, bar in enumerate(tune.bars)
        for beat in _beats(tune, number, bar, octave)
    ]
    verses = _Verses(tune)
    for passage in _passages(tune, beats):
        lines += _headers(tune, passage[0].onset)
        lines.append(_music(tune, passage))
        lines += verses.lines(passage[0].onset, _end(tune, passage))
        if tune.locks:
            lines.append(_chords(tune, passage))
    return "\n".join(lines) + "\n"


def _one_line(text: str) -> str:
    return " ".join(text.replace("%", "\\%").split())


def _assert_sayable(tune: Tune) -> None:
    for note in tune.notes:
        marks = {
            "a grace note": note.graces,
            "a slur": note.slur_starts or note.slur_ends,
            "a fermata": note.fermata,
            "a note in octave 0 or 9": note.pitch and not 1 <= note.pitch.octave <= 8,
        }
        for what, found in marks.items():
            if found:
                raise _unsayable(tune.place(note.onset), what)
    for bar, after in zip(tune.bars, [*tune.bars[1:], None], strict=True):
        if bar.section:
            raise _unsayable(Place(bar.number), "a section name")
        if (bar.length / bar.time.unit).denominator != 1:
            raise _unsayable(Place(bar.number), "a bar with a part of a beat")
        closed = bar.double or bar.repeat_end > 1 or not after or after.repeat_start
        if bar.ending and after and after.ending != bar.ending and not closed:
            raise _unsayable(Place(bar.number), "an ending before a plain bar line")


def _unsayable(place: Place, what: str) -> OutputError:
    return OutputError(
        f"{what} cannot be typed in tune text.", place, "Write MusicXML instead."
    )


def _beats(tune: Tune, number: int, bar: Bar, octave: int) -> Iterator[_Beat]:
    unit = bar.time.unit
    struck = {note.onset: note for note in _struck(tune, bar.start, bar.end)}
    for count in range(int(bar.length / unit)):
        start = bar.start + unit * count
        inside = [onset for onset in struck if start <= onset < start + unit]
        parts = lcm(*(((onset - start) / unit).denominator for onset in inside))
        if parts > _MOST_PARTS:
            raise _unsayable(tune.place(start), f"a beat in {parts} parts")
        places = [start + unit * part / parts for part in range(parts)]
        words = [_word(struck.get(place), octave) for place in places]
        yield _Beat(number, start, ".".join(words))


def _struck(tune: Tune, start: Fraction, end: Fraction) -> list[TuneNote]:
    """Return the notes and rests that begin in a stretch."""
    first = bisect_left(tune.notes, start, key=lambda note: note.onset)
    last = bisect_left(tune.notes, end, first, key=lambda note: note.onset)
    return list(tune.notes[first:last])


def _word(note: TuneNote | None, octave: int) -> str:
    if note is None:
        return "-"
    if note.pitch is None:
        return "0"
    return str(note.pitch.name) if note.pitch.octave == octave else str(note.pitch)


def _passages(tune: Tune, beats: list[_Beat]) -> list[list[_Beat]]:
    breaks = {change.onset for change in tune.keys} | set(tune.phrases)
    breaks |= {tempo.onset for tempo in tune.tempos}
    for before, bar in zip(tune.bars, tune.bars[1:], strict=False):
        if before.time != bar.time:
            breaks.add(bar.start)
    onsets = {beat.onset for beat in beats}
    for change in tune.keys:
        if change.onset not in onsets:
            raise _unsayable(tune.place(change.onset), "a key change inside a beat")
    passages: list[list[_Beat]] = []
    for beat in beats:
        if not passages or beat.onset in breaks:
            passages.append([])
        passages[-1].append(beat)
    return passages


def _end(tune: Tune, passage: list[_Beat]) -> Fraction:
    return passage[-1].onset + tune.bars[passage[-1].bar].time.unit


def _headers(tune: Tune, onset: Fraction) -> list[str]:
    """Return the headers of what begins here: key, time and tempo."""
    found = [f"Key: {change.key}" for change in tune.keys if change.onset == onset]
    bar = tune.bar_at(onset)
    before = tune.bar_at(onset - bar.time.unit / 64) if onset else None
    if before is None or before.time != bar.time:
        found.append(f"Time: {bar.time}")
    for tempo in tune.tempos:
        if tempo.onset == onset:
            number = tempo.per_minute * tempo.beat / bar.time.beat
            shown = str(number) if number.denominator == 1 else f"{float(number):.2f}"
            found.append(f"Tempo: {_one_line(tempo.words)} {shown}".replace("  ", " "))
    return found


def _music(tune: Tune, passage: list[_Beat]) -> str:
    words: list[str] = []
    for index, beat in enumerate(passage):
        bar = tune.bars[beat.bar]
        if beat.onset == bar.start:
            words += _openings(tune, beat.bar)
        words.append(beat.text)
        if beat.onset + bar.time.unit == bar.end:
            words += _closings(tune, beat.bar, last=index == len(passage) - 1)
    return " ".join(words)


def _openings(tune: Tune, number: int) -> list[str]:
    bar = tune.bars[number]
    before = tune.bars[number - 1] if number else None
    words = ["|:"] if bar.repeat_start else []
    if bar.ending and (before is None or before.ending != bar.ending):
        words.append(f"[{','.join(map(str, bar.ending))}")
    return words


def _closings(tune: Tune, number: int, *, last: bool) -> list[str]:
    bar = tune.bars[number]
    after = tune.bars[number + 1] if number + 1 < len(tune.bars) else None
    words = [":|"] if bar.repeat_end > 1 else []
    if bar.double:
        words.append("||")
    if words or (after and after.repeat_start and not last):
        return words
    return ["|"]


class _Verses:
    """The words, written line by line; a held syllable may run into the next line."""

    def __init__(self, tune: Tune) -> None:
        self.tune = tune
        self.owed = [False] * tune.verses  # A held syllable whose "_" is to come.
        self.held = [False] * tune.verses
        self.promised = tune.verses

    def lines(self, start: Fraction, end: Fraction) -> list[str]:
        """Return the `Words:` lines under one line of the tune."""
        struck = [note for note in _struck(self.tune, start, end) if note.pitch]
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


def _chords(tune: Tune, passage: list[_Beat]) -> str:
    groups: list[list[str]] = []
    previous = -1
    for beat in passage:
        if beat.bar != previous:
            groups.append([])
            previous = beat.bar
        groups[-1].append(_chord(tune, beat))
    plain = [_shortest(group) for group in groups]
    return "Chords: " + " | ".join(" ".join(group) for group in plain)


def _chord(tune: Tune, beat: _Beat) -> str:
    unit = tune.bars[beat.bar].time.unit
    last = bisect_left(tune.locks, beat.onset + unit, key=lambda lock: lock.onset) - 1
    if last < 0:
        return "?"
    lock = tune.locks[last]
    if lock.onset > beat.onset or beat.onset < lock.end < beat.onset + unit:
        raise _unsayable(tune.place(beat.onset), "a chord inside a beat")
    if lock.onset == beat.onset:
        return lock.chord.symbol
    return "-" if beat.onset < lock.end else "?"


def _shortest(group: list[str]) -> list[str]:
    """Return one sign for the whole bar where one says it."""
    held = all(sign == "-" for sign in group[1:])
    free = all(sign == "?" for sign in group)
    return group[:1] if held or free else group
