"""Tunes read and arranged for the page, and a small memory of both.

The memory is there so that a swapped chord does not read the same tune again; without
it every answer would be the same.
"""

from functools import lru_cache

from harmonise.arranging.request import Request, arranged, made_ready
from harmonise.errors import MelodyError, NotationError
from harmonise.notation.formats import parse_tunes
from harmonise.page.offers import singer_table
from harmonise.page.requests import ArrangeRequest, Lock, Settings, Source
from harmonise.page.tapping import filled_up
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
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


def fifths_moved(asked: ArrangeRequest, done: Arrangement) -> int:
    """Return how far an arrangement stands from where its tune is read.

    Fifths upwards: a tone up is two, a fourth up is minus one.
    """
    key = asked.settings.key
    home = parse_key(key) if key else tune_at(asked.source, asked.tune).key
    return done.tune.key.fifths - home.fifths


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
        AUTO_LEVEL if level == "auto" else int(level),
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
