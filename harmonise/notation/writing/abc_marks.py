"""What stands over the notes of ABC: chord symbols, jumps, tempos, labels.

Source: ABC 2.1, sections 3.1.8, 3.1.9, 4.14, 4.18, 4.19.
"""

from collections import defaultdict
from collections.abc import Sequence
from fractions import Fraction

from harmonise.errors import OutputError
from harmonise.notation.reading.abc_symbols import read_symbol, sign_of
from harmonise.notation.writing.abc_strings import INLINE, QUOTED, format_string
from harmonise.theory.tune import ChordAt, Tempo, Tune

_NO_CHORD = "N.C."
_DECORATIONS = {
    "Fine": "!fine!",
    "D.C.": "!D.C.!",
    "D.S.": "!D.S.!",
    "To Coda": "!dacoda!",
    "Segno": "!segno!",
    "Coda": "!coda!",
}


def place_chords(tune: Tune, chords: Sequence[ChordAt]) -> dict[Fraction, str]:
    """Return the chord symbols in quotes by onset; "N.C." where none holds any more.

    Raises:
        OutputError: If two chords sound at once, or ABC does not know one.
    """
    found: dict[Fraction, str] = {}
    end = Fraction(0)
    for at in chords:
        if at.onset < end:
            raise OutputError(
                f"{at.chord} begins under another chord.",
                tune.place(at.onset),
                "Write one chord at a time.",
            )
        if read_symbol(at.chord.symbol) != (at.chord, ""):
            raise OutputError(
                f"ABC has no chord symbol for {at.chord}.",
                tune.place(at.onset),
                "Write MusicXML instead.",
            )
        if found and end < at.onset:
            found[end] = f'"{_NO_CHORD}"'
        found[at.onset] = f'"{at.chord.symbol}"'
        end = at.end
    if found and end < tune.end:
        found[end] = f'"{_NO_CHORD}"'
    return found


def place_jumps(
    tune: Tune,
) -> tuple[dict[Fraction, list[str]], dict[Fraction, list[str]]]:
    """Return signs over first notes of bars, and jumps over bar lines, by onset."""
    starts = {bar.start for bar in tune.bars}
    over_notes: dict[Fraction, list[str]] = defaultdict(list)
    over_lines: dict[Fraction, list[str]] = defaultdict(list)
    for onset, words in tune.end_text:
        over_note = sign_of(words.lower()) and onset in starts
        (over_notes if over_note else over_lines)[onset].append(_jump(words))
    return over_notes, over_lines


def _jump(words: str) -> str:
    return _DECORATIONS.get(words) or f'"^{format_string(words, QUOTED)}"'


def format_tempo(tempo: Tempo) -> str:
    """Return a tempo as a `Q:` field gives it.

    >>> format_tempo(Tempo(Fraction(0), Fraction(96), Fraction(3, 2), "Slowly"))
    '"Slowly" 3/8=96'
    """
    beat = tempo.beat / 4
    number = f"{float(tempo.per_minute):.3f}".rstrip("0").rstrip(".")
    words = format_string(tempo.words, QUOTED + INLINE)
    shown = f'"{words}" ' if words else ""
    return f"{shown}{beat.numerator}/{beat.denominator}={number}"
