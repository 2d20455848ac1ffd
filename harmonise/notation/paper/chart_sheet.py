"""The printed chord chart and guitar sheet: chords over words, or bar by bar.

They say what `format_words_chart` says in plain text, in letters of their own widths;
a long line is broken between words where the page ends.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, groupby

from harmonise.notation.chart.chart_lines import (
    REPEAT,
    ChartSign,
    ChartStretch,
    chart_heading,
    chart_lines,
    is_sung,
    repeat_signs,
)
from harmonise.notation.chart.plain_charts import chord_names, legends
from harmonise.notation.chart.sung_pieces import (
    BAR_LINE,
    BARS_A_ROW,
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
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    Bars,
    Block,
    Lettering,
    Page,
    Space,
    Sung,
    Title,
    Words,
)
from harmonise.notation.score.printed_labels import format_symbol
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.transposing import Capo
from harmonise.theory.tune import Tune

_PART = 0.6
"""Width of a pickup or another part of a bar, as a part of a full one."""
_ABOVE = 2
"""Millimetres more above what opens a part."""
_RUN = 28
"""Letters of a verse that several verses may keep together on one line."""
_LONGEST_RUN = 40
"""Letters that fit on every page; a longer run is broken inside a word."""
_WIDEST = 14
"""Letters in the widest bar of which four fit in a row."""


def chart_blocks(
    arrangement: Arrangement, page: Page = A4_PAGE, capo: Capo | None = None
) -> tuple[Block, ...]:
    """Return the chord chart or guitar sheet of an arrangement as blocks.

    Args:
        arrangement: What was arranged.
        page: The page that the blocks will be set on.
        capo: The guitarist's capo, one of `capo_choices`; None if the piano's chords
            are shown.

    Raises:
        OutputError: If the capo is one for another key.
    """
    heading = chart_heading(arrangement, capo, format_symbol)
    chords = chord_names(arrangement, capo, format_symbol)
    body = _together(_body(arrangement.tune, chords, capo, page))
    texts = [
        text
        for block in body
        if isinstance(block, Bars)
        for row in block.rows
        for text, _ in row
    ]
    explained = [Words(legend, Lettering.SMALL) for legend in legends(texts)]
    facts = Words(" \N{EM SPACE}".join(heading.facts), keep=True)
    manners = (Lettering.HEADING, Lettering.BOLD, Lettering.PLAIN)
    capos = (
        Words(text, manner, keep=True)
        for text, manner in zip(heading.capo, manners, strict=False)
    )
    title = Title(heading.title, heading.origin, heading.composer)
    return (title, facts, *capos, *body, *explained)


def _together(blocks: Iterator[Block]) -> list[Block]:
    """Return blocks with bars that follow each other in one block."""
    joined: list[Block] = []
    for width, run in groupby(blocks, lambda block: getattr(block, "across", 0)):
        if width:
            rows = (block.rows for block in run if isinstance(block, Bars))
            joined.append(Bars(tuple(_filled(chain(*rows), width)), width))
        else:
            joined += run
    return joined


def _filled(
    rows: Iterable[tuple[tuple[str, float], ...]], across: int
) -> list[tuple[tuple[str, float], ...]]:
    """Return rows of which short ones share one, but not with a pickup or a repeat."""
    filled: list[tuple[tuple[str, float], ...]] = []
    for row in rows:
        together = [width for _, width in (*(filled[-1:] or [()])[0], *row)]
        opens = row[0][1] < 1 or row[0][0].startswith(REPEAT)
        if filled and not opens and sum(together) <= across and min(together) == 1:
            filled[-1] += row
        else:
            filled.append(row)
    return filled


def _body(
    tune: Tune, chords: ChordNames, capo: Capo | None, page: Page
) -> Iterator[Block]:
    pieces = sung_pieces(tune, chords, barred=bool(capo))
    # The pianist's words have no bar lines to which signs of repeats could belong.
    signed = bool(capo) or not is_sung(tune)
    opened = True
    for line in chart_lines(tune, capo, signed=signed):
        if isinstance(line, ChartSign):
            if not line.closing:
                yield Space(_ABOVE)
            yield Words(line.text, Lettering.BOLD, keep=not line.closing)
            opened = not line.closing
            continue
        on_line = pieces_in(pieces, line)
        signs = repeat_signs(tune, line) if signed else ("", "")
        if signs[0].startswith(REPEAT) and not opened:
            yield Space(_ABOVE)
        opened = False
        if sung_verses(on_line):
            on_line = _restated(on_line, chords, line)
            yield _sung(list(_signed_pieces(on_line, *signs)), tune)
        else:
            yield _signed_bars(_bars(tune, chords, line, page), *signs)


def _restated(
    pieces: Sequence[SungPiece], chords: ChordNames, line: ChartStretch
) -> list[SungPiece]:
    """Return the pieces of a line, the chord in force said anew at its start.

    Who looks up at a new line must not look back for the chord.
    """
    first, *others = pieces
    before = [name for onset, name in chords.items() if onset <= line.start]
    if before and first.chord in ("", BAR_LINE):
        first = first._replace(chord=f"{first.chord} {before[-1]}".strip())
    return [first, *others]


def _signed_pieces(
    pieces: Sequence[SungPiece], before: str, after: str
) -> Iterator[SungPiece]:
    """Yield the pieces of a line between signs of repeats."""
    first, *others = pieces
    if before:
        chord = first.chord.removeprefix(BAR_LINE).strip()
        bar_line = "" if before.startswith(REPEAT) else BAR_LINE
        signs = " ".join(filter(None, (bar_line, before, chord)))
        first = first._replace(chord=signs)
    yield from (first, *others)
    if after:
        silent = ("",) * len(first.texts)
        yield SungPiece(after, silent, (False,) * len(silent))


def _signed_bars(bars: Bars, before: str, after: str) -> Bars:
    """Return the bars of a line between signs of repeats."""
    rows = [list(row) for row in bars.rows]
    text, width = rows[0][0]
    rows[0][0] = f"{before} {text}".strip(), width
    text, width = rows[-1][-1]
    rows[-1][-1] = f"{text} {after}".strip(), width
    return bars._replace(rows=tuple(map(tuple, rows)))


def _sung(pieces: Sequence[SungPiece], tune: Tune) -> Sung:
    verses = sung_verses(pieces)
    runs = word_runs([with_verses(piece, verses) for piece in pieces])
    labels = verse_labels(verses, tune.verses)
    if len(verses) > 1:
        # What belongs to one chord is kept together, so that verses run on freely.
        runs = _packed(runs, _RUN, at_chords=True)
    broken = (
        tuple(part)
        for run in runs
        for part in _packed(([piece] for piece in merge(run)), _LONGEST_RUN)
    )
    return Sung(tuple(broken), tuple(label.strip() for label in labels))


def _packed(
    parts: Iterable[list[SungPiece]], most: int, *, at_chords: bool = False
) -> Iterator[list[SungPiece]]:
    """Yield parts joined to runs of so many letters at most.

    Args:
        parts: The parts, in order.
        most: Letters of a run; a longer part stays whole.
        at_chords: Whether a chord begins a run.
    """
    held: list[SungPiece] = []
    for part in parts:
        joined = [*held, *part]
        letters = sum(max(len(piece.chord), *map(len, piece.texts)) for piece in joined)
        if held and (letters > most or (at_chords and part[0].chord)):
            yield held
            joined = part
        held = joined
    if held:
        yield held


def _bars(tune: Tune, chords: ChordNames, line: ChartStretch, page: Page) -> Bars:
    bars = bars_of_line(tune, chords, line)
    widest = max(len(" ".join(bar.beats)) for bar in bars)
    room = _WIDEST * (0.7 if page.large_print else 1)
    across = BARS_A_ROW if widest <= room else 2
    shares = iter([1 if bar.whole else _PART for bar in bars])
    rows = rows_of_bars(bars, across)
    return Bars(
        tuple(tuple((text, next(shares)) for text in row) for row in rows), across
    )
