"""Questions by ear on paper: a table for each kind, empty for pupils, solved in keys.

An answer is a ring beside its words, which is filled; of a bass line the letters are
written. At the depth of stretch no words to choose from are printed. What is played
follows in the key, so that a piano does where nothing plays recordings.
"""

from collections.abc import Iterator
from itertools import groupby
from typing import NamedTuple

from harmonise.lessons.aural import AURAL_STEPS, TEMPO, AuralItem, AuralKind
from harmonise.lessons.sheet_parts import SheetItem
from harmonise.lessons.worksheet import Depth, Worksheet
from harmonise.notation.paper.blocks import (
    Block,
    Lettering,
    Look,
    Music,
    Table,
    Whole,
    Words,
)
from harmonise.notation.paper.engraving import engrave_plan
from harmonise.notation.score.copies import change_signs, without_symbols
from harmonise.notation.score.score_plan import plan_score
from harmonise.theory.arrangement import Style
from harmonise.theory.key import printed

_EMPTY, _FILLED = "○", "●"
_BLANK = "_____"
_TIED = "\N{NO-BREAK SPACE}"
"""Between a ring and its word, which stay on one line."""
_PARTS = "    "


class QuestionTable(NamedTuple):
    """The questions of one kind.

    Attributes:
        sheet: As the pupil gets them.
        answers: As the key shows them.
    """

    sheet: Table
    answers: Table


def step_told(sheet: Worksheet) -> str:
    """Return which step a sheet is of: "step 4: Cadences"."""
    step = sheet.order.step
    return f"step {step}: {AURAL_STEPS[step - 1].title}"


def for_the_marker(sheet: Worksheet) -> str:
    """Return why the step of a sheet comes where it does."""
    step = sheet.order.step
    return f"Step {step}, {AURAL_STEPS[step - 1].title}: {AURAL_STEPS[step - 1].why}"


def slips_of(sheet: Worksheet) -> str:
    """Return what is usually got wrong, a line for each kind of question."""
    kinds = dict.fromkeys(item.kind for item in sheet.asked)
    return "\n".join(f"{kind.row.title}. {kind.row.slip}" for kind in kinds)


def question_tables(sheet: Worksheet) -> Iterator[QuestionTable]:
    """Yield the questions of a sheet, kind by kind, numbered through."""
    # A sheet of another kind has items, and nothing that is heard.
    rows = zip(enumerate(sheet.asked, 1), sheet.items, strict=False)
    for kind, group in groupby(rows, lambda row: row[0][1].kind):
        listed = list(group)
        copies = [
            tuple(
                _row(sheet, number, item, entry, solved=solved or not entry.marks)
                for (number, item), entry in listed
            )
            for solved in (False, True)
        ]
        widths = (0.7, 4, 7.7, 1.7)
        blank, full = (Table((_head(kind), *rows), widths=widths) for rows in copies)
        yield QuestionTable(blank, full)


def _head(kind: AuralKind) -> tuple[str, ...]:
    return "", kind.row.title, kind.row.how, "Marks"


def _row(
    sheet: Worksheet, number: int, item: AuralItem, entry: SheetItem, *, solved: bool
) -> tuple[str, ...]:
    several = len(set(sheet.order.keys)) > 1
    given = [printed(item.key)] if several else []
    # A bass line is written where its first note stands.
    given += [item.given] if item.given and item.choices else []
    marks = f"   / {entry.marks}" if entry.marks else "–"
    return str(number), ": ".join(given), _answer(sheet, item, solved=solved), marks


def _answer(sheet: Worksheet, item: AuralItem, *, solved: bool) -> str:
    """Return what stands where a pupil answers."""
    if not item.choices:
        first, *others = item.answer.split()
        return "  –  ".join([first, *(others if solved else [_BLANK] * len(others))])
    if sheet.order.depth is Depth.STRETCH:
        return item.answer if solved else _BLANK * 2
    return _PARTS.join(
        f"{_FILLED if solved and choice == item.answer else _EMPTY}{_TIED}{choice}"
        for choice in item.choices
    )


def played_blocks(sheet: Worksheet, look: Look) -> Iterator[Block]:
    """Yield what is played at the piano, question by question.

    Args:
        sheet: The sheet.
        look: How music is engraved.
    """
    yield Words(f"To play at the piano, {TEMPO} crotchets a minute", Lettering.HEADING)
    for number, item in enumerate(sheet.asked, 1):
        tune = item.score.tune._replace(tempos=())
        music = item.score._replace(tune=tune, style=Style(numerals=True))
        plan = change_signs(
            without_symbols(plan_score(music)),
            lambda sign: sign._replace(numeral_apart=not sign.notes),
        )
        told = f"{number}. {item.kind.row.title}: {item.answer}"
        lines = (
            Music(system, f"Question {number}") for system in engrave_plan(plan, look)
        )
        yield Whole((Words(told, Lettering.BOLD), *lines))
