r"""A tune as ABC 2.1, so that reading it again gives the same tune.

A line of music is a phrase. What comes back otherwise than it was: a rest is cut at bar
lines and where chords change; bars are numbered anew; a phrase ends at every double bar
and repeat sign; a guessed key is simply the key. All else that ABC cannot say is
refused: the finished text is read again, and the first difference names its place.

    strings    text fields           pieces     notes cut and tied, tuplets
    pitches    accidentals, keys     bar_lines  repeats, endings, metres
    marks      chords, jumps, tempos words      verses
    page       lines of music        check      read again

Source: the ABC music standard 2.1 (December 2011, corrected 2013).
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from harmonise.errors import NotationError, OutputError
from harmonise.notation.reading.abc import parse_abc
from harmonise.notation.writing.abc_bar_lines import (
    assert_endings_close,
    format_metre,
    metres,
)
from harmonise.notation.writing.abc_check import assert_same
from harmonise.notation.writing.abc_marks import format_tempo
from harmonise.notation.writing.abc_page import Page
from harmonise.notation.writing.abc_pitches import format_key
from harmonise.notation.writing.abc_strings import format_field, format_string
from harmonise.theory.tune import ChordAt, Tune

_UNITS = (Fraction(1, 2), Fraction(1), Fraction(1, 4))
"""Lengths, in crotchets, that a bare letter may stand for; the first by default."""
_LONGEST = 200


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
    lines = ["%abc-2.1", *_header(tune, unit), *Page(tune, chords, unit).lines()]
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


def _header(tune: Tune, unit: Fraction) -> list[str]:
    fields = ["X:1", format_field("T", format_string(tune.title))]
    fields += [format_field("O", text) for text in _origins(format_string(tune.origin))]
    fields.append(f"M:{format_metre(metres(tune)[0])}")
    fields.append(f"L:1/{4 / unit}")
    if tune.tempos and tune.tempos[0].onset == 0:
        fields.append(f"Q:{format_tempo(tune.tempos[0])}")
    return [*fields, f"K:{format_key(tune.key)}"]


def _origins(text: str) -> list[str]:
    """Return an origin in one field or, if it is long, a field a part."""
    if len(text) <= _LONGEST:
        return [text] if text else []
    return text.split("; ")
