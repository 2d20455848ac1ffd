"""Tune text, both ways: the notation for people who type a tune without training.

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
move them by octaves, and 8 is the upper keynote. A tune in small letters throughout is
read as in capitals, one in `do re mi` by its key: do is the keynote in major, la in
minor. `|: :|` repeat, `[1 [2` are endings; `[2` ends at `||`, `|:`, `:|` or the end.
A bar that is full at the end of its line needs no bar line.

`Tempo:` gives beats a minute of the beat that is counted: the dotted crotchet in 6/8,
9/8 and 12/8, otherwise the beat of the text; or of the note that it names, or words.
`Composer:` and `Origin:` tell where the tune is from, `Section:` names what begins.
`Time:`, `Key:` and `Tempo:` between lines change from there on. `Words:` lines are
aligned as in ABC 2.1, section 5.1, one line a verse; `Chords:` lines lock chords. Both
are meant for the line above them, or for all lines since the last ones.

Back into tune text a tune is written in letters or numbers, one line a phrase, so that
reading it again gives the same tune. What a keyboard cannot say in it (grace notes,
slurs, fermatas, a pickup of half a beat) is refused, not dropped.
"""

from collections.abc import Callable, Iterator
from fractions import Fraction
from functools import partial
from math import lcm

from harmonise.errors import Place, Remark
from harmonise.notation.tune_text.bar_sums import assert_sums, pickup_remarks
from harmonise.notation.tune_text.guessed_bars import lay_sheet
from harmonise.notation.tune_text.lyrics import AlignedWords, align_words
from harmonise.notation.tune_text.typed_bars import TypedBar
from harmonise.notation.tune_text.typed_checks import (
    TypedTune,
    guess_remark,
    remarks_on,
)
from harmonise.notation.tune_text.typed_chords import parse_locks
from harmonise.notation.tune_text.typed_headers import TempoText
from harmonise.notation.tune_text.typed_lines import (
    TypedPassage,
    TypedSheet,
    no_tune,
    parse_sheets,
)
from harmonise.notation.tune_text.typed_notes import (
    MOST_PARTS,
    Typed,
    degree_word,
    parse_notes,
)
from harmonise.notation.tune_text.word_faults import (
    DEGREE,
)
from harmonise.notation.tune_text.written_lines import (
    IN_TUNE_TEXT,
    Beat,
    TypedPage,
    assert_lengths,
    assert_plain,
    assert_repeats,
    opening,
    passages_of,
    struck_in,
    typed_bars,
    unsayable,
)
from harmonise.theory.key import Key
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.phrases import settle_lines
from harmonise.theory.pitch import Pitch, PitchName
from harmonise.theory.tune import Bar, KeyChange, Tempo, Tune, TuneNote

_C_MAJOR = Key(PitchName(0))
_Spell = Callable[[TuneNote, Pitch], str]


def whole_tune(
    typed: TypedTune,
    notes: tuple[TuneNote, ...],
    verses: int,
    remarks: list[Remark],
    *,
    key_guessed: bool,
) -> Tune:
    """Return the tune that was typed.

    Args:
        typed: What was understood.
        notes: Its notes and rests, with their words.
        verses: Number of verses.
        remarks: What is to be told; those on the whole tune come first.
        key_guessed: Whether the key was guessed.

    Raises:
        NotationError: E19 or E20, if a `Chords:` line cannot be read.
    """
    passages = typed.sheet.passages
    starts, ends = _spans(passages, typed.bars)
    finished = tuple(bar.finished() for bar in typed.bars)
    keys: list[KeyChange] = []
    for key, start in zip(typed.keys, starts, strict=True):
        # What stands over bar lines alone gives way to what stands over notes.
        if keys and keys[-1].onset == start:
            keys.pop()
        # A `Key:` line that repeats the key in force changes nothing.
        if not keys or keys[-1].key != key:
            keys.append(KeyChange(start, key))
    return Tune(
        title=typed.sheet.title,
        notes=notes,
        bars=finished,
        keys=tuple(keys),
        tempos=_tempos(passages, starts),
        phrases=settle_lines([end for end in ends if end], notes, finished),
        locks=parse_locks(passages, typed.bars, typed.keys),
        verses=verses,
        origin=typed.sheet.origin,
        composer=typed.sheet.composer,
        remarks=tuple(sorted(remarks, key=_score_order)),
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
        # A line of bar lines alone has no beat; what it tells begins where the next
        # does.
        starts.append(starts[-1] if end is None else end)
    return starts, ends


def _tempos(passages: list[TypedPassage], starts: list[Fraction]) -> tuple[Tempo, ...]:
    tempos = {
        start: _tempo(passage.tempo, start, passage.time.beat)
        for passage, start in zip(passages, starts, strict=True)
        if passage.tempo
    }
    return tuple(tempos.values())


def _tempo(told: TempoText, onset: Fraction, counted: Fraction) -> Tempo:
    beat = told.beat or counted
    # Words alone count nothing.
    return Tempo(
        onset, told.per_minute, beat if told.per_minute else Fraction(1), told.words
    )


def _score_order(remark: Remark) -> tuple[int, Fraction, str]:
    """Put remarks on the whole tune first, in the order in which they came."""
    if remark.place is None:
        return -1, Fraction(0), ""
    return remark.place.bar, remark.place.beat or Fraction(0), remark.code


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


def _tune(sheet: TypedSheet) -> Tune:
    sheet, bars, about_bars, fault = lay_sheet(sheet)
    passages = sheet.passages
    typed, kind = parse_notes(bars, sheet)
    if all(note.pitch is None for note in typed):
        raise no_tune(passages[0].line)
    if fault:
        raise fault
    assert_sums(bars, passages)
    words = align_words(passages, bars, typed)
    notes = sung_notes(typed, words, passages)
    typed_keys = [passage.key for passage in passages]
    guesses: tuple[Key, ...] = ()
    if typed_keys[0] is None:
        guesses = (_C_MAJOR,) if kind.by_key else _guesses(passages, notes, bars)
    keys = [key or guesses[0] for key in typed_keys]
    tune = TypedTune(sheet, bars, typed, keys, kind)
    remarks = [
        *([guess_remark(tune, guesses)] if guesses else []),
        *sheet.remarks,
        *about_bars,
        *words.remarks,
        *remarks_on(tune),
        *pickup_remarks(bars),
    ]
    return whole_tune(tune, notes, words.verses, remarks, key_guessed=bool(guesses))


def _guesses(
    passages: list[TypedPassage], notes: tuple[TuneNote, ...], bars: list[TypedBar]
) -> tuple[Key, ...]:
    """Return the keys that the notes before the first `Key:` line suggest."""
    first = next((passage.line for passage in passages if passage.key), None)
    before = [note for note in notes if first is None or note.line < first]
    # A pickup tells less of the key than the first full bar.
    downbeat = bars[0].finished().end if bars[0].offset else Fraction(0)
    return guess_keys(before, downbeat)


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
    # A 2 behind a letter looks like a length to the reader; `Octave: 2` saves it.
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
    # The reader ends a bracket at these signs alone.
    closed = bar.double or bar.repeat_end > 1 or not after or after.repeat_start
    stops = bar.ending and after and after.ending != bar.ending
    return {"an ending before a plain bar line": stops and not closed}


def _beats(tune: Tune, number: int, bar: Bar, spell: _Spell) -> Iterator[Beat]:
    unit = bar.time.unit
    struck = {note.onset: note for note in struck_in(tune, bar.start, bar.end)}
    for count in range(int(bar.length / unit)):
        start = bar.start + unit * count
        inside = [onset for onset in struck if start <= onset < start + unit]
        # A beat is split into equal parts: as many as all its onsets need.
        parts = lcm(*(((onset - start) / unit).denominator for onset in inside))
        if parts > MOST_PARTS:
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
    # The sign of the next bar stands for the bar line, unless a line ends here.
    if words or (after and after.repeat_start and not last):
        return words
    return ["|"]
