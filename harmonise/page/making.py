"""What is made for the page: tunes read and arranged, their files, drills, worksheets.

A small memory of tunes and arrangements is there so that a swapped chord does not read
the same tune again; without it every answer would be the same.
"""

import re
from fractions import Fraction
from functools import lru_cache

from harmonise.arranging.request import Request, arranged, made_ready
from harmonise.errors import MelodyError, NotationError, OutputError
from harmonise.lessons.drill_files import DrillCopy, DrillOutput, format_drill
from harmonise.lessons.drills import exercises, keys_for, title_of
from harmonise.lessons.sheet_pages import copies_of, footed
from harmonise.lessons.versions import make_sheets
from harmonise.lessons.worksheet import SheetOrder
from harmonise.notation.chart.plain_charts import format_account
from harmonise.notation.formats import parse_tunes
from harmonise.notation.outputs import Output, format_output
from harmonise.notation.paper.blocks import A4_PAGE, Page
from harmonise.notation.paper.typesetting import typeset
from harmonise.notation.sound.performance import Playing, perform
from harmonise.page.offers import FILES, File, singer_table
from harmonise.page.requests import (
    ArrangeRequest,
    DrillRequest,
    FileRequest,
    Lock,
    PlayingSettings,
    Settings,
    Source,
    WorksheetRequest,
)
from harmonise.page.tapping import filled_up
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
    Hand,
    LeftHand,
    Player,
    Style,
)
from harmonise.theory.chord import parse_symbol
from harmonise.theory.key import parse_key
from harmonise.theory.numerals import parse_numeral
from harmonise.theory.singing import voices_named
from harmonise.theory.transposing import along_the_fifths
from harmonise.theory.tune import ChordAt, Tune


@lru_cache(maxsize=8)
def tunes_in(source: Source) -> tuple[Tune, ...]:
    """Return the tunes of a source.

    Raises:
        HarmoniseError: If they cannot be read.
    """
    if isinstance(source.base64, bytes):
        return parse_tunes(source.base64)
    text = str(source.text)
    return parse_tunes((filled_up(text) if source.tapped else text).encode())


@lru_cache(maxsize=16)
def arrangement_of(asked: ArrangeRequest) -> Arrangement:
    """Return the arrangement that was asked for.

    Raises:
        HarmoniseError: If there is none.
    """
    request = _request(asked.settings)
    tune = made_ready(request, tune_at(asked.source, asked.tune))
    # Locked before the tune is moved, chords move with it.
    locks = (*tune.locks, *(_lock(lock, tune) for lock in asked.locks))
    return arranged(request, tune._replace(locks=locks), explained=True)[0]


def fifths_moved(asked: ArrangeRequest, arrangement: Arrangement) -> int:
    """Return how far an arrangement stands from where its tune is read.

    Fifths upwards: a tone up is two, a fourth up is minus one.
    """
    key = asked.settings.key
    home = parse_key(key) if key else tune_at(asked.source, asked.tune).key
    return arrangement.tune.key.fifths - home.fifths


def tune_at(source: Source, number: int) -> Tune:
    """Return one of the tunes of a source, from 0.

    Raises:
        HarmoniseError: If they cannot be read or are fewer.
    """
    tunes = tunes_in(source)
    if number >= len(tunes):
        count = f"{len(tunes)} tunes" if len(tunes) > 1 else "one tune"
        raise MelodyError(
            f"There is no tune {number + 1}, only {count}.", None, "Choose another."
        )
    return tunes[number]


def _request(settings: Settings) -> Request:
    """Return what is asked for in the words of the engine."""
    level, voices = settings.level, settings.voices
    style = Style(
        AUTO_LEVEL if level == "auto" else int(level or 1),
        settings.harmonic_rhythm,
        settings.texture,
        numerals=settings.numerals,
        fingering=settings.fingering,
        labels=settings.labels,
        left_hand=LeftHand(settings.left_hand or LeftHand.AUTO),
    )
    return Request(
        style=style,
        key=parse_key(settings.key) if settings.key else None,
        transpose=settings.transpose,
        voices=voices_named(voices, singer_table()) if voices else None,
        player=Player(settings.player) if settings.player else None,
        keeps_level=bool(level),
    )


def _lock(lock: Lock, tune: Tune) -> ChordAt:
    """Return a locked chord in the key that the tune is read in."""
    place = tune.place(min(lock.onset, tune.end))
    if lock.end > tune.end:
        what = "a chord is locked after the end of the tune."
        raise NotationError(what, place, "Take the lock away.")
    text = lock.chord.strip()
    try:
        if text[:1] in tuple("ABCDEFG"):
            chord = along_the_fifths(parse_symbol(text), -lock.moved)
        else:
            chord = parse_numeral(text, tune.key_at(lock.onset))
    except NotationError as error:
        raise NotationError(error.what, place, error.remedy) from None
    return ChordAt(lock.onset, lock.end, chord)


MOST_MINUTES = 30
"""Longest recording that the page makes: 80 MB."""


def made(kind: File, arrangement: Arrangement, asked: FileRequest) -> bytes:
    """Return a file of an arrangement.

    Raises:
        OutputError: If it cannot be made of this tune, or would be too long.
    """
    if kind.sheet is None:
        return f"{format_account(arrangement)}\n".encode()
    playing = playing_of(asked.playing)
    if kind.ending == ".wav" and minutes(arrangement, playing) > MOST_MINUTES:
        raise OutputError(
            f"This recording would last longer than {MOST_MINUTES} minutes.",
            None,
            "Choose a faster speed or fewer bars.",
        )
    paper = asked.page
    page = Page(paper.paper, paper.landscape, paper.large_print)
    output = Output(kind.sheet, page, playing)
    return format_output(arrangement, kind.ending, output)[0]


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


def minutes(arrangement: Arrangement, playing: Playing) -> float:
    """Return how long an arrangement plays."""
    performance = perform(arrangement, playing)
    starts = [speed.at for speed in performance.speeds]
    ends = [*starts[1:], performance.passages[-1].stop]
    return sum(
        float((end - speed.at) / speed.per_minute)
        for speed, end in zip(performance.speeds, ends, strict=True)
    )


def drill(asked: DrillRequest) -> bytes:
    """Return drills as a file.

    Raises:
        HarmoniseError: If there is no such drill, or not in such a key.
    """
    chosen = tuple(
        exercise
        for name in asked.names
        for exercise in exercises(name, keys_for(name, asked.keys))
    )
    output = DrillOutput(DrillCopy(asked.version), page=A4_PAGE)
    return format_drill(chosen, title_of(asked.names), FILES[asked.kind].ending, output)


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
