"""The chord chart with words, in plain text: chords over the syllables they begin on.

It is meant for letters of one width. The guitar sheet is the same with the shapes that
the hand plays. Lines of more than 72 columns go on in the next row, at the end of a
word; what is between square brackets is not sung.
"""

import unicodedata
from collections.abc import Sequence
from enum import Enum
from itertools import accumulate

from harmonise.notation.writing.bar_beats import (
    BARS_A_ROW,
    NO_CHORD,
    STROKE,
    bars_of_line,
    rows_of_bars,
)
from harmonise.notation.writing.chart_heading import Namer, chart_heading
from harmonise.notation.writing.chart_lines import Sign, Stretch, chart_lines
from harmonise.notation.writing.chord_marks import printed_slots
from harmonise.notation.writing.sung_pieces import (
    ChordNames,
    Piece,
    merge,
    pieces_in,
    sung_pieces,
    sung_verses,
    verse_labels,
    with_verses,
    word_runs,
)
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.capo import Capo, shape_chord
from harmonise.theory.tune import Tune

COLUMNS = 72
_CELL = 7
"""Least width of a bar of chords: "C / / /"."""
LEGENDS = {
    STROKE: "Each / is one more beat of the same chord.",
    NO_CHORD: "N.C.: no chord.",
}


class _Kind(Enum):
    """What stands on a line."""

    SUNG = "sung"
    BARS = "bars"
    OPENS = "opens"
    CLOSES = "closes"


_CLOSE = {
    (_Kind.SUNG, _Kind.CLOSES),
    (_Kind.BARS, _Kind.CLOSES),
    (_Kind.CLOSES, _Kind.CLOSES),
    (_Kind.OPENS, _Kind.OPENS),
    (_Kind.OPENS, _Kind.SUNG),
    (_Kind.OPENS, _Kind.BARS),
    (_Kind.BARS, _Kind.BARS),
}
"""Lines that follow one another without an empty one between."""


def format_words_chart(arrangement: Arrangement, capo: Capo | None = None) -> str:
    """Return the chords of an arrangement over its words, or bar by bar without words.

    Args:
        arrangement: What was arranged.
        capo: The guitarist's capo, one of `capo_choices`; None if the piano's chords
            are shown.

    Returns:
        Lines of at most 72 columns, without a line end after the last.

    Raises:
        OutputError: If the capo is one for another key.
    """
    heading = chart_heading(arrangement, capo)
    head = [heading.title, heading.origin, "   ".join(heading.facts), *heading.capo]
    tune = arrangement.tune
    writer = _Writer(tune, chord_names(arrangement, capo))
    text = "\n".join(row for text in head if text for row in _fold(text))
    before: _Kind = _Kind.SUNG
    for line in chart_lines(tune, capo):
        now = writer.kind(line)
        rows = [f"[{line.text}]"] if isinstance(line, Sign) else writer.rows(line)
        text += ("\n" if (before, now) in _CLOSE else "\n\n") + "\n".join(rows)
        before = now
    told = legends([row for row in text.splitlines() if row.startswith("| ")])
    return "\n\n".join([text, "\n".join(told)]) if told else text


def chord_names(
    arrangement: Arrangement, capo: Capo | None, name: Namer = str
) -> ChordNames:
    """Return the symbols of a chart by onset, as shapes if there is a capo."""
    return {
        slot.onset: name(shape_chord(slot.chord, capo) if capo else slot.chord)
        for slot in printed_slots(arrangement)
        if slot.chord
    }


def legends(texts: Sequence[str]) -> list[str]:
    """Return what explains the signs that stand in bars."""
    used = {sign for text in texts for sign in text.replace("(", " ").split()}
    return [legend for sign, legend in LEGENDS.items() if sign in used]


def _fold(text: str) -> list[str]:
    """Return a heading in rows that are not too wide."""
    rows = [""]
    for word in text.split(" "):
        longer = f"{rows[-1]} {word}" if rows[-1] else word
        if rows[-1] and _width(longer) > COLUMNS:
            rows.append(word)
        else:
            rows[-1] = longer
    return rows


class _Writer:
    """Writes the lines of one tune."""

    def __init__(self, tune: Tune, chords: ChordNames) -> None:
        self._tune, self._chords = tune, chords
        self._pieces = sung_pieces(tune, chords)

    def kind(self, line: Sign | Stretch) -> _Kind:
        """Return what stands on a line."""
        if isinstance(line, Sign):
            return _Kind.CLOSES if line.closing else _Kind.OPENS
        sung = sung_verses(pieces_in(self._pieces, line))
        return _Kind.SUNG if sung else _Kind.BARS

    def rows(self, stretch: Stretch) -> list[str]:
        """Return a line with its chords, as words or as bars."""
        pieces = pieces_in(self._pieces, stretch)
        return self._sung(pieces) if sung_verses(pieces) else self._bars(stretch)

    def _bars(self, stretch: Stretch) -> list[str]:
        """Return a line as bars, in as few rows as their widths allow."""
        bars = bars_of_line(self._tune, self._chords, stretch)
        for across in (BARS_A_ROW, 2, 1):
            cells = rows_of_bars(bars, across)
            width = max(_CELL, *(_width(cell) for row in cells for cell in row))
            rows = [_row_of([_pad(own, width) for own in row]) for row in cells]
            if max(map(_width, rows)) <= COLUMNS:
                return rows
        # No bars side by side fit: each row is as long as it is, and folded.
        rows = [_row_of(row) for row in rows_of_bars(bars, 1)]
        return [folded for row in rows for folded in _fold(row)]

    def _sung(self, pieces: Sequence[Piece]) -> list[str]:
        """Return a line of words with its chords, verses below one another."""
        verses = sung_verses(pieces)
        labels = verse_labels(verses, self._tune.verses)
        runs = list(word_runs([with_verses(piece, verses) for piece in pieces]))
        rows: list[str] = []
        for part in _wrapped(runs, COLUMNS - max(map(len, labels))):
            blank = " " * len(labels[0])
            chords, *words = _lay_out(part)
            rows += [f"{blank}{chords}"] if chords else []
            named = zip(labels, words, strict=True)
            rows += [f"{label}{own}" for label, own in named if own]
            labels = tuple(" " * len(label) for label in labels)
        return rows


def _row_of(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _wrapped(runs: Sequence[list[Piece]], room: int) -> list[list[Piece]]:
    """Return runs in rows: as few as can be, and those as even as can be."""
    fine = [
        part
        for run in runs
        for part in ([run] if _row_width(run) <= room else [[own] for own in run])
    ]
    best = _filled(fine, room)
    narrow = min(room, _row_width([own for run in fine for own in run]) // len(best))
    for limit in range(narrow, room):
        rows = _filled(fine, limit)
        if len(rows) == len(best):
            return rows
    return best


def _filled(runs: Sequence[list[Piece]], room: int) -> list[list[Piece]]:
    """Return runs in rows, each filled before the next begins."""
    rows: list[list[Piece]] = [[]]
    for run in runs:
        if rows[-1] and _row_width([*rows[-1], *run]) > room:
            rows.append([])
        rows[-1] += run
    return rows


def _row_width(pieces: Sequence[Piece]) -> int:
    return max(map(_width, _lay_out(pieces)))


def _lay_out(pieces: Sequence[Piece]) -> list[str]:
    """Return a row of chords and, below it, a row for every verse."""
    merged = merge(pieces)
    edges = list(accumulate(map(_piece_width, merged), initial=0))
    chords = ""
    for piece, edge in zip(merged, edges, strict=False):
        chords = _pad(chords, edge) + piece.chord if piece.chord else chords
    verses = range(len(merged[0].texts))
    return [chords, *(_verse(merged, edges, verse) for verse in verses)]


def _piece_width(piece: Piece) -> int:
    """Return the columns of a piece, with a blank before the next word or chord."""
    widths = [
        _width(text) + (not joins)
        for text, joins in zip(piece.texts, piece.joins, strict=True)
        if text
    ]
    return max([_width(piece.chord) + 1 if piece.chord else 0, *widths])


def _verse(pieces: Sequence[Piece], edges: Sequence[int], verse: int) -> str:
    """Return a verse; a word that its chords pull apart gets a hyphen."""
    row, joined = "", False
    for piece, edge in zip(pieces, edges, strict=False):
        text = piece.texts[verse]
        if not text:
            continue
        gap = edge - _width(row)
        row += ("-" if joined and gap else "").center(gap) + text
        joined = piece.joins[verse]
    return f"{row}-" if joined else row


def _width(text: str) -> int:
    """Return the columns that a text takes where all letters have one width."""
    return sum(
        2 if unicodedata.east_asian_width(letter) in "WF" else 1
        for letter in text
        if not unicodedata.combining(letter)
    )


def _pad(text: str, width: int) -> str:
    return text + " " * (width - _width(text))
