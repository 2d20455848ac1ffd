"""A tune back into tune text, so that reading it again gives the same tune.

Letters or numbers are written, one line a phrase. What a keyboard cannot say in tune
text (grace notes, slurs, fermatas, sections, a pickup of half a beat) is refused, not
dropped.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import partial
from math import lcm

from harmonise.errors import Place
from harmonise.notation.writing.typed_bars import (
    assert_lengths,
    assert_repeats,
    typed_bars,
)
from harmonise.notation.writing.typed_lines import (
    Beat,
    end_of,
    new_keys,
    opening,
    passages_of,
    struck_in,
    tempo_lines,
    time_lines,
    unsayable,
)
from harmonise.notation.writing.typed_words import Verses, chord_line
from harmonise.theory.pitch import Pitch, format_alter
from harmonise.theory.tune import Bar, Tune, TuneNote

_MOST_PARTS = 12
_MOST_MARKS = 4  # Octave marks after a number.

_Spell = Callable[[TuneNote, Pitch], str]


def format_tune_text(tune: Tune, *, numbers: bool = False) -> str:
    r"""Return a tune as tune text; `parse_tune_text` reads it back.

    Notes, bars, words, keys, tempos and locked chords come back as they were; chord
    symbols that are not locked are left out, for typed chords are locks. A line ends at
    each phrase end that falls on a beat and where key, time or tempo change.

    Args:
        tune: The tune.
        numbers: Whether notes are written as degrees of the key instead of letters; in
            minor keys 3, 6 and 7 are the lowered ones and #7 is the leading note.

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
    octave = 2 if low and not numbers else 4
    spell = partial(_number, tune) if numbers else partial(_letter, octave)
    lines = opening(tune)
    if octave != 4:
        lines.append(f"Octave: {octave}")
    beats = [
        beat
        for number, bar in enumerate(tune.bars)
        for beat in _beats(tune, number, bar, spell)
    ]
    verses = Verses(tune)
    for passage in passages_of(tune, beats):
        onset = passage[0].onset
        lines += [f"Key: {key}" for key in new_keys(tune, onset)]
        lines += [*time_lines(tune, onset), *tempo_lines(tune, onset)]
        lines.append(_music(tune, passage))
        lines += verses.lines(onset, end_of(tune, passage))
        if tune.locks:
            lines.append(chord_line(tune, passage))
    return "\n".join(lines) + "\n"


def _assert_sayable(tune: Tune) -> None:
    _assert_plain_notes(tune)
    for bar, after in zip(tune.bars, [*tune.bars[1:], None], strict=True):
        if bar.section:
            raise unsayable(Place(bar.number), "a section name")
        if (bar.length / bar.time.unit).denominator != 1:
            raise unsayable(Place(bar.number), "a bar with a part of a beat")
        closed = bar.double or bar.repeat_end > 1 or not after or after.repeat_start
        if bar.ending and after and after.ending != bar.ending and not closed:
            raise unsayable(Place(bar.number), "an ending before a plain bar line")
    for onset, words in tune.end_text:
        raise unsayable(Place(tune.bar_at(onset - Fraction(1, 64)).number), words)
    assert_repeats(tune)
    assert_lengths(tune, typed_bars(tune))


def _assert_plain_notes(tune: Tune) -> None:
    for note in tune.notes:
        marks = {
            "a grace note": note.graces,
            "a slur": note.slur_starts or note.slur_ends,
            "a fermata": note.fermata,
            "a note in octave 0 or 9": note.pitch and not 1 <= note.pitch.octave <= 8,
        }
        for what, found in marks.items():
            if found:
                raise unsayable(tune.place(note.onset), what)


def _beats(tune: Tune, number: int, bar: Bar, spell: _Spell) -> Iterator[Beat]:
    unit = bar.time.unit
    struck = {note.onset: note for note in struck_in(tune, bar.start, bar.end)}
    for count in range(int(bar.length / unit)):
        start = bar.start + unit * count
        inside = [onset for onset in struck if start <= onset < start + unit]
        parts = lcm(*(((onset - start) / unit).denominator for onset in inside))
        if parts > _MOST_PARTS:
            raise unsayable(tune.place(start), f"a beat in {parts} parts")
        places = [start + unit * part / parts for part in range(parts)]
        words = [_word(struck.get(place), spell) for place in places]
        yield Beat(number, start, ".".join(words))


def _word(note: TuneNote | None, spell: _Spell) -> str:
    if note is None:
        return "-"
    return spell(note, note.pitch) if note.pitch else "0"


def _letter(octave: int, _note: TuneNote, pitch: Pitch) -> str:
    return str(pitch.name) if pitch.octave == octave else str(pitch)


def _number(tune: Tune, note: TuneNote, pitch: Pitch) -> str:
    """Return the degree of a note in the key in force, with its octave marks."""
    key = tune.key_at(note.onset)
    degree, alter = key.degree(pitch.name)
    octaves = (pitch.staff_step - 28 - key.tonic.letter) // 7
    if abs(alter) > 2 or abs(octaves) > _MOST_MARKS:
        what = f"{pitch} in numbers of {key}"
        raise unsayable(tune.place(note.onset), what)
    marks = "'" * octaves if octaves > 0 else "," * -octaves
    return f"{format_alter(alter)}{degree}{marks}"


def _music(tune: Tune, passage: list[Beat]) -> str:
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
