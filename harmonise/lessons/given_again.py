"""The task that an identity names, made again for the marker, and its tune found."""

import re
from collections.abc import Iterable, Iterator
from fractions import Fraction

from harmonise.errors import HarmoniseError, NotationError
from harmonise.lessons.aural import MOST_QUESTIONS, AuralKind
from harmonise.lessons.aural_sheets import ear_drill
from harmonise.lessons.drill_makers import DrillWish, Exercise
from harmonise.lessons.drills import exercises, parse_keys, progression
from harmonise.lessons.identity import PLUS, TaskIdentity, locks_in, mark_of
from harmonise.lessons.model import opening
from harmonise.lessons.versions import VERSIONS, make_sheets
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.notation.formats import parse_tunes
from harmonise.theory.arrangement import (
    HarmonicRhythm,
    Labels,
    LeftHand,
    Position,
    Style,
)
from harmonise.theory.key import named_keys, parse_key
from harmonise.theory.phrases import find_lines
from harmonise.theory.transposing import transposed
from harmonise.theory.tune import KeyChange, Tune


def tune_for(
    identity: TaskIdentity, data: bytes, others: Iterable[Tune] = ()
) -> Tune | None:
    """Return the tune of a worksheet, in the key of version A.

    Args:
        identity: The worksheet.
        data: The work that came back; its tune may be the one that was given out.
        others: Tunes that may be it.

    Returns:
        The first of the others, or else the tune of the work, that has the mark of the
        tune that was given out; None if none has.
    """
    wanted = identity.get("tune")
    for tune in (*others, *_tunes_of_work(identity, data)):
        for cut in _as_given(identity, tune):
            if mark_of(cut) == wanted:
                return cut
    return None


def _tunes_of_work(identity: TaskIdentity, data: bytes) -> Iterator[Tune]:
    """Yield the tune of a work in the key of version A, where it can be read."""
    try:
        tune = parse_tunes(data)[0]
        key, home = parse_key(identity.get("key")), identity.get("from")
    except HarmoniseError:
        return
    tune = tune._replace(keys=(KeyChange(Fraction(0), key), *tune.keys[1:]))
    if not home:
        yield tune
        return
    rise = (parse_key(home).tonic.pitch_class - key.tonic.pitch_class) % 12
    yield from (transposed(tune, parse_key(home), by) for by in (rise, rise - 12))


def _as_given(identity: TaskIdentity, tune: Tune) -> Iterator[Tune]:
    """Yield a tune with the lines that it has, and with those that were given out."""
    bars = int(identity.get("bars", "8"))
    told = tuple(map(Fraction, identity.get("lines", "0").split(PLUS)))
    locks = tune.locks or locks_in(identity.get("locks"))
    plain = tune._replace(symbols=(), locks=locks)
    for lines in (tune.phrases, told, find_lines(tune.notes, tune.bars)):
        try:
            yield opening(plain._replace(phrases=lines), bars)
        except HarmoniseError:
            return


def sheet_again(identity: TaskIdentity, tune: Tune) -> Worksheet:
    """Return the worksheet of an identity, made again.

    Args:
        identity: Which worksheet.
        tune: Its tune, in the key of version A.

    Raises:
        HarmoniseError: If this program knows no such worksheet.
    """
    try:
        order = _order(identity)
        number = VERSIONS.index(identity.get("version", "A")) + 1
    except ValueError as error:
        raise _unknown(identity) from error
    return make_sheets(tune, order, number)[-1]


def _order(identity: TaskIdentity) -> SheetOrder:
    """Return what a teacher asked for.

    Raises:
        ValueError: If there is no such choice.
        NotationError: If a key is none.
    """
    keys = identity.get("keys")
    order = SheetOrder(
        SheetKind(identity.kind),
        Style(
            int(identity.get("level", "1")),
            HarmonicRhythm(identity.get("chords", "auto")),
        ),
        Labels(identity.get("labels", Labels.WORDS.value)),
        int(identity.get("bars", "8")),
        int(identity.get("faults", "4")),
        int(identity.get("sheet", "1")),
        named_keys(keys.split(PLUS)) if keys else (),
        depth=Depth(identity.get("depth", Depth.CORE.value)),
    )
    return _with_aural_choices(order, identity)


def _with_aural_choices(order: SheetOrder, identity: TaskIdentity) -> SheetOrder:
    """Return an order with what an identity tells of questions by ear.

    Raises:
        ValueError: If there is no such choice.
    """
    about = identity.get("about")
    questions = int(identity.get("questions", str(order.questions)))
    if not 1 <= questions <= MOST_QUESTIONS:
        raise ValueError(questions)
    return order._replace(
        step=int(identity.get("step", str(order.step))),
        about=AuralKind(about) if about else None,
        questions=questions,
    )


def ear_drill_again(identity: TaskIdentity) -> Worksheet:
    """Return the questions by ear of a drill's identity, made again.

    Raises:
        HarmoniseError: If this program knows no such drill.
    """
    keys = parse_keys(identity.get("keys", "C").split(PLUS))
    try:
        order = SheetOrder(
            SheetKind.AURAL, seed=int(identity.get("sheet", "1")), keys=keys
        )
        order = _with_aural_choices(order, identity)
    except ValueError as error:
        raise _unknown(identity) from error
    return ear_drill(order)


def exercises_again(identity: TaskIdentity) -> tuple[Exercise, ...]:
    """Return the exercises of a drill's identity, made again.

    Raises:
        HarmoniseError: If this program knows no such drill.
    """
    keys = parse_keys(identity.get("keys", "C").split(PLUS))
    starts = identity.get("start")
    pattern = identity.get("pattern")
    try:
        wish = DrillWish(
            tuple(Position[word.upper()] for word in starts.split(PLUS) if word),
            LeftHand(pattern) if pattern else None,
            int(identity.get("beats", "2")),
        )
    except (KeyError, ValueError) as error:
        raise _unknown(identity) from error
    if not re.match(r"D\d", identity.drill):
        return progression(identity.drill, keys, wish)
    return tuple(
        exercise
        for name in identity.drill.split(PLUS)
        for exercise in exercises(name, keys, wish)
    )


def _unknown(identity: TaskIdentity) -> NotationError:
    return NotationError(
        f"This program knows no task such as {identity}.",
        None,
        "Mark it with the program that made it.",
    )
