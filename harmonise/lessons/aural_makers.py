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

from harmonise.errors import NotationError, listed
from harmonise.form.splicing import Slice, joined
from harmonise.lessons.aural import (
    AURAL_STEPS,
    TEMPO,
    AuralItem,
    AuralKind,
    AuralStep,
    Cadence,
    cadence_of,
    first_step,
)
from harmonise.lessons.drill_makers import STARTS, DrillStep, lengths, score, smoothest
from harmonise.theory.arrangement import Arrangement, LeftHand, Position
from harmonise.theory.chord import QUALITIES, Chord, Member
from harmonise.theory.key import Key, parse_key
from harmonise.theory.motion import least_motion
from harmonise.theory.numerals import (
    NumberedChord,
    in_mode,
    numeral,
    parse_progression,
    role_of,
)
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
    kinds = _kinds(order)
    shares = [
        order.items // len(kinds) + (at < order.items % len(kinds))
        for at in range(len(kinds))
    ]
    items: list[AuralItem] = []
    for kind, share in zip(kinds, shares, strict=True):
        # Each kind is drawn by itself, so that leaving one out changes no other.
        random = Random(f"{order.seed} {order.step} {kind.value}")  # noqa: S311
        items += _drawn(kind, share, order, random)
    return tuple(items)


def _kinds(order: AuralOrder) -> tuple[AuralKind, ...]:
    if not 1 <= order.step <= len(AURAL_STEPS):
        raise NotationError(
            f"There is no step {order.step}.",
            None,
            f"Choose one from 1 to {len(AURAL_STEPS)}.",
        )
    kind = order.kind
    if kind is None:
        return AURAL_STEPS[order.step - 1].kinds
    first = first_step(kind)
    if order.step < first:
        raise NotationError(
            f"“{kind.row.title}” is not asked before step {first}.",
            None,
            f"Choose step {first}, or another question.",
        )
    return (kind,)


def _drawn(
    kind: AuralKind, count: int, order: AuralOrder, random: Random
) -> Iterator[AuralItem]:
    """Yield so many items of a kind; none comes twice while there are others."""
    step = AURAL_STEPS[order.step - 1]
    used: set[_Draft] = set()
    waiting: list[str] = []
    for number in range(count):
        key = order.keys[number % len(order.keys)]
        pools = _pools(kind, order.step, key)
        # Every answer comes once before one comes again, in an order that is drawn.
        if not waiting:
            waiting = random.sample(sorted(pools), len(pools))
        answer = waiting.pop()
        pool = pools.get(answer) or next(iter(pools.values()))
        fresh = [draft for draft in pool if draft not in used]
        draft = random.choice(fresh or pool)
        used.add(draft)
        yield _ITEM[kind](draft, step, key)._replace(step=order.step)


@lru_cache(maxsize=256)
def _pools(kind: AuralKind, number: int, key: Key) -> dict[str, tuple[_Draft, ...]]:
    """Return the drafts of a kind by their answers, not to be changed."""
    step = AURAL_STEPS[number - 1]
    pools: dict[str, list[_Draft]] = {}
    for draft in _DRAFTS[kind](step):
        # The notes of a bass line are all different answers, and need no balance.
        item = _ITEM[kind](draft, step, key) if kind is not AuralKind.BASS else None
        pools.setdefault(item.answer if item else "", []).append(draft)
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


class _HeardRow(NamedTuple):
    """A draft with its chords and hands."""

    chords: tuple[NumberedChord, ...]
    voicings: tuple[Voicing, ...]
    score: Arrangement


@lru_cache(maxsize=512)
def _heard(numerals: tuple[str, ...], start: Position, key: Key) -> _HeardRow:
    chords = parse_progression(in_mode(" ".join(numerals), key.mode), key)
    voicings = smoothest([each.chord for each in chords], start)
    return _HeardRow(chords, voicings, _written(key, chords, voicings))


def _written(
    key: Key, chords: Sequence[NumberedChord], voicings: Sequence[Voicing]
) -> Arrangement:
    times = lengths(len(chords), _HALF_BAR, _BAR)
    steps = list(map(DrillStep, chords, voicings, times))
    return score(key, steps, LeftHand.HELD, TEMPO)


def _choices(step: AuralStep, key: Key) -> tuple[str, ...]:
    return tuple(in_mode(" ".join(step.chords), key.mode).split())


def _spelled(numbered: NumberedChord) -> str:
    """Return a chord as a reason names it: "IV (F A C)"."""
    names = " ".join(map(str, numbered.chord.members))
    return f"{numbered.numeral} ({names})"


def _chord_item(draft: _Draft, step: AuralStep, key: Key) -> AuralItem:
    heard = _heard(draft.numerals, draft.start, key)
    home, then = heard.chords
    basses = f"from {home.chord.bass} to {then.chord.bass}"
    reason = f"The bass goes {basses}, the root of {_spelled(then)}{_seventh(then)}."
    if home == then:
        reason = f"Nothing moves: {_spelled(then)} is heard again."
    return AuralItem(
        AuralKind.CHORD, 0, key,
        "The key chord is heard, then one more chord. Which is it?",
        _choices(step, key), heard.score, then.numeral, reason,
    )  # fmt: skip


def _seventh(numbered: NumberedChord) -> str:
    """Return what tells a seventh chord from its triad; "" of a triad."""
    if QUALITIES[numbered.chord.quality].added is None:
        return ""
    return f"; its seventh, {numbered.chord.member(Member.SEVENTH)}, is heard too"


def _bass_item(draft: _Draft, step: AuralStep, key: Key) -> AuralItem:
    del step
    heard = _heard(draft.numerals, draft.start, key)
    letters = [str(each.chord.bass) for each in heard.chords]
    return AuralItem(
        AuralKind.BASS, 0, key,
        "Write the letters of the bass notes, in order.",
        (), heard.score, " ".join(letters),
        f"They are the roots of {listed([each.numeral for each in heard.chords])}.",
        f"{letters[0]}{' – ?' * (len(letters) - 1)}",
    )  # fmt: skip


def _gap_item(draft: _Draft, step: AuralStep, key: Key) -> AuralItem:
    heard = _heard(draft.numerals, draft.start, key)
    names = [each.numeral for each in heard.chords]
    gap = heard.chords[draft.at]
    names[draft.at] = "?"
    return AuralItem(
        AuralKind.MISSING, 0, key,
        "One chord is not given. Which is it?",
        _choices(step, key), heard.score, gap.numeral,
        f"The bass there is {gap.chord.bass}, the root of {_spelled(gap)}"
        f"{_seventh(gap)}.",
        " – ".join(names),
    )  # fmt: skip


def _close_item(draft: _Draft, step: AuralStep, key: Key) -> AuralItem:
    heard = _heard(draft.numerals, draft.start, key)
    before, last = heard.chords[-2:]
    cadence = cadence_of(role_of(before.chord, key), role_of(last.chord, key))
    if cadence is None:
        raise ValueError(draft)
    choices = tuple(
        each.value
        for each in Cadence
        if each is not Cadence.INTERRUPTED or "vi" in step.chords
    )
    return AuralItem(
        AuralKind.CADENCE, 0, key,
        "Which cadence is heard at the end?",
        choices, heard.score, cadence.value,
        f"The last two chords are {before.numeral} and {last.numeral}: "
        f"{before.chord.bass} and {last.chord.bass} in the bass.",
    )  # fmt: skip


_MEMBERS = {"root": Member.ROOT, "third": Member.THIRD, "fifth": Member.FIFTH}


def top_member(chord: Chord, voicing: Voicing) -> str:
    """Return which member a right hand has on top: "root", "third", "fifth"."""
    return next(
        word
        for word, member in _MEMBERS.items()
        if chord.member(member) == voicing.top.name
    )


def _top_item(draft: _Draft, step: AuralStep, key: Key) -> AuralItem:
    del step
    heard = _heard(draft.numerals, draft.start, key)
    then, voicing = heard.chords[1], heard.voicings[1]
    member = top_member(then.chord, voicing)
    return AuralItem(
        AuralKind.POSITION, 0, key,
        "Which note of the last chord is on top?",
        tuple(_MEMBERS), heard.score, member,
        f"{voicing.top.name} is the {member} of {_spelled(then)}.",
        " – ".join(each.numeral for each in heard.chords),
    )  # fmt: skip


def _twice_item(draft: _Draft, step: AuralStep, key: Key) -> AuralItem:
    heard = _heard(draft.numerals, draft.start, key)
    again, at = heard.voicings, draft.at
    if draft.other:
        moved = _otherwise(heard, at, leaping=step is AURAL_STEPS[0])
        again = (*again[:at], moved, *again[at + 1 :])
    rights = [format_pitches(one.right) for one in (heard.voicings[at], again[at])]
    name = numeral(heard.chords[at].chord, key)
    reason = f"On {name} the right hand has {rights[0]} both times."
    if draft.other:
        reason = f"On {name} the right hand has {rights[0]} first and then {rights[1]}."
    second = _written(key, heard.chords, again)
    parts = (heard.score, _rest(heard.score), second)
    return AuralItem(
        AuralKind.LEADING, 0, key,
        "Does the right hand play the same notes both times?",
        ("same", "different"), joined([Slice(part) for part in parts]),
        "different" if draft.other else "same", reason,
        " – ".join(each.numeral for each in heard.chords),
    )  # fmt: skip


def _otherwise(heard: _HeardRow, at: int, *, leaping: bool) -> Voicing:
    """Return another close shape of a chord: one that slides along, or the next best.

    Args:
        heard: The smooth way.
        at: Number of the chord, which is not the first.
        leaping: Whether the hand slides in one shape, which is easy to hear.
    """
    before, smooth = heard.voicings[at - 1 : at + 1]
    chord = heard.chords[at].chord
    others = [one for one in least_motion(before, chord) if one.right != smooth.right]
    shape = position_of(heard.chords[at - 1].chord, before.right)
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
_ITEM: dict[AuralKind, Callable[[_Draft, AuralStep, Key], AuralItem]] = {
    AuralKind.LEADING: _twice_item,
    AuralKind.CHORD: _chord_item,
    AuralKind.BASS: _bass_item,
    AuralKind.MISSING: _gap_item,
    AuralKind.CADENCE: _close_item,
    AuralKind.POSITION: _top_item,
}
