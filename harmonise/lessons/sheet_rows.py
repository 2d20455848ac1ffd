"""What stands on a worksheet and on its answer key, row by row.

Each row is on both copies at once, as high as the taller of the two. The head has the
name, one instruction and what is said of the example; the music, keyboards or questions
follow, with marks at the right edge, and the total.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from harmonise.lessons.aural import AURAL_STEPS
from harmonise.lessons.aural_pages import question_tables, step_told
from harmonise.lessons.marker_notes import answer_table, fault_rows
from harmonise.lessons.page_breaks import (
    Row,
    blocks_height,
    table_height,
    text_scale,
    title_height,
)
from harmonise.lessons.sheet_lines import (
    Lines,
    SheetSize,
    engraved_alike,
    in_full_lines,
)
from harmonise.lessons.sheet_pictures import strips
from harmonise.lessons.worksheet import Worksheet
from harmonise.notation.paper.blocks import (
    Blanks,
    Block,
    Lettering,
    Music,
    Page,
    Title,
    Words,
    music_look,
    text_width,
)
from harmonise.theory.key import printed


class SheetRow(NamedTuple):
    """One block on both copies.

    Attributes:
        sheet: As the pupil gets it.
        answers: As the key shows it.
        row: How it stands among the others; as high as the taller one.
    """

    sheet: Block
    answers: Block
    row: Row


def head_rows(sheet: Worksheet, page: Page) -> Iterator[SheetRow]:
    """Yield title, name and instruction."""
    what = sheet.order.kind.row.title
    under = f"{what} · {printed(sheet.key)} · version {sheet.version}"
    if sheet.asked:
        under = f"{under} · {step_told(sheet)}"
    if sheet.drill:
        keys = ", ".join(map(printed, sheet.order.keys))
        under = f"{AURAL_STEPS[sheet.order.step - 1].title} · {keys}"
    under = "\n".join(filter(None, [under, sheet.tune.origin]))
    title = Title(sheet.tune.title or "Worksheet", under, sheet.tune.composer)
    key = title._replace(text=f"{title.text}: answers")
    yield SheetRow(title, key, Row(title_height(title, page)))
    yield SheetRow(Blanks(), Blanks(), Row(6 * text_scale(page)))
    for text, manner in (
        (sheet.instruction, Lettering.INSTRUCTION),
        *([(sheet.example, Lettering.PLAIN)] if sheet.example else []),
    ):
        yield _same(Words(text, manner), page, stays=True)


def _same(words: Words, page: Page, *, stays: bool = False) -> SheetRow:
    """Return a paragraph that both copies have."""
    return SheetRow(words, words, Row(blocks_height([words], page), stays=stays))


def total_row(sheet: Worksheet, page: Page) -> SheetRow:
    """Return the line of the total."""
    return _same(Words("", Lettering.BOLD, f"Total      / {sheet.marks}"), page)


def body_rows(
    sheets: Sequence[Worksheet], page: Page, setting: SheetSize
) -> list[list[SheetRow]]:
    """Return music, questions, keyboards and tables of one sheet at several depths.

    All have as many rows, which have the same bars and are equally high.
    """
    music = [
        _pieces(sheets, number, page, setting)
        for number in range(len(sheets[0].pieces))
    ]
    every = [
        [
            *(row for piece in music for row in piece[at]),
            *_other_rows(sheet, page),
        ]
        for at, sheet in enumerate(sheets)
    ]
    high = [max(row.row.height for row in rows) for rows in zip(*every, strict=True)]
    return [
        [
            row._replace(row=row.row._replace(height=height))
            for row, height in zip(rows, high, strict=True)
        ]
        for rows in every
    ]


def _other_rows(sheet: Worksheet, page: Page) -> Iterator[SheetRow]:
    for questions, answers in question_tables(sheet):
        yield SheetRow(questions, answers, Row(table_height(questions, page)))
    if sheet.diagrams:
        marks = [item.marks for item in sheet.items]
        width = text_width(page, margin_text=True)
        for strip in strips(sheet.diagrams, marks, width):
            yield SheetRow(strip.sheet, strip.answers, Row(strip.sheet.height, lines=1))
    if sheet.planted:
        blank, solved = map(answer_table, fault_rows(sheet))
        height = max(table_height(table, page) for table in (blank, solved))
        yield SheetRow(blank, solved, Row(height))


def _pieces(
    sheets: Sequence[Worksheet], number: int, page: Page, setting: SheetSize
) -> list[list[SheetRow]]:
    """Return the rows of one piece on each of some sheets."""
    look = music_look(page, margin_text=not sheets[0].planted, staff=setting.staff)
    pieces = [sheet.pieces[number] for sheet in sheets]
    # Where nothing is written in the music short lines always share one.
    if setting.full or sheets[0].planted:
        pieces = [in_full_lines(piece, setting.bars) for piece in pieces]
    return [
        list(_piece(sheet, number, lines, page))
        for sheet, lines in zip(
            sheets, engraved_alike(pieces, look, setting.bars), strict=True
        )
    ]


def _piece(
    sheet: Worksheet, number: int, lines: Lines, page: Page
) -> Iterator[SheetRow]:
    piece = sheet.pieces[number]
    if piece.heading:
        yield _same(Words(piece.heading, Lettering.BOLD), page, stays=True)
    for system, solved in zip(*lines, strict=True):
        inside = [int(name[1:]) for name in system.bars]
        first, *_, last = [
            piece.arrangement.tune.bars[bar] for bar in (*inside, inside[-1])
        ]
        marks = sum(
            item.marks
            for item in sheet.items
            if item.piece == number and first.start <= item.onset < last.end
        )
        asked = not sheet.planted
        margin = f"   / {marks}" if marks and asked else ""
        described = f"Bars {first.number} to {last.number}"
        yield SheetRow(
            Music(system, described, margin),
            Music(solved, f"{described}, with answers", margin),
            Row(max(system.height, solved.height), lines=1),
        )
