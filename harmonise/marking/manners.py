"""In which manner a work is played: with full chords, or with thinner right hands.

The right hand need not hold whole chords under a tune that is quick, nor where the left
hand has them. A work is held against the manner of playing that it comes nearest to, by
how full both hands are all through, so that one slip does not make it another manner.
The manners are those that arrangements offer: light right hands, and patterns of the
left hand that bring the chord. Common practice of accompanying songs and dances.
"""

from collections.abc import Iterator, Sequence
from contextlib import suppress
from fractions import Fraction
from functools import lru_cache
from itertools import chain, product
from typing import NamedTuple

from harmonise.arranging.job import arrange
from harmonise.errors import HarmoniseError
from harmonise.marking.task import Task, TaskItem
from harmonise.rules.score_view import Score, led_on_by_step
from harmonise.rules.table import ChordPart
from harmonise.rules.work import silence
from harmonise.theory.arrangement import (
    Arrangement,
    HarmonicRhythm,
    LeftHand,
    SoundingNote,
    Style,
    Texture,
    Voice,
)
from harmonise.theory.tune import Tune

_Spans = tuple[tuple[Fraction, Fraction], ...]

_TEXTURES = (Texture.LIGHT, Texture.HELD, Texture.BLOCK)

_NEARLY = Fraction(3, 4)
"""So much of a work in four parts has two notes in each hand."""
_LEVELS = (1, 2, 3, 4)
_WALK = 3
"""How many notes on the way from root to root make a walking bass."""


class ChordPlaying(NamedTuple):
    """How a chord is played, all but its notes.

    Attributes:
        silent: Crotchets for which the right hand has the tune alone.
        inner: Crotchets of all notes under the tune together.
        left: Crotchets of all notes of the left hand together.
        strikes: How many notes the left hand strikes.
    """

    silent: Fraction
    inner: Fraction
    left: Fraction
    strikes: Fraction


def silent_for(
    arrangement: Arrangement, voices: set[Voice], start: Fraction, end: Fraction
) -> Fraction:
    """Return for how many crotchets some voices are silent where the tune is not."""
    rests = [note for note in arrangement.tune.notes if note.pitch is None]
    notes = [note for note in arrangement.notes if note.voice in voices]
    return silence([*notes, *rests], start, end)


def manner_of(judged: Arrangement, task: Task) -> Arrangement:
    """Return the arrangement whose manner of playing a work comes nearest to.

    It is the model unless the right hand falls silent somewhere where the model's does
    not, and another manner comes nearer.

    Args:
        judged: The work, on the given tune.
        task: What was asked.
    """
    model = task.model
    inner = any(note.voice is Voice.INNER for note in judged.notes)
    own_choice = task.chosen and not task.tune_only and not task.notes_given
    if not inner or not own_choice:
        return model
    spans = tuple((item.onset, item.end) for item in task.items if _asked(item))
    played = _playing(judged._replace(tune=model.tune), spans)
    near = _playing(model, spans)
    if all(
        here.silent <= there.silent for here, there in zip(played, near, strict=True)
    ):
        return model
    manners = [(model, near), *_manners(model.tune, model.style, spans)]
    return min(manners, key=lambda manner: _apart(played, manner[1]))[0]


def hymns_of(judged: Arrangement, task: Task) -> Iterator[Arrangement]:
    """Yield the hymns that are made of a tune, for a work in four parts.

    In four parts each hand has two notes nearly everywhere. They change with the beat,
    so that a hymn's own model, and not one for two hands, says what may be done there:
    that of the task's level first, then those of the others.

    Args:
        judged: The work, on the given tune.
        task: What was asked.
    """
    bass = [note for note in judged.notes if note.voice is Voice.BASS]
    inner = [note for note in judged.notes if note.voice is Voice.INNER]
    pairs = sum(
        len([n for n in voice if n.onset <= slot.onset < n.end]) == count
        for slot in judged.slots
        for voice, count in ((bass, 2), (inner, 1))
    )
    own_choice = task.chosen and not task.tune_only and not task.notes_given
    if not own_choice or pairs < 2 * len(judged.slots) * _NEARLY:
        return
    style = task.model.style
    for level in dict.fromkeys((style.level, *_LEVELS)):
        hymn = _hymn(task.model.tune, style._replace(level=level))
        if hymn:
            yield hymn


@lru_cache(maxsize=64)
def _hymn(tune: Tune, style: Style) -> Arrangement | None:
    # Hymns change quicker than the model of the task, so the tune decides how often.
    wish = style._replace(
        texture=Texture.HYMN,
        harmonic_rhythm=HarmonicRhythm.AUTO,
        locks=(),
        sections=(),
    )
    with suppress(HarmoniseError):
        return arrange(tune, wish, explained=False)
    return None


def walking_in(judged: Arrangement) -> frozenset[SoundingNote]:
    """Return the notes by which the left hand of a work walks from root to root.

    There are none where it does so once or twice in a piece: that is a slip.

    Args:
        judged: The work, on the given tune.
    """
    style = judged.style._replace(left_hand=LeftHand.WALKING)
    score = Score(judged._replace(style=style))
    walks = led_on_by_step(score)
    basses = {
        note: slot.chord.bass
        for note in walks
        for slot in judged.slots
        if slot.chord and slot.onset <= note.onset < slot.end
    }
    away = sum(note.pitch.name != bass for note, bass in basses.items())
    return walks if away >= _WALK else frozenset()


def _asked(item: TaskItem) -> bool:
    return ChordPart.NOTES in dict(item.worth)


def _playing(arrangement: Arrangement, spans: _Spans) -> tuple[ChordPlaying, ...]:
    """Return how the chords in some spans are played."""
    inner = [note for note in arrangement.notes if note.voice is Voice.INNER]
    left = [note for note in arrangement.notes if note.voice is Voice.BASS]
    return tuple(
        ChordPlaying(
            silent_for(arrangement, {Voice.INNER}, start, end),
            _sounding(inner, start, end),
            _sounding(left, start, end),
            Fraction(sum(start <= note.onset < end for note in left)),
        )
        for start, end in spans
    )


def _sounding(
    notes: Sequence[SoundingNote], start: Fraction, end: Fraction
) -> Fraction:
    """Return the crotchets that notes last between two places, all together."""
    parts = (min(note.end, end) - max(note.onset, start) for note in notes)
    return sum((part for part in parts if part > 0), Fraction(0))


def _apart(played: Sequence[ChordPlaying], manner: Sequence[ChordPlaying]) -> Fraction:
    """Return how far two ways of playing the same chords are apart."""
    rows = zip(chain(*played), chain(*manner), strict=True)
    return sum((abs(here - there) for here, there in rows), Fraction(0))


@lru_cache(maxsize=16)
def _manners(
    tune: Tune, style: Style, spans: _Spans
) -> tuple[tuple[Arrangement, tuple[ChordPlaying, ...]], ...]:
    """Return a tune in every manner that suits it, with how its chords are played."""
    time = tune.bars[-1].time
    suiting = [own for own in LeftHand if own is LeftHand.AUTO or own.suits(time)]
    made = []
    for left_hand, texture in product(suiting, _TEXTURES):
        wish = style._replace(
            texture=texture, left_hand=left_hand, locks=(), sections=()
        )
        with suppress(HarmoniseError):
            manner = arrange(tune, wish, explained=False)
            made.append((manner, _playing(manner, spans)))
    return tuple(made)
