"""Questions by ear made of drills: the same shapes that pupils play, now heard.

Every item begins on the key chord, so that each is in a key before anything is asked.
Right hands go the smoothest way and left hands play roots, as drills do. The seed draws
the items; answers come equally often, as far as their number allows, in no order that
can be guessed. Times are crotchets. Common practice, from memory.
"""

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from itertools import product
from random import Random
from typing import NamedTuple

from harmonise.form.splicing import Slice, joined
from harmonise.lessons.aural import (
    AURAL_STEPS,
    TEMPO,
    AuralItem,
    AuralKind,
    AuralStep,
)
from harmonise.lessons.aural_questions import (
    QUESTIONS,
    HeardChords,
    asked_kinds,
    shares,
)
from harmonise.lessons.drill_makers import STARTS, DrillStep, lengths, score, smoothest
from harmonise.theory.arrangement import Arrangement, LeftHand, Position
from harmonise.theory.key import Key, parse_key
from harmonise.theory.motion import least_motion
from harmonise.theory.numerals import NumberedChord, in_mode, parse_progression
from harmonise.theory.tune import TuneNote
from harmonise.theory.voicing import Voicing, format_pitches, position_of

_BAR, _HALF_BAR = Fraction(4), 2
_C = parse_key("C")

_ROWS = tuple(
    tuple(row.split())
    for row in (
        "I V I", "I V V I", "I I V I", "I V I V", "I V I V I", "I V V I I",
        "I IV V I", "I IV I V I", "I V I IV I", "I IV I V", "I IV IV I", "I I IV V",
        "I vi IV V I", "I ii V I", "I vi ii V I", "I IV V7 I", "I ii V7 I",
        "I V vi IV I", "I IV ii V", "I vi IV I", "I V7 I vi IV",
    )
)  # fmt: skip
"""Progressions, none of which goes from V back to IV."""
_CLOSES = tuple(
    tuple(row.split())
    for row in (
        "I V I", "I IV V I", "I IV I V I", "I V I IV I", "I IV I", "I I IV I",
        "I IV V", "I IV I V", "I V I V", "I IV V vi", "I V I V vi", "I ii V7 I",
        "I vi ii V I", "I vi IV I", "I ii IV I", "I vi ii V", "I IV ii V",
        "I ii V7 vi", "I IV V7 vi",
    )
)  # fmt: skip
"""Progressions that end in a cadence."""


class AuralOrder(NamedTuple):
    """What is asked for.

    Attributes:
        keys: Keys, which the items go through in turn; major or minor.
        step: Step, from 1.
        kind: The only kind of question; None for all of the step.
        seed: Draws the items: another number, other items.
        items: How many.
    """

    keys: tuple[Key, ...] = (_C,)
    step: int = 1
    kind: AuralKind | None = None
    seed: int = 1
    items: int = 8


class _Draft(NamedTuple):
    """An item before its notes are written.

    Attributes:
        numerals: Its chords, as those of a major key.
        start: Shape of the right hand that it begins in.
        at: Number of the chord that is asked for.
        other: Whether that chord is played otherwise the second time.
    """

    numerals: tuple[str, ...]
    start: Position
    at: int = -1
    other: bool = False


def aural_items(order: AuralOrder) -> tuple[AuralItem, ...]:
    """Return items by ear, those of a kind together, as the step has its kinds.

    The same order gives the same items.

    Raises:
        NotationError: If there is no such step, or the kind is asked later only.

    >>> first, *_ = aural_items(AuralOrder(step=4, kind=AuralKind.CADENCE, seed=3))
    >>> first.answer, first.reason
    ('perfect', 'The last two chords are V and I: G and C in the bass.')
    """
    kinds = asked_kinds(order.step, order.kind)
    items: list[AuralItem] = []
    for kind, share in zip(kinds, shares(order.items, len(kinds)), strict=True):
        # Each kind is drawn by itself, so that leaving one out changes no other.
        random = Random(f"{order.seed} {order.step} {kind.value}")  # noqa: S311
        items += _drawn(kind, share, order, random)
    return tuple(items)


def _drawn(
    kind: AuralKind, count: int, order: AuralOrder, random: Random
) -> Iterator[AuralItem]:
    """Yield so many items of a kind; none comes twice while there are others."""
    step = AURAL_STEPS[order.step - 1]
    used: set[_Draft] = set()
    for number, answer in enumerate(_answers(kind, count, order, random)):
        key = order.keys[number % len(order.keys)]
        pool = _pools(kind, order.step, key)[answer]
        fresh = [draft for draft in pool if draft not in used]
        draft = random.choice(fresh or pool)
        used.add(draft)
        yield _question(kind, draft, step, key)


def _answers(
    kind: AuralKind, count: int, order: AuralOrder, random: Random
) -> list[int]:
    """Return so many answers by their numbers, each equally often, in any order."""
    every = sorted(_pools(kind, order.step, order.keys[0]))
    drawn = [one for _ in range(count) for one in random.sample(every, len(every))]
    drawn = drawn[:count]
    random.shuffle(drawn)
    return drawn


@lru_cache(maxsize=256)
def _pools(kind: AuralKind, number: int, key: Key) -> dict[int, tuple[_Draft, ...]]:
    """Return the drafts of a kind by the numbers of their answers, not to be changed.

    A number means the same in major and minor, where numerals differ.
    """
    step = AURAL_STEPS[number - 1]
    pools: dict[int, list[_Draft]] = {}
    for draft in _DRAFTS[kind](step):
        # Bass lines are written and not chosen, and need no balance.
        item = _question(kind, draft, step, key) if kind is not AuralKind.BASS else None
        answer = item.choices.index(item.answer) if item else 0
        pools.setdefault(answer, []).append(draft)
    return {answer: tuple(drafts) for answer, drafts in pools.items()}


def _rows(step: AuralStep) -> list[tuple[str, ...]]:
    """Return the progressions of a step, those aside that an easier one has."""
    chords = set(step.chords)
    easier = [set(one.chords) for one in AURAL_STEPS if set(one.chords) < chords]
    return [
        row
        for row in _ROWS
        if chords.issuperset(row) and not any(less.issuperset(row) for less in easier)
    ]


def _pair_drafts(step: AuralStep) -> Iterator[_Draft]:
    for second, start in product(step.chords, STARTS):
        yield _Draft(("I", second), start, 1)


def _top_drafts(step: AuralStep) -> Iterator[_Draft]:
    """Yield pairs whose second chord is a triad and not the key chord again."""
    for draft in _pair_drafts(step):
        if draft.numerals[1] not in ("I", "V7"):
            yield draft


def _bass_drafts(step: AuralStep) -> Iterator[_Draft]:
    for row, start in product(_rows(step), STARTS):
        yield _Draft(row, start)


def _gap_drafts(step: AuralStep) -> Iterator[_Draft]:
    for row, start in product(_rows(step), STARTS):
        for at in range(1, len(row) - 1):
            yield _Draft(row, start, at)


def _close_drafts(step: AuralStep) -> Iterator[_Draft]:
    for row, start in product(_CLOSES, STARTS):
        if set(row) <= set(step.chords):
            yield _Draft(row, start)


def _twice_drafts(step: AuralStep) -> Iterator[_Draft]:
    """Yield two chords, or at later steps a whole row in which one chord may differ."""
    later = step is not AURAL_STEPS[0]
    rows = _rows(step) if later else [("I", "IV"), ("I", "V")]
    for row, start, other in product(rows, STARTS, (False, True)):
        for at in range(1, len(row)):
            yield _Draft(row, start, at, other)


class _PlayedRow(NamedTuple):
    """A draft with its chords and hands."""

    chords: tuple[NumberedChord, ...]
    voicings: tuple[Voicing, ...]
    score: Arrangement


@lru_cache(maxsize=512)
def _played(chords: tuple[NumberedChord, ...], start: Position, key: Key) -> _PlayedRow:
    voicings = smoothest([each.chord for each in chords], start)
    return _PlayedRow(chords, voicings, _written(key, chords, voicings))


def _written(
    key: Key, chords: Sequence[NumberedChord], voicings: Sequence[Voicing]
) -> Arrangement:
    times = lengths(len(chords), _HALF_BAR, _BAR)
    steps = list(map(DrillStep, chords, voicings, times))
    return score(key, steps, LeftHand.HELD, TEMPO)


def _question(kind: AuralKind, draft: _Draft, step: AuralStep, key: Key) -> AuralItem:
    """Return the question of a draft in a key."""
    chords = parse_progression(in_mode(" ".join(draft.numerals), key.mode), key)
    played = _played(chords, draft.start, key)
    heard = HeardChords(step, key, chords, played.score, draft.at)
    if kind is AuralKind.POSITION:
        heard = heard._replace(top=played.voicings[draft.at].top)
    if kind is AuralKind.LEADING:
        heard = twice(heard, draft.start, other=draft.other)
    return QUESTIONS[kind](heard)


def twice(heard: HeardChords, start: Position, *, other: bool) -> HeardChords:
    """Return chords as they are heard twice, without a tune.

    Args:
        heard: The chords, and which of them may differ.
        start: Shape of the right hand that they begin in.
        other: Whether that chord is in another shape the second time.
    """
    played = _played(tuple(heard.chords), start, heard.key)
    first, at = played.voicings, heard.at
    again = first
    if other:
        leaping = heard.step is AURAL_STEPS[0]
        again = (*first[:at], _otherwise(played, at, leaping=leaping), *first[at + 1 :])
    second = _written(heard.key, heard.chords, again)
    parts = (played.score, _rest(second), second)
    one, two = (format_pitches(row[at].right) for row in (first, again))
    return heard._replace(
        score=joined([Slice(part) for part in parts]), rights=(one, two)
    )


def _otherwise(played: _PlayedRow, at: int, *, leaping: bool) -> Voicing:
    """Return another close shape of a chord: one that slides along, or the next best.

    Args:
        played: The smooth way.
        at: Number of the chord, which is not the first.
        leaping: Whether the hand slides in one shape, which is easy to hear.
    """
    before, smooth = played.voicings[at - 1 : at + 1]
    chord = played.chords[at].chord
    others = [one for one in least_motion(before, chord) if one.right != smooth.right]
    shape = position_of(played.chords[at - 1].chord, before.right)
    sliding = [one for one in others if position_of(chord, one.right) is shape]
    return sliding[0] if leaping and sliding else others[0]


def _rest(music: Arrangement) -> Arrangement:
    """Return a bar of rest like the first bar of some music."""
    first = music.tune.bars[0]
    alone = music.slots[0]._replace(
        length=first.end, chord=None, numeral="", position=None
    )
    tune = music.tune._replace(
        notes=(TuneNote(Fraction(0), first.end, None),),
        bars=(first,),
        phrases=(first.end,),
    )
    return music._replace(tune=tune, slots=(alone,), notes=())


_DRAFTS: dict[AuralKind, Callable[[AuralStep], Iterator[_Draft]]] = {
    AuralKind.LEADING: _twice_drafts,
    AuralKind.CHORD: _pair_drafts,
    AuralKind.BASS: _bass_drafts,
    AuralKind.MISSING: _gap_drafts,
    AuralKind.CADENCE: _close_drafts,
    AuralKind.POSITION: _top_drafts,
}
