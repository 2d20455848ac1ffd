"""The jobs behind the page: read, arrange, drill, worksheet; from asked to made.

All of it is pure but for two small memories, so that a swapped chord does not read the
same tune again.
"""

from functools import lru_cache

from harmonise.arranging.job import arrange
from harmonise.arranging.request import Request as Wish
from harmonise.arranging.request import made_ready, moved, style_for
from harmonise.errors import MelodyError, NotationError
from harmonise.notation.formats import parse_tunes
from harmonise.page.offers import singer_table
from harmonise.page.requests import ArrangeRequest, Lock, Settings
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
    HarmonicRhythm,
    Labels,
    LeftHand,
    Player,
    Style,
    Texture,
)
from harmonise.theory.chord import Chord, parse_numeral, parse_symbol
from harmonise.theory.key import parse_key
from harmonise.theory.singing import voices_named
from harmonise.theory.tune import ChordAt, Tune


@lru_cache(maxsize=8)
def tunes_in(data: bytes) -> tuple[Tune, ...]:
    """Return the tunes that some bytes hold.

    Raises:
        HarmoniseError: If they cannot be read.
    """
    return parse_tunes(data)


@lru_cache(maxsize=16)
def arranged(asked: ArrangeRequest) -> Arrangement:
    """Return the arrangement that was asked for.

    Raises:
        HarmoniseError: If there is none.
    """
    settings = asked.settings
    wish = _wish(settings)
    tune = made_ready(wish, tune_at(asked.data, asked.number))
    tune = moved(wish, tune)[0]
    locks = tuple(_lock(lock, tune) for lock in asked.locks)
    return arrange(tune, style_for(wish, tune)._replace(locks=locks))


def tune_at(data: bytes, number: int) -> Tune:
    """Return one of the tunes that some bytes hold, from 0.

    Raises:
        HarmoniseError: If they cannot be read or hold fewer.
    """
    tunes = tunes_in(data)
    if number >= len(tunes):
        count = f"{len(tunes)} tunes" if len(tunes) > 1 else "one tune"
        raise MelodyError(
            f"There is no tune {number + 1}, only {count}.", None, "Choose another."
        )
    return tunes[number]


def _wish(settings: Settings) -> Wish:
    """Return what is asked for in the words of the engine."""
    voices = settings.voices
    return Wish(
        style=_style(settings),
        key=parse_key(settings.key) if settings.key else None,
        transpose=settings.transpose,
        voices=voices_named(voices, singer_table()) if voices else None,
        player=Player(settings.player) if settings.player else None,
    )


def _style(settings: Settings) -> Style:
    level = settings.level
    return Style(
        AUTO_LEVEL if level == "auto" else int(level),
        HarmonicRhythm(settings.harmonic_rhythm),
        Texture(settings.texture),
        numerals=settings.numerals,
        fingering=settings.fingering,
        labels=Labels(settings.labels),
        left_hand=LeftHand(settings.left_hand or LeftHand.AUTO),
    )


def _lock(lock: Lock, tune: Tune) -> ChordAt:
    if lock.end > tune.end:
        raise NotationError(
            "a chord is locked after the end of the tune.",
            tune.place(min(lock.onset, tune.end)),
            "Take the lock away.",
        )
    return ChordAt(lock.onset, lock.end, _chord(lock, tune))


def _chord(lock: Lock, tune: Tune) -> Chord:
    text = lock.chord.strip()
    try:
        if text[:1] in tuple("ABCDEFG"):
            return parse_symbol(text)
        return parse_numeral(text, tune.key_at(lock.onset))
    except NotationError as error:
        place = tune.place(lock.onset)
        raise NotationError(error.what, place, error.remedy) from None
