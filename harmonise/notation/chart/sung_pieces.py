"""Words with chords over them, and bars as chords and strokes where nothing is sung.

A piece of words begins where a chord or a syllable does. A chord that begins while a
syllable is held has a piece without text: it stands between that syllable and the next.

"C / F /" is a bar of four beats, two on each chord. Beats are those that are counted:
a bar of 6/8 has two. Chords that share a beat stand in brackets, with a stroke first if
none of them begins it.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from harmonise.notation.chart.chart_lines import ChartStretch
from harmonise.notation.score.printed_labels import clean
from harmonise.theory.tune import Bar, Tune, TuneNote

ChordNames = dict[Fraction, str]
"""Chord symbols by the onsets where they stand."""


class SungPiece(NamedTuple):
    """Text under one chord, or after it.

    Attributes:
        chord: The symbol that begins with the text; "" for none.
        texts: What every verse sings; "" where it holds or rests.
        joins: Whether each verse is inside a word at the end of the piece.
    """

    chord: str
    texts: tuple[str, ...]
    joins: tuple[bool, ...]


def sung_pieces(
    tune: Tune, chords: ChordNames, *, barred: bool = False
) -> dict[Fraction, SungPiece]:
    """Return the pieces of a whole tune by onset, the finest that there are.

    Args:
        tune: The tune.
        chords: The symbols.
        barred: Whether a bar line stands with what begins a bar, for who counts bars.
    """
    if barred:
        lines = {bar.start: BAR_LINE for bar in tune.bars if not bar.offset}
        chords = {
            at: " ".join(part for part in (lines.get(at), chords.get(at)) if part)
            for at in sorted({*lines, *chords})
        }
    sung = {note.onset: note for note in tune.notes if any(note.syllables)}
    joins = [False] * tune.verses
    pieces = {}
    for onset in sorted({*sung, *chords}):
        texts = _texts(sung.get(onset), joins)
        pieces[onset] = SungPiece(chords.get(onset, ""), texts, tuple(joins))
    return pieces


def _texts(note: TuneNote | None, joins: list[bool]) -> tuple[str, ...]:
    """Return what verses sing on a note; `joins` remembers their hyphens."""
    texts = [""] * len(joins)
    for verse, syllable in enumerate(note.syllables if note else ()):
        if syllable and verse < len(joins):
            texts[verse] = clean(syllable.text)
            joins[verse] = syllable.joins
    return tuple(texts)


def pieces_in(
    pieces: dict[Fraction, SungPiece], stretch: ChartStretch
) -> list[SungPiece]:
    """Return the pieces that begin on a line."""
    return [piece for at, piece in pieces.items() if stretch.start <= at < stretch.end]


def sung_verses(pieces: Sequence[SungPiece]) -> list[int]:
    """Return which verses, from 0, have words in some pieces."""
    verses = range(len(pieces[0].texts)) if pieces else range(0)
    return [at for at in verses if any(piece.texts[at] for piece in pieces)]


def with_verses(piece: SungPiece, verses: Sequence[int]) -> SungPiece:
    """Return a piece with some of its verses."""
    return SungPiece(
        piece.chord,
        tuple(piece.texts[at] for at in verses),
        tuple(piece.joins[at] for at in verses),
    )


def word_runs(pieces: Sequence[SungPiece]) -> Iterator[list[SungPiece]]:
    """Yield pieces in runs between which a line may end: where no verse is in a word.

    A chord over a held syllable stays with it.
    """
    run: list[SungPiece] = []
    for piece in pieces:
        # A line that ends inside a word would be sung with a breath there.
        if run and not any(run[-1].joins) and any(piece.texts):
            yield run
            run = []
        run.append(piece)
    if run:
        yield run


def merge(pieces: Sequence[SungPiece]) -> list[SungPiece]:
    """Return pieces joined wherever no chord asks for its own place.

    Verses then run on freely between the chords and need not keep step.
    """
    merged: list[SungPiece] = []
    for piece in pieces:
        if merged and not piece.chord and _goes_on(merged[-1], piece):
            merged[-1] = _joined(merged[-1], piece)
        else:
            merged.append(piece)
    return merged


def _goes_on(piece: SungPiece, after: SungPiece) -> bool:
    """Whether no verse begins to sing only after the chord of the first piece."""
    texts = zip(piece.texts, after.texts, strict=True)
    return all(text or not following for text, following in texts)


def _joined(piece: SungPiece, after: SungPiece) -> SungPiece:
    rows = zip(piece.texts, piece.joins, after.texts, strict=True)
    texts = [
        text + ("" if joins or not following else " ") + following
        for text, joins, following in rows
    ]
    return SungPiece(piece.chord, tuple(texts), after.joins)


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


BAR_LINE = "|"
STROKE = "/"
NO_CHORD = "N.C."
BARS_A_ROW = 4


class BarBeats(NamedTuple):
    """One bar, or the part of it that stands on a line.

    Attributes:
        beats: What is played on each beat.
        held: The chord in force before it; `NO_CHORD` before the first.
        whole: Whether it counts as a bar: a pickup and the second part of a split bar
            do not.
    """

    beats: tuple[str, ...]
    held: str
    whole: bool


def bars_of_line(
    tune: Tune, chords: ChordNames, stretch: ChartStretch
) -> list[BarBeats]:
    """Return the bars that a line of a chart holds.

    Args:
        tune: The tune.
        chords: The symbols, in order.
        stretch: The line; it may begin or end inside a bar.
    """
    before = [name for onset, name in chords.items() if onset <= stretch.start]
    inside = {
        onset: name
        for onset, name in chords.items()
        if stretch.start <= onset < stretch.end
    }
    held = before[-1] if before else NO_CHORD
    bars = []
    for bar in tune.bars:
        start, end = max(bar.start, stretch.start), min(bar.end, stretch.end)
        if start < end:
            begun = {at: name for at, name in inside.items() if start <= at < end}
            beats = _beats(bar, begun, ChartStretch(start, end))
            whole = not bar.offset and start == bar.start
            # Strokes say "the same again": before the first chord there is none.
            alone = not begun and held == NO_CHORD
            bars.append(BarBeats((NO_CHORD,) if alone else beats, held, whole))
            held = [held, *begun.values()][-1]
    return bars


def _beats(bar: Bar, chords: ChordNames, part: ChartStretch) -> tuple[str, ...]:
    """Return what is played on each beat of a bar, or of the part of it."""
    beats = []
    edge = bar.start - bar.offset
    while edge < part.end:
        following = edge + bar.time.beat
        if following > part.start:
            start = max(edge, part.start)
            names = [name for at, name in chords.items() if start <= at < following]
            names = names if start in chords else [STROKE, *names]
            beats.append(names[0] if len(names) == 1 else f"({' '.join(names)})")
        edge = following
    return tuple(beats)


def rows_of_bars(
    bars: Sequence[BarBeats], across: int = BARS_A_ROW
) -> list[tuple[str, ...]]:
    """Return bars as rows of text; a row begins with the chord in force.

    Args:
        bars: The bars.
        across: How many full bars stand in a row.
    """
    rows: list[list[BarBeats]] = [[]]
    for bar in bars:
        if bar.whole and sum(earlier.whole for earlier in rows[-1]) == across:
            rows.append([])
        rows[-1].append(bar)
    return [
        (_text(row[0], opens=True), *(_text(bar, opens=False) for bar in row[1:]))
        for row in rows
        if row
    ]


def _text(bar: BarBeats, *, opens: bool) -> str:
    beats = bar.beats
    # Who looks up at a new row must not look back for the chord.
    if opens and beats[0] == STROKE:
        beats = (bar.held, *beats[1:])
    return " ".join(beats)
