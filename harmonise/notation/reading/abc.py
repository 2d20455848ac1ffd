"""ABC 2.1, read strictly: a tune book in, its tunes out.

Read is the subset that tune books use, exactly: every note, rest, tie, tuplet, broken
rhythm, grace note, slur, fermata, repeat, ending, key, metre, tempo, chord symbol and
aligned word. What is not known is refused with line, bar and beat; what is left out
(all but the top note of a chord, all but the first voice, ornaments) is told in a
remark, ornaments and dynamics apart. Standard library only.

    text      a book into tunes and lines       strings  accents in titles
    fields    the header, `M:`, `Q:`            keys     `K:`, modes, clefs
    tokens    the signs of a line of music      walk     what each sign does
    lengths   multipliers, tuplets, `>`         pitches  accidentals
    body      music, fields, words in order     score    what is gathered
    bar_lines repeats and endings               bars     bar numbers, pickups
    notes     ties, slurs, syllables            words    `w:` lines
    symbols   chord symbols, jumps              faults   errors and remarks

Source: the ABC music standard 2.1 (December 2011, corrected 2013).
"""

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction
from operator import attrgetter

from harmonise.errors import MelodyError, NotationError, Place
from harmonise.notation.reading.abc_bars import lay_bars, tell_bars, tell_repeats
from harmonise.notation.reading.abc_body import Body
from harmonise.notation.reading.abc_faults import Code, Remarks
from harmonise.notation.reading.abc_fields import Header, parse_header
from harmonise.notation.reading.abc_keys import KeyField
from harmonise.notation.reading.abc_notes import strike
from harmonise.notation.reading.abc_score import Score
from harmonise.notation.reading.abc_symbols import place_symbols
from harmonise.notation.reading.abc_text import AbcText, split_abc
from harmonise.theory.key import Key
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.tune import Bar, KeyChange, Tune, TuneNote

__all__ = ["parse_abc", "parse_abc_tune", "split_abc"]


def parse_abc(text: str) -> tuple[Tune, ...]:
    r"""Return the tunes of a book; those without notes are passed over.

    One tune that cannot be read stops the book: a caller who wants the others takes
    `split_abc` and `parse_abc_tune`.

    Raises:
        NotationError: If something cannot be read; line, bar and beat are named, and
            the tune if there are several.
        MelodyError: If there is no tune, or no note in any.

    >>> tune = parse_abc("X:1\nT:Scale\nM:4/4\nL:1/4\nK:D\nDEFG|ABcd|]")[0]
    >>> [str(note.pitch) for note in tune.notes]
    ['D4', 'E4', 'F#4', 'G4', 'A4', 'B4', 'C#5', 'D5']
    """
    sources = split_abc(text)
    if not sources:
        raise NotationError(
            "There is no ABC tune here.", None, "A tune begins with an X: field."
        )
    tunes: list[Tune] = []
    empty: MelodyError | None = None
    for source in sources:
        try:
            tunes.append(parse_abc_tune(source))
        except MelodyError as error:
            empty = empty or error
        except NotationError as error:
            if len(sources) == 1:
                raise
            told = f"{error.remedy} (tune {source.title})".strip()
            raise NotationError(error.what, error.place, told) from None
    if not tunes and empty is not None:
        raise empty
    return tuple(tunes)


def parse_abc_tune(source: AbcText) -> Tune:
    """Return one tune of a book.

    Args:
        source: The tune as `split_abc` gives it.

    Raises:
        NotationError: If something cannot be read; line, bar and beat are named.
        MelodyError: If there is no note.
    """
    remarks = Remarks()
    header, lines = parse_header(source, remarks)
    score = Score(header.time, remarks)
    body = Body(header, score)
    body.take(lines)
    score.finish(source.lines[0].number)
    bars = lay_bars(score.marks, score.times, score.sections)
    if score.fault is not None:
        raise score.fault.error(_place(score.fault.onset or Fraction(0), bars))
    return _tune(header, score, bars, source)


def _place(onset: Fraction, bars: tuple[Bar, ...]) -> Place:
    """Return bar and beat of a fault; there may be no note to make a bar of."""
    return Tune("", (), bars, ()).place(onset) if bars else Place(1, Fraction(1))


def _tune(header: Header, score: Score, bars: tuple[Bar, ...], source: AbcText) -> Tune:
    remarks = score.remarks
    verses = score.align_words()
    end = score.onset
    symbols = place_symbols(score.drafts, end, remarks)
    notes = strike(score.drafts, _repeats(score), verses, remarks)
    keys, guessed = _keys(score, notes, bars)
    _tell_bars(score, bars, source)
    tune = Tune(
        title=header.title,
        notes=notes,
        bars=bars,
        keys=keys,
        tempos=tuple(score.tempos),
        phrases=_phrases(score),
        symbols=symbols,
        verses=verses,
        origin=header.origin,
        key_guessed=guessed,
    )
    jumps = {(jump.place(tune.bar_at(jump.onset)), jump.words) for jump in score.jumps}
    tune = tune._replace(end_text=tuple(sorted(jumps)))
    return tune._replace(remarks=remarks.told(tune))


def _repeats(score: Score) -> set[int]:
    """Return the marks over which no tie leads on: repeats and later endings."""
    return {
        number
        for number, mark in enumerate(score.marks)
        if mark.ends or min(mark.ending, default=1) > 1
    }


def _phrases(score: Score) -> tuple[Fraction, ...]:
    sections = {mark.onset for mark in score.marks if mark.is_section and mark.onset}
    return tuple(sorted({*score.phrases, *sections, score.onset}))


def _keys(
    score: Score, notes: Sequence[TuneNote], bars: tuple[Bar, ...]
) -> tuple[tuple[KeyChange, ...], bool]:
    """Return the keys, and whether the first was guessed."""
    changes: list[KeyChange] = []
    first_guessed = False
    for index, (onset, field) in enumerate(score.keys):
        later = score.keys[index + 1 :]
        end = later[0][0] if later else score.onset
        if end == onset and later:
            continue
        key, guessed = field.key, field.key is None
        if key is None:
            key = _guess(field, _between(notes, onset, end), bars)
        if guessed:
            score.remarks.add(Code.KEY_GUESSED, _guess_words(field, key), onset)
        elif field.remark:
            score.remarks.add(Code.MODE, field.remark, onset)
        first_guessed = first_guessed or (guessed and onset == 0)
        if not changes or changes[-1].key != key:
            changes.append(KeyChange(onset, key))
    return tuple(changes), first_guessed


def _between(
    notes: Sequence[TuneNote], start: Fraction, end: Fraction
) -> Sequence[TuneNote]:
    onset = attrgetter("onset")
    first = bisect_left(notes, start, key=onset)
    return notes[first : bisect_left(notes, end, key=onset)]


def _guess(field: KeyField, notes: Sequence[TuneNote], bars: tuple[Bar, ...]) -> Key:
    """Return the key that the notes suggest, for pipe tunes the last one."""
    if not field.candidates:
        downbeat = bars[0].end if bars[0].offset else Fraction(0)
        return guess_keys(notes, downbeat)[0]
    last = next((note.pitch.name for note in reversed(notes) if note.pitch), None)
    named = [key for key in field.candidates if key.tonic == last]
    return (named or list(field.candidates))[0]


def _guess_words(field: KeyField, key: Key) -> str:
    why = field.remark or "No key is given: the notes are read as written."
    return f"{why} The key is taken to be {key}, which is a guess."


def _tell_bars(score: Score, bars: tuple[Bar, ...], source: AbcText) -> None:
    """Tell what is to be said of bars and bar lines."""
    remarks = score.remarks
    if any(time is None for _, time in score.times):
        remarks.add(
            Code.FREE_METRE,
            "The metre is free; each bar is given the time that its notes take.",
        )
    for mark in score.marks:
        if mark.implied and mark.onset != score.onset:
            remarks.add(
                Code.LINE_ENDS,
                "a line of text ends before this bar without a bar line; one was read, "
                "as the bar before is full.",
                mark.onset,
            )
    tell_bars(bars, score.marks, remarks)
    tell_repeats(score.marks, remarks)
    if source.unread:
        remarks.add(
            Code.EMPTY_LINE,
            f"An empty line ends the tune; the music from line {source.unread} on was "
            "not read.",
        )
