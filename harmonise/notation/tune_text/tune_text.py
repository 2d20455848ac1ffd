"""A typed tune put together from its lines, its bars, its notes and its words.

Tune text, the notation for people who type a tune without training.

    Title: Morning Steps
    Key: C
    Time: 4/4
    E E G E | D D B3 - | C E G C5 | B A G - |
    Words: Up the hill we go to-day, down the oth-er side and play,

One word is one beat: the note that the lower number of `Time:` names, so a quaver in
6/8. A full stop splits a beat into equal parts, `-` holds what sounds, `0` is a rest.
Letters mean what they say (F is F natural even in G) unless `Signature: on`; the
octave without a number is octave 4, or that of `Octave:`. Numbers are degrees of the
key from the keynote in C4–B4 (in the octave of `Octave:`, if it is given), `'` and `,`
move them by octaves. `|: :|` repeat, `[1 [2` are endings; `[2` ends at `||`, `|:`,
`:|` or the end. A bar that is full at the end of its line needs no bar line.

`Tempo:` gives beats a minute of the beat that is counted: the dotted crotchet in 6/8,
9/8 and 12/8, otherwise the beat of the text. `Origin:` tells where the tune is from.
`Time:`, `Key:` and `Tempo:` between lines change from there on. `Words:` lines are
aligned as in ABC 2.1, section 5.1, one line a verse; `Chords:` lines lock chords.

A tune back into tune text, so that reading it again gives the same tune.

Letters or numbers are written, one line a phrase. What a keyboard cannot say in tune
text (grace notes, slurs, fermatas, sections, a pickup of half a beat) is refused, not
dropped.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import partial
from math import lcm
from typing import NamedTuple

from harmonise.errors import Place, Remark
from harmonise.notation.tune_text.bar_sums import (
    assert_lengths,
    assert_repeats,
    assert_sums,
    pickup_remarks,
    typed_bars,
)
from harmonise.notation.tune_text.lyrics import (
    AlignedWords,
    TypedPage,
    align_words,
)
from harmonise.notation.tune_text.typed_bars import TypedBar, lay_bars
from harmonise.notation.tune_text.typed_chords import parse_locks
from harmonise.notation.tune_text.typed_headers import DEGREE
from harmonise.notation.tune_text.typed_lines import (
    IN_TUNE_TEXT,
    Beat,
    TypedPassage,
    TypedSheet,
    assert_plain,
    no_tune,
    opening,
    parse_sheets,
    passages_of,
    struck_in,
    unsayable,
)
from harmonise.notation.tune_text.typed_notes import Typed, parse_notes
from harmonise.notation.tune_text.typed_remarks import Typing, guess_remark, remarks_on
from harmonise.theory.key import Key
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.pitch import Pitch, PitchName, format_alter
from harmonise.theory.tune import Bar, KeyChange, Tempo, Tune, TuneNote


class Whole(NamedTuple):
    """All that is known of a typed tune.

    Attributes:
        sheet: Its lines.
        bars: Its bars, with numbers.
        notes: Its notes and rests, with their words.
        words: The words as aligned.
        keys: The key in force in each line.
    """

    sheet: TypedSheet
    bars: list[TypedBar]
    notes: tuple[TuneNote, ...]
    words: AlignedWords
    keys: list[Key]


def whole_tune(whole: Whole, remarks: tuple[Remark, ...], *, key_guessed: bool) -> Tune:
    """Return the tune of a sheet.

    Raises:
        NotationError: E19 or E20, if a `Chords:` line cannot be read.
    """
    sheet, bars = whole.sheet, whole.bars
    starts, ends = _spans(sheet.passages, bars)
    return Tune(
        title=sheet.title,
        notes=whole.notes,
        bars=tuple(bar.finished() for bar in bars),
        keys=_key_changes(whole.keys, starts),
        tempos=_tempos(sheet.passages, starts),
        phrases=tuple(end for end in ends if end is not None),
        locks=parse_locks(sheet.passages, bars, whole.keys),
        verses=whole.words.verses,
        origin=sheet.origin,
        remarks=remarks,
        key_guessed=key_guessed,
    )


def sung_notes(
    typed: list[Typed], words: AlignedWords, passages: list[TypedPassage]
) -> tuple[TuneNote, ...]:
    """Return the notes of a tune with the words that are sung on them."""
    return tuple(
        TuneNote(
            note.onset,
            note.length,
            note.pitch,
            tuple(syllables) if note.pitch else (),
            line=passages[note.passage].line,
        )
        for note, syllables in zip(typed, words.syllables, strict=True)
    )


def _spans(
    passages: list[TypedPassage], bars: list[TypedBar]
) -> tuple[list[Fraction], list[Fraction | None]]:
    """Return where each passage begins, and where it ends if it holds any beat."""
    ends: list[Fraction | None] = [None] * len(passages)
    for bar in bars:
        for beat, word in enumerate(bar.words, 1):
            last = beat == bar.beats or bar.words[beat].passage != word.passage
            if last:
                ends[word.passage] = bar.start + bar.time.unit * beat
    starts = [Fraction(0)]
    for end in ends[:-1]:
        starts.append(starts[-1] if end is None else end)
    return starts, ends


def _key_changes(keys: list[Key], starts: list[Fraction]) -> tuple[KeyChange, ...]:
    changes: list[KeyChange] = []
    for key, start in zip(keys, starts, strict=True):
        if not changes or changes[-1].key != key:
            changes.append(KeyChange(start, key))
    return tuple(changes)


def _tempos(passages: list[TypedPassage], starts: list[Fraction]) -> tuple[Tempo, ...]:
    return tuple(
        Tempo(start, passage.tempo.per_minute, passage.time.beat, passage.tempo.words)
        for passage, start in zip(passages, starts, strict=True)
        if passage.tempo
    )


def in_score_order(remarks: list[Remark]) -> tuple[Remark, ...]:
    """Return remarks on the whole tune, then the others by their places."""
    placed = sorted((remark for remark in remarks if remark.place), key=_score_order)
    return (*(remark for remark in remarks if not remark.place), *placed)


def _score_order(remark: Remark) -> tuple[int, Fraction, str]:
    bar, beat = remark.place or (0, None)
    return bar, beat or Fraction(0), remark.code


def parse_tune_text(text: str) -> tuple[Tune, ...]:
    r"""Return the tunes of a text; a second `Title:` begins a second tune.

    Args:
        text: Tune text: at most 2 MB, 1,000 tunes, and 2,000 bars a tune.

    Raises:
        NotationError: If something cannot be read; bar, beat and line are named.
        MelodyError: If a tune has no notes, or one that no piano has.

    >>> [str(note.pitch) for note in parse_tune_text("Key: G\nG A.B C5 -")[0].notes]
    ['G4', 'A4', 'B4', 'C5']
    """
    return tuple(_tune(sheet) for sheet in parse_sheets(text))


class _Keys(NamedTuple):
    """The key of every passage, and what was guessed."""

    of_passages: list[Key]
    guesses: tuple[Key, ...]


def _tune(sheet: TypedSheet) -> Tune:
    passages = sheet.passages
    bars, about_repeats = lay_bars(passages)
    typed, numbers = parse_notes(bars, sheet)
    if all(note.pitch is None for note in typed):
        raise no_tune(passages[0].line)
    assert_sums(bars, passages)
    words = align_words(passages, bars, typed)
    notes = sung_notes(typed, words, passages)
    keys = _keys(passages, notes, bars, numbers=numbers)
    typing = Typing(
        typed, bars, keys.of_passages, numbers, sheet.signature, sheet.octave
    )
    return whole_tune(
        Whole(sheet, bars, notes, words, keys.of_passages),
        _remarks(typing, keys.guesses, [*about_repeats, *words.remarks]),
        key_guessed=bool(keys.guesses),
    )


def _keys(
    passages: list[TypedPassage],
    notes: tuple[TuneNote, ...],
    bars: list[TypedBar],
    *,
    numbers: bool,
) -> _Keys:
    """Return the key of every passage; guess what is in force before the first."""
    told = [passage.key for passage in passages]
    guesses: tuple[Key, ...] = ()
    if told[0] is None:
        first = next((p.line for p in passages if p.key), None)
        before = [note for note in notes if first is None or note.line < first]
        downbeat = bars[0].finished().end if bars[0].offset else Fraction(0)
        guesses = (Key(PitchName(0)),) if numbers else guess_keys(before, downbeat)
    return _Keys([key or guesses[0] for key in told], guesses)


def _remarks(
    typing: Typing, guesses: tuple[Key, ...], others: list[Remark]
) -> tuple[Remark, ...]:
    found = [*others, *remarks_on(typing), *pickup_remarks(typing.bars)]
    if guesses:
        last = next(note.pitch for note in reversed(typing.notes) if note.pitch)
        found.insert(0, guess_remark(typing, guesses, last.name))
    return in_score_order(found)


_MOST_PARTS = 12

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

    >>> from harmonise.notation.tune_text.tune_text import parse_tune_text
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
    passages = passages_of(tune, beats)
    rows = [_music(tune, passage) for passage in passages]
    page = TypedPage(tune, IN_TUNE_TEXT, "Key: {}".format)
    return "\n".join([*lines, *page.lines(passages, rows)]) + "\n"


def _assert_sayable(tune: Tune) -> None:
    assert_plain(tune, IN_TUNE_TEXT, _signs_of_note, _signs_of_bar)
    for onset, words in tune.end_text:
        raise unsayable(Place(tune.bar_at(onset - Fraction(1, 64)).number), words)
    assert_repeats(tune)
    assert_lengths(tune, typed_bars(tune))


def _signs_of_note(note: TuneNote) -> dict[str, object]:
    # An octave is one figure from 1 to 8, and 0 is a rest.
    far = note.pitch and not 1 <= note.pitch.octave <= 8
    return {"a note in octave 0 or 9": far}


def _signs_of_bar(bar: Bar, after: Bar | None) -> dict[str, object]:
    closed = bar.double or bar.repeat_end > 1 or not after or after.repeat_start
    stops = bar.ending and after and after.ending != bar.ending
    return {"an ending before a plain bar line": stops and not closed}


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
    key = tune.key_at(note.onset)
    word = degree_word(pitch, key)
    if not DEGREE.match(word):
        what = f"{pitch} in numbers of {key}"
        raise unsayable(tune.place(note.onset), what)
    return word


def degree_word(pitch: Pitch, key: Key, octave: int = 4) -> str:
    """Return a pitch as a degree of a key with its octave marks: #4, 1', 5,.

    Args:
        pitch: The pitch.
        key: The key in force.
        octave: The octave of the keynote that needs no mark.
    """
    degree, alter = key.degree(pitch.name)
    octaves = (pitch.staff_step - 7 * octave - key.tonic.letter) // 7
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
