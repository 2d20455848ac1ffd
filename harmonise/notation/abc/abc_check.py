"""Bar lines, endings and metres as ABC writes them.

Source: ABC 2.1, sections 3.1.6, 4.8 to 4.10.

What we promise of ABC that we write: read again, it is the same tune.

The tune is compared as ABC can say it: rests side by side are one, bars are numbered
anew, double bars beside repeat signs and at the end say nothing.
"""

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from harmonise.errors import OutputError, Place
from harmonise.notation.abc.abc_words import plain_text
from harmonise.notation.abc.bars import free_time
from harmonise.theory.metre import TimeSignature
from harmonise.theory.tune import (
    Bar,
    ChordAt,
    KeyChange,
    Syllable,
    Tempo,
    Tune,
    TuneNote,
)

_LARGEST = 64
"""Numbers of a metre that readers of ABC need to know."""


def is_section(bar: Bar, after: Bar | None) -> bool:
    """Whether a section ends with a bar: at a repeat sign, a double bar or the end."""
    starts = after is None or after.repeat_start
    return bar.repeat_end > 1 or bar.double or starts


def has_sections(tune: Tune) -> bool:
    """Whether a section ends before the end of a tune."""
    return any(is_section(bar, after) for bar, after in pairwise(tune.bars))


def closing(bar: Bar, after: Bar | None, *, ends_line: bool) -> str:
    """Return the bar line after a bar; "" where none is seen.

    Args:
        bar: The bar.
        after: The next bar; None after the last.
        ends_line: Whether a line of music ends with it.
    """
    if bar.repeat_end > 1:
        return ":" * (bar.repeat_end - 1) + "|"
    if after is None:
        return "|]"
    if after.repeat_start:
        return "|" if ends_line else ""
    if bar.double:
        return "||"
    if is_split(bar, after):
        return "" if opens_ending(bar, after) else ".|"
    return "|"


def is_split(bar: Bar, after: Bar) -> bool:
    """Whether the next bar is the rest of the same bar."""
    return after.number == bar.number and after.offset == bar.offset + bar.length


def opening(before: Bar | None, bar: Bar) -> list[str]:
    """Return the signs at the beginning of a bar: a repeat, an ending."""
    words = ["|:"] if bar.repeat_start else []
    if opens_ending(before, bar):
        words.append(f"[{','.join(map(str, bar.ending))}")
    return words


def opens_ending(before: Bar | None, bar: Bar) -> bool:
    """Whether the bracket of an ending begins with a bar."""
    if not bar.ending:
        return False
    goes_on = before is not None and before.ending == bar.ending
    return before is None or not goes_on or is_section(before, bar)


def assert_endings_close(tune: Tune) -> None:
    """Do nothing if every ending stops where ABC lets it stop.

    Raises:
        OutputError: If one stops before a plain bar line.
    """
    for bar, after in pairwise(tune.bars):
        goes_on = not bar.ending or after.ending or after.section
        if not (goes_on or is_section(bar, after)):
            raise OutputError(
                "ABC cannot end an ending before a plain bar line.",
                Place(bar.number),
                "Put a double bar or a repeat sign there.",
            )


def metres(tune: Tune) -> list[TimeSignature | None]:
    """Return the metre of each bar; None for free metre.

    Bars that hold what no metre of ABC can name are in free metre, together with all
    others that it reads the same.
    """
    free = not all(_is_sayable(bar.time) for bar in tune.bars)
    return [
        None if free and bar.time == free_time(bar.length) else bar.time
        for bar in tune.bars
    ]


def _is_sayable(time: TimeSignature) -> bool:
    return max(time.beats, time.beat_type) <= _LARGEST


def format_metre(time: TimeSignature | None) -> str:
    """Return a metre as an `M:` field names it.

    >>> format_metre(TimeSignature(5, 4, (3, 2))), format_metre(None)
    ('(3+2)/4', 'none')
    """
    if time is None:
        return "none"
    if time.groups:
        return f"({'+'.join(map(str, time.groups))})/{time.beat_type}"
    return str(time)


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
    facts += [
        _Fact(onset, "the end of a phrase", None) for onset in {*tune.phrases, tune.end}
    ]
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
