"""Tunes typed for the tests of lead sheet, chord chart and guitar sheet."""

from pathlib import Path

from harmonise import arrange, read_tune
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import Arrangement, Style

TUNES = sorted((Path(__file__).parents[2] / "tunes").glob("*.txt"))

TWO_VERSES = """\
Title: The Long Road
Key: Eb
Time: 4/4
Tempo: 100
Bb3 | Eb Eb.F G G | Ab - G F | Eb F G C | Bb3 - - Bb3 |
Words: O come with me_ the long way round a-cross the hills home, and
Words: The eve-ning falls_ and bells will sound, no need to walk_ a-
Chords: | Eb Ab | Ab Eb | Cm Fm7 | Bb7
C Eb G F | Eb - Eb - | Eb.F.G.Ab Bb.G Eb.F G.F | Eb - - - |
Words: sing as we go. Home, home, ne-ver a-gain shall we wan-der a-lone, dear.
Chords: ? | Eb Ab | ? ? Ab Bb7 | Eb
"""
"""Own words: unlike verses, chords on held syllables, a broken-off word, a refrain."""


def typed(text: str, **style: object) -> Arrangement:
    """Return a typed tune, arranged."""
    return arrange(parse_tune_text(text)[0], Style(**style))  # type: ignore[arg-type]


def arranged(name: str) -> Arrangement:
    """Return one of the tunes in `tunes`, arranged."""
    return arrange(read_tune(next(path for path in TUNES if path.stem == name)))
