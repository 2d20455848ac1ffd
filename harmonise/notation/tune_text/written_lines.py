"""A tune into typed lines: headers, beats, words and chords, in tune text and sol-fa.

A line ends at each phrase end that falls on a beat and where key, time, tempo or
section change, for headers stand between lines. What has no sign in a notation is
refused with its place, never dropped.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, OutputError, Place
from harmonise.notation.recording.click import DOUBTS, QUESTIONS
from harmonise.notation.tune_text.typed_bars import (
    TypedBar,
    TypedWord,
    first_wrong,
    number_bars,
)
from harmonise.notation.tune_text.typed_headers import (
    TempoText,
    TypedLine,
    tempo_value,
)
from harmonise.theory.key import Key
from harmonise.theory.phrases import settle_lines
from harmonise.theory.tune import Bar, Tempo, Tune, TuneNote

IN_TUNE_TEXT, IN_SOLFA = "typed in tune text", "written in sol-fa"
"""How sentences name the two notations that are typed."""
_SIGNS = str.maketrans(
    {sign: f"\\{sign}" for sign in "-_*|\\%"} | {" ": "~", "~": "\\~"}
)


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


def unsayable(place: Place, what: str, notation: str = IN_TUNE_TEXT) -> OutputError:
    """Return the error of something that a notation has no sign for."""
    remedy = "Write MusicXML instead."
    return OutputError(f"{what} cannot be {notation}.", place, remedy)


def assert_plain(
    tune: Tune,
    notation: str,
    of_note: Callable[[TuneNote], dict[str, object]],
    of_bar: Callable[[Bar, Bar | None], dict[str, object]],
) -> None:
    """Guard that notes and bars bear nothing that has no sign in a notation.

    Args:
        tune: The tune.
        notation: How sentences name it.
        of_note: What it has no sign for besides, and whether a note bears it.
        of_bar: The same of a bar and the one after it.

    Raises:
        OutputError: If one does; the first place is named, notes before bars.
    """
    for note in tune.notes:
        signs = {
            "a grace note": note.graces,
            "a slur": note.slur_starts or note.slur_ends,
            "a fermata": note.fermata,
            **of_note(note),
        }
        _refuse(signs, tune.place(note.onset), notation)
    for bar, after in zip(tune.bars, [*tune.bars[1:], None], strict=True):
        signs = {
            "a bar with a part of a beat": (bar.length / bar.time.unit).denominator > 1,
            **of_bar(bar, after),
        }
        _refuse(signs, Place(bar.number), notation)


def _refuse(signs: dict[str, object], place: Place, notation: str) -> None:
    for what, found in signs.items():
        if found:
            raise unsayable(place, what, notation)


def typed_bars(tune: Tune) -> list[TypedBar]:
    """Return the bars of a tune, numbered by the reader of typed tunes."""
    typed = [_typed(bar) for bar in tune.bars]
    number_bars(typed)
    return typed


def _typed(bar: Bar) -> TypedBar:
    typed = TypedBar(bar.time)
    typed.words = [TypedWord("", 0)] * int(bar.length / bar.time.unit)
    typed.repeat_start, typed.repeat_end = bar.repeat_start, bar.repeat_end
    typed.ending = bar.ending
    typed.close = ":|" if bar.repeat_end > 1 else ""
    # The reader knows a bar line by its sign, so the writer checks by the same signs.
    typed.close = "||" if bar.double else typed.close
    return typed


def assert_repeats(tune: Tune, notation: str = IN_TUNE_TEXT) -> None:
    """Guard that every repeat that begins also ends, before another begins.

    Raises:
        OutputError: If one does not.
    """
    begun: Bar | None = None
    for bar in tune.bars:
        if bar.repeat_start and begun:
            break
        begun = bar if bar.repeat_start else begun
        begun = None if bar.repeat_end > 1 else begun
    if begun:
        raise unsayable(Place(begun.number), "a repeat without an end", notation)


def assert_lengths(
    tune: Tune, typed: list[TypedBar], notation: str = IN_TUNE_TEXT
) -> None:
    """Guard that every bar is full, or short where a bar may be short.

    Raises:
        OutputError: If the reader would refuse a bar.
    """
    wrong = first_wrong(typed)
    if wrong is not None:
        place = Place(tune.bars[wrong].number)
        raise unsayable(place, "a bar of this length", notation)


def opening(tune: Tune) -> list[str]:
    """Return the headers of a whole tune, after what is asked of one that was heard."""
    texts = {"Title": tune.title, "Composer": tune.composer, "Origin": tune.origin}
    lines = [(name, _one_line(text)) for name, text in texts.items()]
    asked = [f"% ? {one}" for one in tune.remarks if one.code in QUESTIONS]
    return [*asked, *(f"{name}: {text}" for name, text in lines if text)]


def tempo_lines(tune: Tune, onset: Fraction) -> list[str]:
    """Return the `Tempo:` lines of what begins at an onset."""
    return [
        f"Tempo: {_tempo_text(tune, tempo)}"
        for tempo in tune.tempos
        if tempo.onset == onset
    ]


def _tempo_text(tune: Tune, tempo: Tempo) -> str:
    """Return the value of a `Tempo:` line.

    Raises:
        OutputError: If its reader would take it for another tempo.
    """
    words = " ".join(tempo.words.split())
    if tempo.per_minute is None:
        text, wanted = words, TempoText(None, words)
    else:
        words = words.rstrip(" ,=(")
        number = f"{float(tempo.per_minute):.4f}".rstrip("0").rstrip(".")
        beat = None if tempo.beat == tune.bar_at(tempo.onset).time.beat else tempo.beat
        # A bare number counts the beat of the bar.
        note = f"{beat.numerator}/{4 * beat.denominator} = " if beat else ""
        text = f"{words} {note}{number}".strip()
        wanted = TempoText(Fraction(number), words, beat)
    try:
        read = tempo_value(TypedLine(0, "Tempo", text))
    except NotationError:
        read = None
    if read != wanted:
        raise unsayable(tune.place(tempo.onset), "this tempo")
    return _one_line(text)


def time_lines(tune: Tune, onset: Fraction) -> list[str]:
    """Return the `Time:` line of what begins at an onset, if time changes there."""
    bar = tune.bar_at(onset)
    before = tune.bar_at(onset - bar.time.unit / 64) if onset else None
    return [f"Time: {bar.time}"] if not before or before.time != bar.time else []


def new_keys(tune: Tune, onset: Fraction) -> list[Key]:
    """Return the key that begins at an onset, if one does."""
    return [change.key for change in tune.keys if change.onset == onset]


def passages_of(
    tune: Tune, beats: list[Beat], notation: str = IN_TUNE_TEXT
) -> list[list[Beat]]:
    """Return the beats line by line.

    Raises:
        OutputError: If the key changes inside a beat.
    """
    # Headers stand between lines, so a change begins a line.
    breaks = set(settle_lines(tune.phrases, tune.notes, tune.bars))
    breaks |= {change.onset for change in tune.keys}
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
    begun = False
    for beat in beats:
        bar = tune.bars[beat.bar]
        # A section is named above the line in which its bar is the first to begin.
        named = begun and bar.section and beat.onset == bar.start
        if not passages or beat.onset in breaks or named:
            passages.append([])
            begun = False
        begun = begun or beat.onset == bar.start
        passages[-1].append(beat)
    return passages


def section_lines(tune: Tune, passage: list[Beat]) -> list[str]:
    """Return the `Section:` line of the first bar that begins in a line, if any."""
    bars = (tune.bars[beat.bar] for beat in passage)
    first = [
        bar for bar, beat in zip(bars, passage, strict=True) if bar.start == beat.onset
    ]
    name = _one_line(first[0].section) if first else ""
    return [f"Section: {name}"] if name else []


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


class TypedVerses:
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
        # Without this the reader would look here for notes of the verses that follow.
        if not used and not self.promised and self.tune.verses > 1:
            return ["Words:"]
        # The reader counts the verses by the fullest line, so one line must have them
        # all.
        needed = max(self.promised, 1 + max(used, default=-1))
        self.promised = 0  # One full set of lines fixes the number of verses.
        return [
            "Words: " + "".join(self._word(note, verse) for note in struck).rstrip()
            for verse in range(needed)
        ]

    def _word(self, note: TuneNote, verse: int) -> str:
        syllable = note.syllables[verse]
        # Without a sign the reader would put the next syllable here.
        if syllable is None or not syllable.text:
            self.owed[verse] = False
            return "_ " if self.held[verse] else "* "
        self.held[verse] = self.owed[verse] = syllable.extends
        return syllable.text.translate(_SIGNS) + ("-" if syllable.joins else " ")


class TypedPage(NamedTuple):
    """A tune on its way to lines of typed text.

    Attributes:
        tune: The tune.
        notation: How sentences name the notation.
        key_line: Gives the header of a key.
    """

    tune: Tune
    notation: str
    key_line: Callable[[Key], str]

    def lines(self, passages: list[list[Beat]], rows: list[str]) -> Iterator[str]:
        """Yield the lines of music with the headers over and the words under them.

        Args:
            passages: The beats line by line.
            rows: The same lines as text.
        """
        verses = TypedVerses(self.tune)
        for passage, row in zip(passages, rows, strict=True):
            onset = passage[0].onset
            yield from map(self.key_line, new_keys(self.tune, onset))
            yield from (*time_lines(self.tune, onset), *tempo_lines(self.tune, onset))
            yield from section_lines(self.tune, passage)
            yield row
            yield from _doubt_lines(self.tune, passage)
            yield from verses.lines(onset, end_of(self.tune, passage))
            if self.tune.locks:
                yield chord_line(self.tune, passage, self.notation)


def _doubt_lines(tune: Tune, passage: list[Beat]) -> Iterator[str]:
    """Yield what is doubtful in a line that was heard, as remarks of the text."""
    beats = {
        (tune.bars[beat.bar].number, tune.place(beat.onset).beat) for beat in passage
    }
    for remark in tune.remarks:
        place = remark.place
        if remark.code not in DOUBTS or not place or not place.beat:
            continue
        if (place.bar, Fraction(int(place.beat))) in beats:
            yield f"% ? {remark}"


def chord_line(tune: Tune, passage: list[Beat], notation: str = IN_TUNE_TEXT) -> str:
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
    # One sign stands for the whole bar where it says all.
    plain = [
        group[:1] if set(group[1:]) <= {"-"} or set(group) == {"?"} else group
        for group in groups
    ]
    return "Chords: " + " | ".join(" ".join(group) for group in plain)


def _chord(tune: Tune, beat: Beat, notation: str) -> str:
    unit = tune.bars[beat.bar].time.unit
    # Only the last chord that has begun can reach into the beat.
    last = bisect_left(tune.locks, beat.onset + unit, key=lambda lock: lock.onset) - 1
    if last < 0:
        return "?"
    lock = tune.locks[last]
    if lock.onset > beat.onset or beat.onset < lock.end < beat.onset + unit:
        raise unsayable(tune.place(beat.onset), "a chord inside a beat", notation)
    if lock.onset == beat.onset:
        return lock.chord.symbol
    return "-" if beat.onset < lock.end else "?"
