"""A typed tune put together from its lines, its bars, its notes and its words."""

from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Remark
from harmonise.notation.reading.tune_text_bar import TypedBar
from harmonise.notation.reading.tune_text_chords import parse_locks
from harmonise.notation.reading.tune_text_lines import Passage, Sheet
from harmonise.notation.reading.tune_text_lyrics import Aligned
from harmonise.notation.reading.tune_text_words import Typed
from harmonise.theory.key import Key
from harmonise.theory.tune import KeyChange, Tempo, Tune, TuneNote


class Whole(NamedTuple):
    """All that is known of a typed tune.

    Attributes:
        sheet: Its lines.
        bars: Its bars, with numbers.
        notes: Its notes and rests, with their words.
        words: The words as aligned.
        keys: The key in force in each line.
    """

    sheet: Sheet
    bars: list[TypedBar]
    notes: tuple[TuneNote, ...]
    words: Aligned
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
    typed: list[Typed], words: Aligned, passages: list[Passage]
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
    passages: list[Passage], bars: list[TypedBar]
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


def _tempos(passages: list[Passage], starts: list[Fraction]) -> tuple[Tempo, ...]:
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
