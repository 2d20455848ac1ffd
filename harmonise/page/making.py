"""What is made for the page: tunes read and arranged, their files, drills, worksheets.

A small memory of tunes and arrangements is there so that a swapped chord does not read
the same tune again; without it every answer would be the same.
"""

import re
from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from harmonise.arranging.request import Request, arranged, made_ready, moved
from harmonise.errors import (
    HarmoniseError,
    MelodyError,
    NotationError,
    OutputError,
)
from harmonise.form.plan import Introduction, SongForm, order_line
from harmonise.left_hand.sections import parse_sections
from harmonise.notation.abc.abc_text import AbcText, split_abc
from harmonise.notation.abc.abc_tune import parse_abc_tune
from harmonise.notation.chart.plain_charts import format_account
from harmonise.notation.formats import decode, format_of, parse_tunes
from harmonise.notation.outputs import Output, format_output
from harmonise.notation.paper.blocks import Page
from harmonise.notation.part_names import PartName
from harmonise.notation.sound.performance import Playing, perform
from harmonise.page.offers import File, singer_table
from harmonise.page.requests import (
    ArrangeRequest,
    FileRequest,
    FormSettings,
    Lock,
    PaperSettings,
    PlayingSettings,
    Settings,
    Source,
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
from harmonise.theory.tune import ChordAt, Tune, assert_on_keyboard


class ReadSource(NamedTuple):
    """What a source holds.

    Attributes:
        tunes: The tunes that can be read.
        failed: Of a book, the tunes that cannot be, each with its reason.
    """

    tunes: tuple[Tune, ...]
    failed: tuple[str, ...] = ()


def tunes_in(source: Source) -> tuple[Tune, ...]:
    """Return the tunes of a source.

    Raises:
        HarmoniseError: If none can be read.
    """
    return read_source(source).tunes


@lru_cache(maxsize=8)
def read_source(source: Source) -> ReadSource:
    """Return the tunes of a source; one that cannot be read stops none of the others.

    Raises:
        HarmoniseError: If none can be read.
    """
    data = _content(source)
    _assert_few(data)
    try:
        return ReadSource(parse_tunes(data, part=source.part))
    except NotationError:
        book = _book_of(data)
        if len(book) < 2:
            raise
        found = _each_of(book, source.part)
        if not found.tunes:
            raise
        return found


def _content(source: Source) -> bytes:
    """Return the bytes of a source; a tapped text is filled up."""
    if isinstance(source.base64, bytes):
        return source.base64
    text = str(source.text)
    return (filled_up(text) if source.tapped else text).encode()


def parts_in(source: Source) -> tuple[PartName, ...]:
    """Return the parts from which the tune of a source can be taken.

    Raises:
        NotationError: If the source cannot be read.
    """
    data = _content(source)
    return format_of(data).parts(data)


def _book_of(data: bytes) -> tuple[AbcText, ...]:
    """Return the tunes of an ABC book, not read yet; () of anything else."""
    is_abc = format_of(data).name.startswith("ABC")
    return split_abc(decode(data)) if is_abc else ()


def _each_of(book: Iterable[AbcText], part: str) -> ReadSource:
    tunes, failed = [], []
    for text in book:
        try:
            tune = parse_abc_tune(text, part)
            assert_on_keyboard(tune)
        except MelodyError:
            continue  # A book may hold texts without a tune.
        except HarmoniseError as error:
            failed.append(f"{text.title}: {error}")
        else:
            tunes.append(tune)
    return ReadSource(tuple(tune for tune in tunes if tune.sounding), tuple(failed))


_MOST_TUNES = 1000
"""Most tunes of an ABC book, as of one that is typed: two seconds of reading."""


def _assert_few(data: bytes) -> None:
    """Guard that a book is one that a page can show.

    Raises:
        NotationError: If it has too many tunes; books are what the command is for.
    """
    count = len(re.findall(rb"^X:", data, re.MULTILINE))
    if count > _MOST_TUNES:
        what = f"This book holds {count:,} tunes; the page takes {_MOST_TUNES:,}."
        raise NotationError(
            what, None, "Split it, or arrange it whole with harmonise arrange."
        )


@lru_cache(maxsize=24)
def arrangement_of(asked: ArrangeRequest, *, explained: bool = True) -> Arrangement:
    """Return the arrangement that was asked for.

    Args:
        asked: What is asked for.
        explained: Whether each chord has its reason and the other good ones: it is the
            same arrangement without, and much sooner there.

    Raises:
        HarmoniseError: If there is none.
    """
    request = request_of(asked.settings)
    return arranged(request, ready_tune(asked), explained=explained)[0]


def ready_tune(asked: ArrangeRequest) -> Tune:
    """Return a tune in the key it is in, with every locked chord, not moved yet.

    Raises:
        HarmoniseError: If it cannot be read, or a lock has no place in it.
    """
    tune = made_ready(request_of(asked.settings), tune_at(asked.source, asked.tune))
    # Locked before the tune is moved, chords move with it.
    locks = (*tune.locks, *(locked_chord(lock, tune) for lock in asked.locks))
    return tune._replace(locks=locks)


def tune_there(asked: ArrangeRequest) -> Tune:
    """Return a tune with every locked chord, in the key that the page shows it in.

    Raises:
        HarmoniseError: As `ready_tune`; or if it cannot be moved there.
    """
    return moved(request_of(asked.settings), ready_tune(asked))[0]


def verse_begins(asked: ArrangeRequest, arrangement: Arrangement) -> Fraction:
    """Return when the tune as written begins in its arrangement.

    An introduction has bars of its own, which the tune as written does not have.
    """
    if asked.settings.form.introduction is Introduction.NONE:
        return Fraction(0)
    shape = [(bar.number, bar.length) for bar in tune_there(asked).bars]
    bars = arrangement.tune.bars
    return next(
        bar.start
        for at, bar in enumerate(bars)
        if [(it.number, it.length) for it in bars[at : at + len(shape)]] == shape
    )


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


def request_of(settings: Settings) -> Request:
    """Return what is asked for in the words of the engine.

    Raises:
        NotationError: If key or sections cannot be read.
    """
    level, voices = settings.level, settings.voices
    style = Style(
        AUTO_LEVEL if level == "auto" else int(level or 1),
        settings.harmonic_rhythm,
        settings.texture,
        numerals=settings.numerals,
        fingering=settings.fingering,
        strict=settings.strict,
        labels=settings.labels,
        left_hand=LeftHand(settings.left_hand or LeftHand.AUTO),
        sections=parse_sections(settings.sections) if settings.sections else (),
    )
    return Request(
        style=style,
        key=parse_key(settings.key) if settings.key else None,
        transpose=settings.transpose,
        flat=settings.gb,
        voices=voices_named(voices, singer_table()) if voices else None,
        player=Player(settings.player) if settings.player else None,
        form=_form(settings.form),
        keeps_level=bool(level),
    )


def _form(asked: FormSettings) -> SongForm | None:
    """Return the form that is asked for; None for the tune as it is."""
    if asked == FormSettings():
        return None
    return SongForm(
        asked.introduction,
        asked.gap,
        asked.verses,
        asked.amen or asked.major_amen,
        asked.slow_ending,
        asked.last_verse,
        asked.major_amen,
    )


def song_order(asked: ArrangeRequest) -> str:
    """Return the order in which everything is sung; "" for a tune as it is.

    Raises:
        HarmoniseError: If the form cannot be had.
    """
    form = _form(asked.settings.form)
    return order_line(tune_at(asked.source, asked.tune), form) if form else ""


def locked_chord(lock: Lock, tune: Tune) -> ChordAt:
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
    page = page_of(asked.page)
    order = song_order(asked) if not kind.sheet.row.tune_alone else ""
    output = Output(kind.sheet, page, playing, asked.page.capo, order)
    style = arrangement.style._replace(keyboards=asked.page.keyboards)
    return format_output(arrangement._replace(style=style), kind.ending, output)[0]


def page_of(asked: PaperSettings) -> Page:
    """Return the page that something is printed on."""
    return Page(asked.paper, asked.landscape, asked.large_print)


def playing_of(settings: PlayingSettings) -> Playing:
    """Return how a file that sounds is played."""
    bars = [int(number) for number in re.findall("[0-9]+", settings.bars)]
    return Playing(
        speed=Fraction(settings.speed).limit_denominator(1000),
        count_in=settings.count_in,
        hand=Hand(settings.hand) if settings.hand else None,
        bars=(bars[0], bars[-1]) if bars else None,
        times=settings.times,
        pedal=settings.pedal,
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
