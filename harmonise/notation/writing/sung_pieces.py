"""Words with chords over them: pieces of text, each with the chord that begins on it.

A piece begins where a chord or a syllable does. A chord that begins while a syllable is
held has a piece without text: it stands between that syllable and the next.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.writing.chart_lines import Stretch
from harmonise.notation.writing.xml_text import clean
from harmonise.theory.tune import Tune, TuneNote

ChordNames = dict[Fraction, str]
"""Chord symbols by the onsets where they stand."""


class Piece(NamedTuple):
    """Text under one chord, or after it.

    Attributes:
        chord: The symbol that begins with the text; "" for none.
        texts: What every verse sings; "" where it holds or rests.
        joins: Whether each verse is inside a word at the end of the piece.
    """

    chord: str
    texts: tuple[str, ...]
    joins: tuple[bool, ...]


def sung_pieces(tune: Tune, chords: ChordNames) -> dict[Fraction, Piece]:
    """Return the pieces of a whole tune by onset, the finest that there are.

    Args:
        tune: The tune.
        chords: The symbols.
    """
    sung = {note.onset: note for note in tune.notes if any(note.syllables)}
    joins = [False] * tune.verses
    pieces = {}
    for onset in sorted({*sung, *chords}):
        texts = _texts(sung.get(onset), joins)
        pieces[onset] = Piece(chords.get(onset, ""), texts, tuple(joins))
    return pieces


def _texts(note: TuneNote | None, joins: list[bool]) -> tuple[str, ...]:
    """Return what verses sing on a note; `joins` remembers their hyphens."""
    texts = [""] * len(joins)
    for verse, syllable in enumerate(note.syllables if note else ()):
        if syllable and verse < len(joins):
            texts[verse] = clean(syllable.text)
            joins[verse] = syllable.joins
    return tuple(texts)


def pieces_in(pieces: dict[Fraction, Piece], stretch: Stretch) -> list[Piece]:
    """Return the pieces that begin on a line."""
    return [own for at, own in pieces.items() if stretch.start <= at < stretch.end]


def sung_verses(pieces: Sequence[Piece]) -> list[int]:
    """Return which verses, from 0, have words in some pieces."""
    verses = range(len(pieces[0].texts)) if pieces else range(0)
    return [at for at in verses if any(piece.texts[at] for piece in pieces)]


def with_verses(piece: Piece, verses: Sequence[int]) -> Piece:
    """Return a piece with some of its verses."""
    return Piece(
        piece.chord,
        tuple(piece.texts[at] for at in verses),
        tuple(piece.joins[at] for at in verses),
    )


def word_runs(pieces: Sequence[Piece]) -> Iterator[list[Piece]]:
    """Yield pieces in runs between which a line may end: where no verse is in a word.

    A chord over a held syllable stays with it.
    """
    run: list[Piece] = []
    for piece in pieces:
        if run and not any(run[-1].joins) and any(piece.texts):
            yield run
            run = []
        run.append(piece)
    if run:
        yield run


def merge(pieces: Sequence[Piece]) -> list[Piece]:
    """Return pieces joined wherever no chord asks for its own place.

    Verses then run on freely between the chords and need not keep step.
    """
    merged: list[Piece] = []
    for piece in pieces:
        if merged and not piece.chord and _goes_on(merged[-1], piece):
            merged[-1] = _joined(merged[-1], piece)
        else:
            merged.append(piece)
    return merged


def _goes_on(piece: Piece, after: Piece) -> bool:
    """Whether no verse begins to sing only after the chord of the first piece."""
    texts = zip(piece.texts, after.texts, strict=True)
    return all(text or not following for text, following in texts)


def _joined(piece: Piece, after: Piece) -> Piece:
    rows = zip(piece.texts, piece.joins, after.texts, strict=True)
    texts = [
        text + ("" if joins or not following else " ") + following
        for text, joins, following in rows
    ]
    return Piece(piece.chord, tuple(texts), after.joins)


def verse_labels(verses: Sequence[int], count: int) -> tuple[str, ...]:
    """Return the numbers that stand before the verses of a line.

    Args:
        verses: Which verses have words there, from 0.
        count: How many verses the tune has. A line that the first verse alone has is
            sung by all, as a refrain is, and has no number.
    """
    if count < 2 or list(verses) == [0]:
        return ("",) * len(verses)
    return tuple(f"{verse + 1}. " for verse in verses)
