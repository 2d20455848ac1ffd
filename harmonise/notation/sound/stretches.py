"""Stretches of an arrangement one after the other, with pauses and words between them.

Aural tests play a stretch, wait, and play it again; a walk says what comes before it
sounds. Everything is mixed as a recording is, with one gain for the whole.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from harmonise.errors import OutputError
from harmonise.notation.sound.performance import (
    Performance,
    Playing,
    Struck,
    in_passages,
    perform,
)
from harmonise.notation.sound.recording import RATE, Sound, format_sounds, mixed
from harmonise.notation.sound.speech import speak
from harmonise.notation.spoken.spoken_walk import walk_steps
from harmonise.theory.arrangement import Arrangement
from harmonise.theory.play_order import Passage

REPEATS = 3
"""How often a stretch is heard: aural tests play a dictation about three times."""
WRITING = 5.0
"""Seconds between two hearings, in which the pupil writes."""
BREATH = 0.4
"""Seconds between words and what they tell of."""
UNSPOKEN = 3.0
"""Seconds to read the words in, where nothing speaks them."""


class SpokenWalk(NamedTuple):
    """A walk as a recording.

    Attributes:
        content: The WAV file.
        words: What is said before each chord, in order.
        spoken: Whether the words sound.
    """

    content: bytes
    words: tuple[str, ...]
    spoken: bool


def silence(seconds: float) -> Sound:
    """Return a pause."""
    return np.zeros(round(seconds * RATE), np.float32)


def stretch(
    arrangement: Arrangement, start: Fraction, end: Fraction, playing: Playing
) -> Sound:
    """Return what sounds between two places of the page.

    Args:
        arrangement: The arrangement.
        start: Where it begins, in crotchets.
        end: Where it ends; what is held longer stops there.
        playing: Tempo, speed and hands.
    """
    whole = perform(arrangement, playing._replace(bars=None, times=1, count_in=False))
    way = (Passage(start, end, Fraction(0)),)
    notes: Sequence[Struck] = tuple(in_passages(arrangement.notes, way, playing.hand))
    before = [speed for speed in whole.speeds if speed.at <= start]
    speeds = (before or whole.speeds[:1])[-1]._replace(at=Fraction(0))
    return mixed(Performance(whole.tune, way, tuple(notes), (), (speeds,)))


def format_heard(
    arrangement: Arrangement,
    span: tuple[Fraction, Fraction],
    playing: Playing,
    times: int = REPEATS,
) -> bytes:
    """Return a stretch as an aural test plays it: again and again, with pauses.

    Args:
        arrangement: What holds it.
        span: From where to where, in crotchets.
        playing: Tempo, speed and hands.
        times: How often.
    """
    once = stretch(arrangement, *span, playing)
    return format_sounds([once, silence(WRITING)] * times)


def format_spoken_walk(arrangement: Arrangement, playing: Playing) -> SpokenWalk:
    """Return a walk: each chord told, then heard until the next one.

    Args:
        arrangement: What was arranged.
        playing: Tempo, speed, hand, bars and times; a count-in has no place here.

    Raises:
        OutputError: If there is no chord in the bars.
    """
    rows = list(_rows(arrangement, playing))
    if not rows:
        raise OutputError("No chord begins in these bars.", None, "Choose others.")
    said = [speak(words) for _, _, words in rows]
    sounds: list[Sound] = []
    for (start, end, _), speech in zip(rows, said, strict=True):
        sounds += [silence(UNSPOKEN) if speech is None else speech, silence(BREATH)]
        sounds += [stretch(arrangement, start, end, playing), silence(BREATH)]
    words = tuple(words for _, _, words in rows)
    return SpokenWalk(
        format_sounds(sounds * playing.times), words, all(s is not None for s in said)
    )


def _rows(
    arrangement: Arrangement, playing: Playing
) -> Iterator[tuple[Fraction, Fraction, str]]:
    """Yield from where to where each chord goes, and the words for it."""
    # The words for a loop are the same as in the whole: they tell the way there.
    steps = list(walk_steps(arrangement))
    ends = [*(slot.onset for slot, _ in steps[1:]), arrangement.tune.end]
    first, last = playing.bars or (None, None)
    for (slot, words), end in zip(steps, ends, strict=True):
        bar = slot.place.bar
        if (first is None or bar >= first) and (last is None or bar <= last):
            yield slot.onset, end, words
