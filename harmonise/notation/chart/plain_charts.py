"""Chord charts in plain text: chords over words, chords bar by bar, and their reasons.

The chart with words is meant for letters of one width: a chord stands over the syllable
that it begins on. The guitar sheet is the same with the shapes that the hand plays.
Lines of more than 72 columns go on in the next row, at the end of a word; what is
between square brackets is not sung. The plain chart has one row a line of the tune, one
cell a bar; the account tells each chord with its reason.
"""

import unicodedata
from bisect import bisect_left
from collections.abc import Sequence
from enum import Enum
from itertools import accumulate

from harmonise.notation.chart.chart_lines import (
    ChartSign,
    ChartStretch,
    Namer,
    chart_heading,
    chart_lines,
)
from harmonise.notation.chart.sung_pieces import (
    BARS_A_ROW,
    NO_CHORD,
    STROKE,
    ChordNames,
    SungPiece,
    bars_of_line,
    merge,
    pieces_in,
    rows_of_bars,
    sung_pieces,
    sung_verses,
    verse_labels,
    with_verses,
    word_runs,
)
from harmonise.notation.score.printed_labels import printed_slots
from harmonise.theory.arrangement import Arrangement, Slot
from harmonise.theory.transposing import Capo, shape_chord
from harmonise.theory.tune import Bar, Tune

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
    made = [heading.composer, heading.origin]
    head = [heading.title, *made, "   ".join(heading.facts), *heading.capo]
    tune = arrangement.tune
    writer = _WordsChartWriter(tune, chord_names(arrangement, capo), barred=bool(capo))
    text = "\n".join(row for text in head if text for row in _fold(text))
    before: _Kind = _Kind.SUNG
    for line in chart_lines(tune, capo):
        now = writer.kind(line)
        rows = [f"[{line.text}]"] if isinstance(line, ChartSign) else writer.rows(line)
        text += ("\n" if (before, now) in _CLOSE else "\n\n") + "\n".join(rows)
        before = now
    explained = legends([row for row in text.splitlines() if row.startswith("| ")])
    return "\n\n".join([text, "\n".join(explained)]) if explained else text


def chord_names(
    arrangement: Arrangement, capo: Capo | None, name: Namer = str
) -> ChordNames:
    """Return the symbols of a chart by onset, as shapes if there is a capo."""
    return {
        slot.onset: name(shape_chord(slot.chord, capo) if capo else slot.chord)
        for slot in printed_slots(arrangement, lines=())
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


class _WordsChartWriter:
    """Writes the lines of one tune."""

    def __init__(self, tune: Tune, chords: ChordNames, *, barred: bool) -> None:
        self._tune, self._chords = tune, chords
        self._pieces = sung_pieces(tune, chords, barred=barred)

    def kind(self, line: ChartSign | ChartStretch) -> _Kind:
        """Return what stands on a line."""
        if isinstance(line, ChartSign):
            return _Kind.CLOSES if line.closing else _Kind.OPENS
        sung = sung_verses(pieces_in(self._pieces, line))
        return _Kind.SUNG if sung else _Kind.BARS

    def rows(self, stretch: ChartStretch) -> list[str]:
        """Return a line with its chords, as words or as bars."""
        pieces = pieces_in(self._pieces, stretch)
        return self._sung(pieces) if sung_verses(pieces) else self._bars(stretch)

    def _bars(self, stretch: ChartStretch) -> list[str]:
        """Return a line as bars, in as few rows as their widths allow."""
        bars = bars_of_line(self._tune, self._chords, stretch)
        for across in (BARS_A_ROW, 2, 1):
            cells = rows_of_bars(bars, across)
            width = max(_CELL, *(_width(cell) for row in cells for cell in row))
            rows = [_row_of([_pad(cell, width) for cell in row]) for row in cells]
            if max(map(_width, rows)) <= COLUMNS:
                return rows
        # No bars side by side fit: each row is as long as it is, and folded.
        rows = [_row_of(row) for row in rows_of_bars(bars, 1)]
        return [folded for row in rows for folded in _fold(row)]

    def _sung(self, pieces: Sequence[SungPiece]) -> list[str]:
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
            rows += [f"{label}{text}" for label, text in named if text]
            labels = tuple(" " * len(label) for label in labels)
        return rows


def _row_of(cells: Sequence[str]) -> str:
    return f"| {' | '.join(cells)} |"


def _wrapped(runs: Sequence[list[SungPiece]], room: int) -> list[list[SungPiece]]:
    """Return runs in rows: as few as can be, and those as even as can be."""
    fine = [
        part
        for run in runs
        for part in ([run] if _row_width(run) <= room else [[piece] for piece in run])
    ]
    best = _filled(fine, room)
    narrow = min(
        room, _row_width([piece for run in fine for piece in run]) // len(best)
    )
    for limit in range(narrow, room):
        rows = _filled(fine, limit)
        if len(rows) == len(best):
            return rows
    return best


def _filled(runs: Sequence[list[SungPiece]], room: int) -> list[list[SungPiece]]:
    """Return runs in rows, each filled before the next begins."""
    rows: list[list[SungPiece]] = [[]]
    for run in runs:
        if rows[-1] and _row_width([*rows[-1], *run]) > room:
            rows.append([])
        rows[-1] += run
    return rows


def _row_width(pieces: Sequence[SungPiece]) -> int:
    return max(map(_width, _lay_out(pieces)))


def _lay_out(pieces: Sequence[SungPiece]) -> list[str]:
    """Return a row of chords and, below it, a row for every verse."""
    merged = merge(pieces)
    edges = list(accumulate(map(_piece_width, merged), initial=0))
    chords = ""
    for piece, edge in zip(merged, edges, strict=False):
        chords = _pad(chords, edge) + piece.chord if piece.chord else chords
    verses = range(len(merged[0].texts))
    return [chords, *(_verse(merged, edges, verse) for verse in verses)]


def _piece_width(piece: SungPiece) -> int:
    """Return the columns of a piece, with a blank before the next word or chord."""
    widths = [
        _width(text) + (not joins)
        for text, joins in zip(piece.texts, piece.joins, strict=True)
        if text
    ]
    return max([_width(piece.chord) + 1 if piece.chord else 0, *widths])


def _verse(pieces: Sequence[SungPiece], edges: Sequence[int], verse: int) -> str:
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


def format_chart(arrangement: Arrangement, *, numerals: bool = False) -> str:
    """Return the chords bar by bar; a dash holds the chord before.

    A locked chord that clashes with its tune note is marked with "!".

    Args:
        arrangement: What was arranged.
        numerals: Whether Roman numerals stand in place of chord symbols.

    Returns:
        Rows of at most four bars, the number of the first bar in front, without a
        line end after the last.
    """
    write = _ChartWriter(arrangement, numerals=numerals)
    bars = write.whole_bars()
    cells = [write.cell(parts) for parts in bars]
    width = max(map(len, cells), default=1)
    digits = len(str(bars[-1][0].number)) if bars else 1
    rows = []
    for first in range(0, len(cells), BARS_A_ROW):
        beside = cells[first : first + BARS_A_ROW]
        row = " | ".join(cell.ljust(width) for cell in beside)
        rows.append(f"{bars[first][0].number:>{digits}}  {row.rstrip()} |")
    return "\n".join(rows)


class _ChartWriter:
    """Writes the cells of an arrangement."""

    def __init__(self, arrangement: Arrangement, *, numerals: bool) -> None:
        self._slots = [slot for slot in arrangement.slots if slot.chord]
        self._onsets = [slot.onset for slot in self._slots]
        self._tune, self._numerals = arrangement.tune, numerals
        self._changes = {slot.onset for slot in arrangement.changes}
        self._clashes = {r.place for r in arrangement.remarks if r.code == "E18"}

    def _inside(self, bar: Bar) -> list[Slot]:
        """Return the slots with a chord that begin in a bar."""
        first = bisect_left(self._onsets, bar.start)
        return self._slots[first : bisect_left(self._onsets, bar.end, lo=first)]

    def whole_bars(self) -> list[list[Bar]]:
        """Return the bars, split ones as one; no pickup without chords."""
        whole: list[list[Bar]] = []
        for bar in self._tune.bars:
            if bar.number == 0 and not self._inside(bar):
                continue
            if whole and bar.offset and whole[-1][-1].number == bar.number:
                whole[-1].append(bar)
            else:
                whole.append([bar])
        return whole

    def cell(self, bars: list[Bar]) -> str:
        """Return the chords of a bar; a dash holds the one before."""
        words = []
        for slot in (slot for bar in bars for slot in self._inside(bar)):
            name = slot.numeral if self._numerals else str(slot.chord)
            word = name if slot.onset in self._changes else "-"
            words.append(f"{word}!" if slot.place in self._clashes else word)
        while len(words) > 1 and words[-1] == "-":
            words.pop()
        return " ".join(words) if words else "-"


def format_account(arrangement: Arrangement) -> str:
    """Return one line for each chord slot, and one for each other good chord.

    Args:
        arrangement: What was arranged.

    Returns:
        Lines such as "Bar 2, beat 1: F (IV). Tune A (6): of C, F and G only F has an
        A.", without a line end after the last.
    """
    lines = []
    for slot in arrangement.slots:
        place, reason = str(slot.place), slot.reason
        if slot.chord:
            reason = f"{reason[:1].upper()}{reason[1:]}"
            reason = f"{slot.chord} ({slot.numeral}). {reason}"
        lines.append(f"{place[:1].upper()}{place[1:]}: {reason}")
        lines += [
            f"    Also good: {other.chord} ({other.numeral}). {other.reason}"
            for other in slot.alternatives
            if slot.chord
        ]
    return "\n".join(lines)
