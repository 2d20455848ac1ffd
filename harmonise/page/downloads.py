"""Files to take away: an arrangement in any of its kinds, drills, worksheets."""

import re
from fractions import Fraction

from harmonise.errors import OutputError
from harmonise.lessons.drill_copies import DrillCopy, DrillOutput
from harmonise.lessons.drill_files import format_drill
from harmonise.lessons.drills import exercises, keys_for, title_of
from harmonise.lessons.sheet_pages import copies_of, footed
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetOrder
from harmonise.notation.chart.plain_charts import format_account
from harmonise.notation.outputs import Output, format_output
from harmonise.notation.paper.blocks import A4_PAGE, Page
from harmonise.notation.paper.typesetting import typeset
from harmonise.notation.sound.performance import Playing, perform
from harmonise.page.memory import tune_at
from harmonise.page.offers import FILES, File
from harmonise.page.requests import (
    DrillRequest,
    FileRequest,
    PlayingSettings,
    WorksheetRequest,
)
from harmonise.theory.arrangement import Arrangement, Hand

MOST_MINUTES = 30
"""Longest recording that the page makes: 80 MB."""


def made(kind: File, done: Arrangement, asked: FileRequest) -> bytes:
    """Return a file of an arrangement.

    Raises:
        OutputError: If it cannot be made of this tune, or would be too long.
    """
    if kind.sheet is None:
        return f"{format_account(done)}\n".encode()
    playing = playing_of(asked.playing)
    if kind.ending == ".wav" and minutes(done, playing) > MOST_MINUTES:
        raise OutputError(
            f"This recording would last longer than {MOST_MINUTES} minutes.",
            None,
            "Choose a faster speed or fewer bars.",
        )
    paper = asked.page
    page = Page(paper.paper, paper.landscape, paper.large_print)
    output = Output(kind.sheet, page, playing)
    return format_output(done, kind.ending, output)[0]


def playing_of(settings: PlayingSettings) -> Playing:
    """Return how a file that sounds is played."""
    bars = [int(number) for number in re.findall("[0-9]+", settings.bars)]
    return Playing(
        speed=Fraction(settings.speed).limit_denominator(1000),
        count_in=settings.count_in,
        hand=Hand(settings.hand) if settings.hand else None,
        bars=(bars[0], bars[-1]) if bars else None,
        times=settings.times,
    )


def minutes(done: Arrangement, playing: Playing) -> float:
    """Return how long an arrangement plays."""
    found = perform(done, playing)
    starts = [speed.at for speed in found.speeds]
    ends = [*starts[1:], found.passages[-1].stop]
    return sum(
        float((end - speed.at) / speed.per_minute)
        for speed, end in zip(found.speeds, ends, strict=True)
    )


def drill(asked: DrillRequest) -> bytes:
    """Return drills as a file.

    Raises:
        HarmoniseError: If there is no such drill, or not in such a key.
    """
    done = tuple(
        exercise
        for name in asked.names
        for exercise in exercises(name, keys_for(name, asked.keys))
    )
    output = DrillOutput(DrillCopy(asked.version), page=A4_PAGE)
    return format_drill(done, title_of(asked.names), FILES[asked.kind].ending, output)


def worksheet(asked: WorksheetRequest) -> bytes:
    """Return a worksheet, or its answers, as PDF.

    Raises:
        HarmoniseError: If the tune cannot be read or does not do for it.
    """
    kind = asked.worksheet
    order = SheetOrder(kind, bars=kind.row.bars, seed=asked.seed or 1)
    (sheet,) = make_sheets(tune_at(asked.source, asked.tune), order)
    copies = copies_of(sheet, A4_PAGE)
    answers = asked.copy == "answers"
    blocks = copies.answers if answers else copies.sheet
    return typeset(blocks, footed(A4_PAGE, sheet, answers=answers))
