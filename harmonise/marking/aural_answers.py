"""Answers by ear, typed one a line, marked against their sheet.

Every answer is worth its own marks and carries nothing forward: nobody hears worse for
having missed the question before.
"""

import re
from fractions import Fraction
from typing import NamedTuple

from harmonise.errors import NotationError, shorten
from harmonise.lessons.aural import AuralItem
from harmonise.lessons.worksheet import Worksheet
from harmonise.marking.marked import format_marks, scaled_to
from harmonise.marking.script import BLANK

_LINE = re.compile(r"(\d{1,3})\s*(?:[.:)|\t]|\s)\s*(.*)$")
_HEADER = re.compile(r"(name|title|class|date)\s*:", re.IGNORECASE)
_EXAMPLE = "Write lines such as: 3: plagal"


class HeardAnswer(NamedTuple):
    """What became of one question.

    Attributes:
        number: Its number on the sheet, from 1.
        item: The question.
        written: What was answered; "" for nothing.
        marks: What it earned.
        worth: What it is worth; 0 for one that the sheet gives.
    """

    number: int
    item: AuralItem
    written: str
    marks: int
    worth: int


def parse_answers(text: str, sheet: Worksheet) -> dict[int, str]:
    """Return the answers of a sheet by their numbers; "" for a blank one.

    Args:
        text: A line an answer: its number, then what is heard; # begins a comment.
        sheet: The sheet.

    Raises:
        NotationError: If a line has no number of a question, or one comes twice.
    """
    found: dict[int, str] = {}
    for row in text.splitlines():
        line = row.partition("# ")[0].strip()
        if not line or line == "#" or _HEADER.match(line):
            continue
        match = _LINE.match(line)
        number = int(match[1]) if match else 0
        if match is None or not 1 <= number <= len(sheet.asked):
            raise NotationError(
                f'"{shorten(line)}" has no number of a question.',
                None,
                f"{_EXAMPLE}. The numbers go from 1 to {len(sheet.asked)}.",
            )
        if number in found:
            raise NotationError(
                f"Question {number} is answered twice.", None, "Leave one answer."
            )
        found[number] = match[2].strip()
    return found


def mark_heard(answers: dict[int, str], sheet: Worksheet) -> tuple[HeardAnswer, ...]:
    """Return what each answer earns, question by question."""
    return tuple(_judged(sheet, number, answers) for number in _numbers(sheet))


def _numbers(sheet: Worksheet) -> range:
    return range(1, len(sheet.asked) + 1)


def _judged(sheet: Worksheet, number: int, answers: dict[int, str]) -> HeardAnswer:
    item, worth = sheet.asked[number - 1], sheet.items[number - 1].marks
    written = answers.get(number, "")
    # The first note of a bass line is given, so that it alone is no answer yet.
    own = [word for word in written.split() if word != BLANK]
    if not own or (not item.choices and own == item.answer.split()[:1]):
        written = ""
    earned = item.earned(written) if written else 0
    return HeardAnswer(number, item, written, earned if worth else 0, worth)


def format_heard_answers(
    judged: tuple[HeardAnswer, ...], *, hints: bool = False, out_of: int = 0
) -> str:
    """Return the slip of a sheet: each answer, what it earned, and the sum.

    Args:
        judged: What became of each question.
        hints: Whether what to listen for stands in place of what is right; the answers
            follow at the end.
        out_of: Marks that the whole is scaled to; 0 for none.
    """
    lines = [_told(answer, hints=hints) for answer in judged]
    counted = [answer for answer in judged if answer.worth]
    terms = " + ".join(str(answer.marks) for answer in counted)
    got, worth = (sum(a.marks for a in counted), sum(a.worth for a in counted))
    lines += ["", f"Sum: {terms} = {got} of {worth}"]
    if out_of and worth:
        scaled = format_marks(scaled_to(Fraction(got), Fraction(worth), out_of))
        lines.append(f"Of {out_of}: {got} × {out_of} ÷ {worth} = {scaled}")
    if hints and got < worth:
        lines += ["", "Answers, for when you have tried:"]
        lines += [
            f"  {each.number}. {each.item.answer}. {each.item.reason}"
            for each in counted
            if each.marks < each.worth
        ]
    return "\n".join(lines) + "\n"


def _told(answer: HeardAnswer, *, hints: bool) -> str:
    """Return what is said of one answer, with its marks."""
    item, right = answer.item, answer.item.answer
    head = f"{answer.number}. "
    if not answer.worth:
        return f"{head}{right}, which the sheet gives."
    earned = str(answer.marks)
    earned += f" of {answer.worth}" if answer.worth > 1 else ""
    if answer.marks == answer.worth:
        return f"{head}{right} is right.  [{earned}]"
    written = shorten(answer.written) if answer.written else "Blank"
    if hints:
        return f"{head}{written}: listen again. {item.kind.row.ask}  [{earned}]"
    return f"{head}{written}: {right} is right. {item.reason}  [{earned}]"
