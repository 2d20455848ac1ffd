"""Small tunes for left-hand patterns, and what the left hand plays, as text."""

from itertools import groupby

from harmonise.arranging.job import arrange
from harmonise.notation.tune_text.tune_text import parse_tune_text
from harmonise.theory.arrangement import (
    Arrangement,
    Hand,
    HarmonicRhythm,
    LeftHand,
    SoundingNote,
    Style,
)
from harmonise.theory.tune import Tune


def tune_of(body: str, *heads: str, key: str = "C") -> Tune:
    """Return a tune that is typed in a key, its further head lines as given."""
    return parse_tune_text("\n".join([f"Key: {key}", *heads, body]))[0]


def left(done: Arrangement) -> list[SoundingNote]:
    """Return the notes of the left hand."""
    return [note for note in done.notes if note.hand is Hand.LEFT]


def typed(done: Arrangement, *bars: int) -> str:
    """Return the left hand of some bars: "C3:1 E3+G3:1", a length after each onset."""
    inside = [n for n in left(done) if done.tune.bar_at(n.onset).number in bars]
    groups = groupby(inside, key=lambda note: note.onset)
    rows = [list(struck) for _, struck in groups]
    return " ".join(f"{'+'.join(str(n.pitch) for n in r)}:{r[0].length}" for r in rows)


def plays(
    tune: Tune,
    pattern: LeftHand,
    *bars: int,
    rhythm: HarmonicRhythm = HarmonicRhythm.BAR,
) -> str:
    """Return what a pattern plays in some bars at level 1."""
    style = Style(1, rhythm, left_hand=pattern)
    return typed(arrange(tune, style, explained=False), *bars)


FOUR = tune_of("E5 - G5 - | D5 - G5 - | E5 - G5 - | C5 - - -")
THREE = tune_of("E5 G5 E5 | D5 G5 D5 | E5 G5 E5 | C5 - -", "Time: 3/4")
TWO = tune_of("E5 G5 | D5 G5 | E5 G5 | C5 -", "Time: 2/4")
SIX = tune_of(
    "E5 - - G5 - - | D5 - - G5 - - | E5 - - G5 - - | C5 - - - - -", "Time: 6/8"
)
