"""Tune text, the notation for people who type a tune without training.

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
"""

from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import Remark
from harmonise.notation.reading.tune_text_bar import TypedBar
from harmonise.notation.reading.tune_text_bars import lay_bars
from harmonise.notation.reading.tune_text_lines import (
    Passage,
    Sheet,
    no_tune,
    parse_sheets,
)
from harmonise.notation.reading.tune_text_lyrics import align_words
from harmonise.notation.reading.tune_text_remarks import (
    Typing,
    guess_remark,
    remarks_on,
)
from harmonise.notation.reading.tune_text_sums import assert_sums, pickup_remarks
from harmonise.notation.reading.tune_text_whole import (
    Whole,
    in_score_order,
    sung_notes,
    whole_tune,
)
from harmonise.notation.reading.tune_text_words import parse_notes
from harmonise.theory.key import Key
from harmonise.theory.key_finding import guess_keys
from harmonise.theory.pitch import PitchName
from harmonise.theory.tune import Tune, TuneNote


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


def _tune(sheet: Sheet) -> Tune:
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
    passages: list[Passage],
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
