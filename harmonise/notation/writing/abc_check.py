"""What we promise of ABC that we write: read again, it is the same tune.

The tune is compared as ABC can say it: rests side by side are one, bars are numbered
anew, sections end phrases, double bars beside repeat signs and at the end say nothing.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import OutputError, Place
from harmonise.notation.writing.abc_bar_lines import is_section
from harmonise.notation.writing.abc_strings import plain_text
from harmonise.theory.tune import (
    Bar,
    ChordAt,
    KeyChange,
    Syllable,
    Tempo,
    Tune,
    TuneNote,
)


class _Fact(NamedTuple):
    """Something that a tune says, with its place."""

    onset: Fraction
    what: str
    said: object


def assert_same(tune: Tune, chords: Sequence[ChordAt], read: Tune) -> None:
    """Do nothing if what was read is what was written.

    Args:
        tune: The tune that was written.
        chords: The chord symbols that were written.
        read: The tune that was read.

    Raises:
        OutputError: If something differs; the first such place is named.
    """
    meant = _facts(tune, chords)
    lost = set(meant) ^ set(_facts(read, read.symbols))
    if not lost:
        return
    # What was meant comes before what was read instead at the same place.
    first = min(lost, key=lambda fact: (fact.onset, fact not in meant))
    general = first.onset < 0
    place: Place | None = None if general else tune.place(first.onset)
    raise OutputError(
        f"{first.what} cannot be said in ABC.", place, "Write MusicXML instead."
    )


def _facts(tune: Tune, chords: Sequence[ChordAt]) -> list[_Fact]:
    before = Fraction(-1)
    facts = [
        _Fact(before, "The title", plain_text(tune.title)),
        _Fact(before, "The origin", plain_text(tune.origin)),
        _Fact(before, "The number of verses", tune.verses),
    ]
    facts += [_Fact(note.onset, _kind(note), note) for note in _notes(tune)]
    facts += [_Fact(bar.start, "this bar", bar) for bar in _bars(tune)]
    facts += [_Fact(at.onset, f"the key {at.key}", at.key) for at in _keys(tune)]
    facts += [_Fact(at.onset, "this tempo", _tempo(at)) for at in tune.tempos]
    facts += [_Fact(onset, "the end of a phrase", None) for onset in _phrases(tune)]
    facts += [_Fact(at.onset, f"the chord {at.chord}", at) for at in chords]
    facts += [_Fact(onset, f"“{words}”", None) for onset, words in _jumps(tune)]
    return facts


def _kind(note: TuneNote) -> str:
    return f"the note {note.pitch}" if note.pitch else "this rest"


def _keys(tune: Tune) -> list[KeyChange]:
    later = [new for old, new in pairwise(tune.keys) if new.key != old.key]
    return [*tune.keys[:1], *later]


def _tempo(tempo: Tempo) -> Tempo:
    return tempo._replace(words=plain_text(tempo.words))


def _jumps(tune: Tune) -> list[tuple[Fraction, str]]:
    return [(onset, plain_text(words)) for onset, words in tune.end_text]


def _phrases(tune: Tune) -> set[Fraction]:
    afters = (*tune.bars[1:], None)
    pairs = zip(tune.bars, afters, strict=True)
    return {*tune.phrases, *(bar.end for bar, after in pairs if is_section(bar, after))}


def _bars(tune: Tune) -> list[Bar]:
    found = []
    for bar, after in zip(tune.bars, (*tune.bars[1:], None), strict=True):
        signs = bar.repeat_end > 1 or after is None or after.repeat_start
        section = plain_text(bar.section)
        double = bar.double and not signs
        found.append(bar._replace(number=0, section=section, double=double))
    return found


def _notes(tune: Tune) -> list[TuneNote]:
    """Return the notes without source lines, rests side by side as one."""
    found: list[TuneNote] = []
    for note in tune.notes:
        own = note._replace(line=0)
        if own.pitch is None:
            own = own._replace(syllables=())
            if found and found[-1].pitch is None and not own.fermata:
                longer = found[-1].length + own.length
                found[-1] = found[-1]._replace(length=longer)
                continue
        found.append(own)
    return _with_words(found, tune.verses)


def _with_words(notes: list[TuneNote], verses: int) -> list[TuneNote]:
    """Return the notes with words in plain letters.

    A syllable is held only where a note without words follows, and a divided word is
    never held besides.
    """
    held = [False] * verses
    found: list[TuneNote] = []
    for note in reversed(notes):
        if note.pitch is not None:
            words = note.syllables or (None,) * verses
            pairs = zip(words, held, strict=True)
            note = note._replace(  # noqa: PLW2901 (rewritten on its way)
                syllables=tuple(_plain(word, bare=bare) for word, bare in pairs)
            )
            held = [word is None for word in words]
        found.append(note)
    return found[::-1]


def _plain(word: Syllable | None, *, bare: bool) -> Syllable | None:
    if word is None:
        return None
    extends = word.extends and bare and not word.joins
    return Syllable(plain_text(word.text), word.joins, extends)
