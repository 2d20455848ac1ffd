"""Questions by ear on the page: one at a time, answered in words or on the keys.

Nothing is kept: a question is drawn again from its set and its number, so that the
answer is judged against what was heard.
"""

from functools import lru_cache
from typing import Annotated

from msgspec import Meta
from msgspec.structs import replace

from harmonise.errors import NotationError
from harmonise.lessons.aural import TEMPO, AuralItem, AuralKind
from harmonise.lessons.aural_makers import AuralOrder, aural_items
from harmonise.lessons.aural_played import most_keys, played_answer
from harmonise.lessons.worksheet import SheetKind
from harmonise.notation.musicxml.writer import format_plan
from harmonise.notation.paper.blocks import Look
from harmonise.notation.paper.engraving import finger_leaders, lines_begin
from harmonise.notation.score.score_plan import plan_score
from harmonise.page.answers import Count, DrawnLine, Midi, drawn_lines
from harmonise.page.drawing import on_lines
from harmonise.page.lesson_requests import (
    EarAnswerRequest,
    EarRequest,
    SheetSettings,
)
from harmonise.page.practice import key_names
from harmonise.page.requests import PageAnswer
from harmonise.page.sheets import sheet_of
from harmonise.theory.key import parse_key, printed

_SET = 8
"""Questions that are drawn together, in which answers come equally often."""


class EarNote(PageAnswer, frozen=True):
    """A note that is heard; times are crotchets from the beginning."""

    at: float
    length: float
    midi: Midi


class EarQuestion(PageAnswer, frozen=True):
    """A question by ear, without its answer.

    Attributes:
        kind: What kind of question.
        title: What that is called.
        how: What to do.
        question: What is asked.
        given: What is told of the chords; "" for nothing.
        choices: The answers to choose from; () where notes are written or played.
        keys: How many keys answer it at most; 0 if it is not answered by playing.
        key: Its key.
        notes: What is heard.
        tempo: Crotchets a minute.
        times: How often it is heard in a test.
        names: What the twelve keys of an octave are called in its key, from C.
        count: Questions of its set.
    """

    kind: str
    title: str
    how: str
    question: str
    given: str
    choices: tuple[str, ...]
    keys: Count
    key: str
    notes: Annotated[tuple[EarNote, ...], Meta(min_length=1)]
    tempo: float
    times: Count
    names: Annotated[tuple[str, ...], Meta(min_length=12, max_length=12)]
    count: Count


class EarAnswer(PageAnswer, frozen=True):
    """What an answer is worth, and what is right.

    Attributes:
        taken: The answer as it was taken.
        right: Whether it is right as a whole.
        earned: What it earns.
        marks: What it could earn.
        answer: The right answer.
        reason: Why.
        svg: The lines of music of what was heard.
    """

    taken: str
    right: bool
    earned: Count
    marks: Count
    answer: str
    reason: str
    svg: tuple[DrawnLine, ...]


def ear_question(asked: EarRequest) -> EarQuestion:
    """Return a question by ear.

    Raises:
        HarmoniseError: If there is no such question.
    """
    items = _items(replace(asked, number=0))
    item = items[asked.number % len(items)]
    row = item.kind.row
    return EarQuestion(
        item.kind.value,
        row.title,
        row.how,
        item.question,
        item.given,
        item.choices,
        most_keys(item),
        printed(item.key),
        tuple(EarNote(float(n.at), float(n.length), n.midi) for n in item.notes),
        float(TEMPO),
        row.times,
        key_names(item.key),
        len(items),
    )


def ear_answer(asked: EarAnswerRequest) -> EarAnswer:
    """Return what an answer is worth, with the right one and its music.

    Raises:
        HarmoniseError: If there is no such question, or nobody answers so.
    """
    question = EarRequest(
        asked.source,
        asked.tune,
        asked.settings,
        asked.locks,
        of=asked.of,
        key=asked.key,
        step=asked.step,
        about=asked.about,
        seed=asked.seed,
    )
    items = _items(question)
    item = items[asked.number % len(items)]
    taken = played_answer(item, asked.keys) if asked.keys else asked.answer.strip()
    if not taken:
        raise NotationError("Nothing was answered.", None, "Choose or play an answer.")
    return EarAnswer(
        taken,
        item.is_right(taken),
        item.earned(taken),
        item.marks,
        item.answer,
        item.reason,
        _drawn(item, asked),
    )


@lru_cache(maxsize=16)
def _items(asked: EarRequest) -> tuple[AuralItem, ...]:
    """Return the questions of a set."""
    if asked.of == "tune":
        sheet = SheetSettings(
            kind=SheetKind.AURAL,
            seed=asked.seed,
            step=asked.step,
            about=asked.about,
            questions=_SET,
        )
        return sheet_of(asked.arranging, sheet).asked
    keys = (parse_key(asked.key or "C"),)
    about = AuralKind(asked.about) if asked.about else None
    return aural_items(AuralOrder(keys, asked.step, about, asked.seed, _SET))


def _drawn(item: AuralItem, asked: EarAnswerRequest) -> tuple[DrawnLine, ...]:
    plan, look = plan_score(item.score), Look(width=asked.width)
    starts = lines_begin(format_plan(plan), look, finger_leaders(plan))
    return drawn_lines(asked, on_lines(item.score, starts, asked.width).lines)
