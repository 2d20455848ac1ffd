"""The slip of one work, whatever was asked for, with what the register keeps of it."""

from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import partial
from hashlib import sha256
from typing import NamedTuple

from harmonise.marking.aural_answers import (
    format_heard_answers,
    mark_heard,
    parse_answers,
)
from harmonise.marking.given_out import GivenOut
from harmonise.marking.lead_sheets import script_for
from harmonise.marking.mark import format_found, mark, mark_list, parse_list
from harmonise.marking.marked import Marking, MarkingManner
from harmonise.marking.overrides import Override, overridden
from harmonise.marking.register import WorkRecord
from harmonise.marking.slip import format_pdf, format_slip
from harmonise.notation.formats import assert_notation, decode
from harmonise.notation.paper.blocks import A4_PAGE, Page, Title, Words
from harmonise.notation.paper.typesetting import typeset


class SlipManner(NamedTuple):
    """How slips are made.

    Attributes:
        manner: Points and style.
        page: The paper.
        hints: Whether questions stand in place of corrections.
        out_of: Marks that each work is scaled to; 0 for none.
        overrides: What the teacher has decided otherwise.
    """

    manner: MarkingManner
    page: Page = A4_PAGE
    hints: bool = False
    out_of: int = 0
    overrides: tuple[Override, ...] = ()


class Slip(NamedTuple):
    """What a pupil gets back.

    Attributes:
        text: The slip as text.
        pdf: Makes the slip as PDF.
        record: What the register keeps.
    """

    text: str
    pdf: Callable[[], bytes]
    record: WorkRecord


def content_of(data: bytes) -> str:
    """Return what tells a work from its later tries: a few letters and figures."""
    return sha256(data).hexdigest()[:12]


def slip_of(data: bytes, asked: GivenOut, name: str, how: SlipManner) -> Slip:
    """Return the slip of a work.

    Args:
        data: What its file holds.
        asked: What was asked for.
        name: Whose it is.
        how: How it is made.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    if asked.task is None:
        return _of_list(data, asked, name, how)
    script = script_for(data, asked.task)
    marking = mark(script, asked.task, how.manner, name)
    marking = overridden(marking, how.overrides)
    return Slip(
        format_slip(marking, hints=how.hints, out_of=how.out_of),
        partial(format_pdf, marking, how.page, hints=how.hints, out_of=how.out_of),
        record_of(marking, asked.name, content_of(data)),
    )


def record_of(marking: Marking, task: str, content: str = "") -> WorkRecord:
    """Return what the register keeps of a marked work.

    Args:
        marking: The work.
        task: What the register calls its task.
        content: What tells it from later tries.
    """
    lost: dict[str, Fraction] = {}
    for line in marking.lines:
        if line.points:
            lost[line.kind.key] = lost.get(line.kind.key, Fraction(0)) + line.points
    return WorkRecord(
        marking.name,
        task,
        "",
        marking.got,
        marking.worth,
        tuple(sorted(lost.items())),
        tuple(sorted({line.kind.key for line in marking.lines if line.number})),
        sum((blank.points for blank in marking.blanks), Fraction(0)),
        sum((marks for _, marks in marking.back), Fraction(0)),
        content=content,
    )


def _of_list(data: bytes, asked: GivenOut, name: str, how: SlipManner) -> Slip:
    """Return the slip of a list of faults, or of answers by ear."""
    if asked.sheet is None:
        raise TypeError(asked)
    assert_notation(data)
    text = decode(data)
    if asked.sheet.asked:
        heard = mark_heard(parse_answers(text, asked.sheet), asked.sheet)
        body = format_heard_answers(heard, hints=how.hints, out_of=how.out_of)
        got = Fraction(sum(answer.marks for answer in heard))
    else:
        judged = mark_list(parse_list(text), asked.sheet)
        body = format_found(judged, asked.sheet)
        got = sum((fault.marks for fault in judged), Fraction(0))
    head = f"{name}: {asked.sheet.footer}"
    worth = Fraction(asked.sheet.marks)
    record = WorkRecord(name, asked.name, "", got, worth, content=content_of(data))
    return Slip(f"{head}\n{body}", partial(_printed, head, body, how.page), record)


def _printed(head: str, lines: str, page: Page) -> bytes:
    blocks: Sequence[Title | Words] = (Title(head), Words(lines.rstrip()))
    return typeset(tuple(blocks), page._replace(title=head))
