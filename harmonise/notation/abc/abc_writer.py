r"""A tune as ABC 2.1, so that reading it again gives the same tune.

A line of music is a phrase. What comes back otherwise than it was: a rest is cut at bar
lines and where chords change; bars are numbered anew; double bars beside repeat signs
and at the end say nothing; a guessed key is simply the key. All else that ABC cannot
say is refused: the finished text is read again, and the first difference names its
place. Source: the ABC music standard 2.1 (December 2011, corrected 2013).
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import NotationError, OutputError, Place
from harmonise.notation.abc.abc_page import AbcPage
from harmonise.notation.abc.abc_tune import parse_abc
from harmonise.notation.abc.abc_words import format_field, format_string, plain_text
from harmonise.notation.abc.bars import assert_endings_close
from harmonise.notation.abc.fields import LOCKED, format_metre, format_tempo, metres
from harmonise.notation.abc.key_fields import format_key
from harmonise.notation.told_locks import tell_locks
from harmonise.theory.phrases import find_lines
from harmonise.theory.tune import Bar, ChordAt, KeyChange, Syllable, Tune, TuneNote


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
    # A fact that only one of the two has is a difference; its place is told.
    lost = set(meant) ^ set(_facts(read, read.symbols))
    if not lost:
        return
    # What was meant comes before what was read instead at the same place.
    first = min(lost, key=lambda fact: (fact.onset, fact not in meant))
    general = first.onset < 0
    place: Place | None = None if general else tune.place(first.onset)
    what = f"{first.what} cannot be said in ABC."
    raise OutputError(what, place, "Write MusicXML instead.")


def _facts(tune: Tune, chords: Sequence[ChordAt]) -> list[_Fact]:
    before = Fraction(-1)
    facts = [
        _Fact(before, "The title", plain_text(tune.title)),
        _Fact(before, "The composer", plain_text(tune.composer)),
        _Fact(before, "The origin", plain_text(tune.origin)),
        _Fact(before, "The number of verses", tune.verses),
    ]
    facts += [
        _Fact(note.onset, f"the note {note.pitch}" if note.pitch else "this rest", note)
        for note in _notes(tune)
    ]
    facts += [_Fact(bar.start, "this bar", bar) for bar in _bars(tune)]
    facts += [_Fact(at.onset, f"the key {at.key}", at.key) for at in _keys(tune)]
    facts += [
        _Fact(at.onset, "this tempo", at._replace(words=plain_text(at.words)))
        for at in tune.tempos
    ]
    facts += [
        _Fact(onset, "the end of a phrase", None) for onset in {*tune.phrases, tune.end}
    ]
    facts += [_Fact(at.onset, f"the chord {at.chord}", at) for at in chords]
    facts += [
        _Fact(onset, f"“{plain_text(words)}”", None) for onset, words in tune.end_text
    ]
    return facts


def _keys(tune: Tune) -> list[KeyChange]:
    # A key that is told twice in a row is one.
    later = [new for old, new in pairwise(tune.keys) if new.key != old.key]
    return [*tune.keys[:1], *later]


def _bars(tune: Tune) -> list[Bar]:
    bars = []
    for bar, after in zip(tune.bars, (*tune.bars[1:], None), strict=True):
        signs = bar.repeat_end > 1 or after is None or after.repeat_start
        section = plain_text(bar.section)
        double = bar.double and not signs
        bars.append(bar._replace(number=0, section=section, double=double))
    return bars


def _notes(tune: Tune) -> list[TuneNote]:
    """Return the notes without source lines, rests side by side as one."""
    notes: list[TuneNote] = []
    for note in tune.notes:
        bare = note._replace(line=0)
        if bare.pitch is None:
            bare = bare._replace(syllables=())
            # Rests are cut at bar lines when they are written; a pause stays on its
            # own.
            if notes and notes[-1].pitch is None and not bare.fermata:
                longer = notes[-1].length + bare.length
                notes[-1] = notes[-1]._replace(length=longer)
                continue
        notes.append(bare)
    return _with_words(notes, tune.verses)


def _with_words(notes: list[TuneNote], verses: int) -> list[TuneNote]:
    """Return the notes with words in plain letters.

    A syllable is held only where a note without words follows, and a divided word is
    never held besides.
    """
    held = [False] * verses
    worded: list[TuneNote] = []
    for note in reversed(notes):
        if note.pitch is not None:
            words = note.syllables or (None,) * verses
            pairs = zip(words, held, strict=True)
            note = note._replace(  # noqa: PLW2901 (rewritten on its way)
                syllables=tuple(_plain(word, bare=bare) for word, bare in pairs)
            )
            held = [word is None for word in words]
        worded.append(note)
    return worded[::-1]


def _plain(word: Syllable | None, *, bare: bool) -> Syllable | None:
    if word is None:
        return None
    # The hyphen of a divided word already draws it on (5.1).
    extends = word.extends and bare and not word.joins
    return Syllable(plain_text(word.text), word.joins, extends)


_UNITS = (Fraction(1, 2), Fraction(1), Fraction(1, 4))
"""Lengths, in crotchets, that a bare letter may stand for; the first by default."""


_LONGEST = 200
_SHORT = 5
"""So many bars are one line, whatever stands in them, unless a section ends."""


def format_abc(tune: Tune, chords: Sequence[ChordAt] = ()) -> str:
    r"""Return a tune as ABC 2.1; `parse_abc` reads it back.

    Args:
        tune: The tune.
        chords: Chord symbols to print; where none are given, those that the tune
            carries, locked ones first.

    Raises:
        OutputError: If the tune holds what ABC cannot say; the place is named.

    >>> source = "X:1\nT:Rise\nM:3/4\nL:1/4\nK:D\n\"D\"DF2-|F2 A|]"
    >>> print(format_abc(parse_abc(source)[0]))
    %abc-2.1
    X:1
    T:Rise
    M:3/4
    L:1/4
    K:D
    "D"D F2- | F2 A |]
    <BLANKLINE>
    """
    chords = chords or tune.locks or tune.symbols
    assert_endings_close(tune)
    unit = _unit(tune)
    lines = ["%abc-2.1", *_header(tune, unit), *AbcPage(tune, chords, unit).lines()]
    text = "\n".join(lines) + "\n"
    try:
        (read,) = parse_abc(text)
    except NotationError as error:
        remedy = "Write MusicXML instead."
        raise OutputError(error.what, error.place, remedy) from None
    assert_same(tune, chords, read)
    return text


def _unit(tune: Tune) -> Fraction:
    """Return the commonest of the plain lengths."""
    counted = Counter(note.length for note in tune.notes)
    return max(_UNITS, key=lambda length: counted[length])


def _cut(locks: str) -> list[str]:
    """Return locked chords in lines that no reader cuts off."""
    lines = list[str]()
    for lock in locks.split(", ") if locks else ():
        if lines and len(LOCKED) + len(lines[-1]) + len(lock) < _LONGEST - 2:
            lines[-1] += f", {lock}"
        else:
            lines.append(lock)
    return lines


def _header(tune: Tune, unit: Fraction) -> list[str]:
    fields = ["X:1", format_field("T", format_string(tune.title))]
    for letter, text in (("C", tune.composer), ("O", tune.origin)):
        told = format_string(text)
        # A long one gets a field a part, for readers may cut long fields off.
        parts = [told] if len(told) <= _LONGEST else told.split("; ")
        fields += [format_field(letter, part) for part in parts if told]
    told = tell_locks(tune.locks)
    fields += [format_field("N", f"{LOCKED}{part}") for part in _cut(told)]
    fields.append(f"M:{format_metre(metres(tune)[0])}")
    fields.append(f"L:1/{4 / unit}")
    lines = find_lines(tune.notes, tune.bars)
    if len(tune.phrases) < 2 and (lines[1:] or len(tune.bars) > _SHORT):
        # Otherwise readers would look for lines in the single one that is meant.
        fields.append("I:linebreak <EOL>")
    if tune.tempos and tune.tempos[0].onset == 0:
        fields.append(f"Q:{format_tempo(tune.tempos[0])}")
    return [*fields, f"K:{format_key(tune.key)}"]
