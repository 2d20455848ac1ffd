"""Practising on the page: what is to be played, step by step.

A step is a moment at which keys go down. The right hand plays the keys of the score,
for the tune lies on top; of the left hand any octave will do, as long as it stays below
the right hand (so it is with the marker, who hears no fault in a bass that lies lower).
The lowest note of the left hand is the bass of its chord, whatever the octave.

The tempos are the boxes of the practice plan, and a tune's rise to its own tempo.
"""

from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby
from typing import Annotated

from msgspec import Meta

from harmonise.lessons.drill_copies import joined
from harmonise.lessons.drills import (
    CAUTION,
    START,
    exercises,
    how_to_practise,
    keys_for,
    tempo_steps,
    title_of,
)
from harmonise.notation.midi.spelling import spell
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import Look
from harmonise.notation.paper.engraving import finger_leaders, lines_begin
from harmonise.notation.score.score_plan import plan_score
from harmonise.page.answers import (
    Count,
    DrawnLine,
    Ids,
    Midi,
    drawn_lines,
)
from harmonise.page.drawing import Engraved, engraved, on_lines
from harmonise.page.lesson_requests import PracticeRequest
from harmonise.page.making import arrangement_of
from harmonise.page.requests import DrawRequest, PageAnswer
from harmonise.theory.arrangement import Arrangement, Hand, SoundingNote
from harmonise.theory.key import Key, printed
from harmonise.theory.pitch import HIGHEST, LOWEST

_USUAL_PACE = Fraction(96)
"""Crotchets a minute of a tune that gives no number."""
_SLOWER = Fraction(3, 5)
"""Part of a tune's own tempo at which its practice begins."""


class PracticeKey(PageAnswer, frozen=True):
    """A key that goes down.

    Attributes:
        hand: Whose it is.
        wanted: The key that the score has.
        name: What it is called.
        keys: All keys that are right.
        bass: Whether it has to be the lowest of its hand.
        stays: Whether the hand had it in the step before.
        ids: Its heads in the engraving.
    """

    hand: Hand
    wanted: Midi
    name: str
    keys: Annotated[tuple[Midi, ...], Meta(min_length=1)]
    bass: bool
    stays: bool
    ids: Ids


class PracticeStep(PageAnswer, frozen=True):
    """Keys that go down together.

    Attributes:
        at: When, in crotchets from the start.
        bar: Number of the bar.
        beat: The beat.
        chord: The chord, "" if it is for the player to find.
        down: The keys.
    """

    at: float
    bar: Count
    beat: str
    chord: str
    down: Annotated[tuple[PracticeKey, ...], Meta(min_length=1)]


class Practice(PageAnswer, frozen=True):
    """Something to practise.

    Attributes:
        name: What is practised, such as "D1".
        title: What stands over it.
        key: Its key.
        svg: Its lines of music.
        steps: What is to be played.
        names: What the twelve keys of an octave are called in its key, from C.
        tempos: The tempos of its boxes, in crotchets a minute.
        beats: Beats of a bar, which are counted in.
        beat: How long one is, in crotchets.
        plan: How to go about it.
        rest: When to rest.
    """

    name: str
    title: str
    key: str
    svg: tuple[DrawnLine, ...]
    steps: Annotated[tuple[PracticeStep, ...], Meta(min_length=1)]
    names: Annotated[tuple[str, ...], Meta(min_length=12, max_length=12)]
    tempos: Annotated[tuple[int, ...], Meta(min_length=1)]
    beats: Annotated[int, Meta(ge=1)]
    beat: float
    plan: str
    rest: str


def practice_of_tune(asked: DrawRequest) -> Practice:
    """Return what is to be played of a tune as it is arranged.

    Raises:
        HarmoniseError: If it cannot be arranged.
    """
    arrangement = arrangement_of(asked.arranging)
    pace = round(arrangement.tune.pace or _USUAL_PACE)
    start = min(pace, max(30, round(pace * _SLOWER)))
    title = arrangement.tune.title
    drawn = engraved(asked)
    return _practice(title, arrangement, drawn, asked, tempo_steps(start, pace))


def practice_of_drill(asked: PracticeRequest) -> Practice:
    """Return what is to be played of a drill in one key.

    Raises:
        NotationError: If there is no such drill, or not in such a key.
    """
    title = title_of([asked.drill])
    (key, *_) = keys_for(asked.drill, [asked.key] if asked.key else [])
    arrangement = joined(exercises(asked.drill, [key]), title)
    plan = plan_score(arrangement)
    look = Look(width=asked.width)
    starts = lines_begin(format_plan(plan), look, finger_leaders(plan))
    drawn = on_lines(arrangement, starts, asked.width)
    return _practice(asked.drill, arrangement, drawn, asked, tempo_steps())


def _practice(
    name: str,
    arrangement: Arrangement,
    drawn: Engraved,
    asked: DrawRequest | PracticeRequest,
    tempos: tuple[int, ...],
) -> Practice:
    tune = arrangement.tune
    time = tune.bars[0].time
    return Practice(
        name=name,
        title=tune.title,
        key=printed(tune.key),
        svg=drawn_lines(asked, drawn.lines),
        steps=tuple(steps(arrangement, drawn.places.names)),
        names=key_names(tune.key),
        tempos=tempos,
        beats=len(time.beat_starts),
        beat=float(time.beat),
        plan=how_to_practise(START),
        rest=CAUTION,
    )


def key_names(key: Key) -> tuple[str, ...]:
    """Return what the twelve keys of an octave are called in a key, from C."""
    pitches = (spell([midi], [key])[0] for midi in range(60, 72))
    return tuple(str(pitch.name) for pitch in pitches)


def steps(
    arrangement: Arrangement, names: tuple[tuple[str, ...], ...]
) -> Iterator[PracticeStep]:
    """Yield what is to be played, moment by moment.

    Args:
        arrangement: The arrangement.
        names: Ids of the heads of each of its notes.
    """
    notes = sorted(
        zip(arrangement.notes, names, strict=True),
        key=lambda pair: (pair[0].onset, pair[0].pitch.midi),
    )
    before: dict[Hand, set[int]] = {hand: set() for hand in Hand}
    sounding: list[SoundingNote] = []
    slots = iter(arrangement.slots)
    slot = next(slots)
    for onset, group in groupby(notes, key=lambda pair: pair[0].onset):
        struck = list(group)
        while slot.end <= onset:
            slot = next(slots)
        sounding = [note for note in sounding if note.end > onset]
        sounding += [note for note, _ in struck]
        tops = [note.pitch.midi for note in sounding if note.hand is Hand.RIGHT]
        lefts = [note.pitch.midi for note, _ in struck if note.hand is Hand.LEFT]
        down = tuple(
            PracticeKey(
                note.hand,
                note.pitch.midi,
                str(note.pitch),
                _right_keys(note, min(tops, default=HIGHEST + 1)),
                bass=len(lefts) > 1 and note.hand is Hand.LEFT
                and note.pitch.midi == min(lefts),
                stays=note.pitch.midi in before[note.hand],
                ids=heads,
            )
            for note, heads in struck
        )  # fmt: skip
        place = arrangement.tune.place(onset)
        chord = slot.chord.symbol if slot.chord else ""
        yield PracticeStep(float(onset), place.bar, str(place.beat), chord, down)
        for hand in Hand:
            keys = {note.pitch.midi for note in sounding if note.hand is hand}
            # A hand that rests keeps its place.
            before[hand] = keys or before[hand]


def _right_keys(note: SoundingNote, below: int) -> tuple[int, ...]:
    """Return the keys that are right for a note.

    Args:
        note: The note.
        below: The lowest key of the right hand, under which the left one stays.
    """
    wanted = note.pitch.midi
    if note.hand is Hand.RIGHT:
        return (wanted,)
    octaves = range(LOWEST + (wanted - LOWEST) % 12, below, 12)
    return tuple(sorted({wanted, *octaves}))
