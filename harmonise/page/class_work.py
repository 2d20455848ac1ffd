"""Pupils' work marked for the page: what each lost and why, as the teacher sees it.

Nothing is kept: the scripts and the teacher's changes come with every question, and
slips and table are made anew of them, so that no two can differ.
"""

import io
import zipfile
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Annotated, NamedTuple

from msgspec import Meta

from harmonise.errors import HarmoniseError, OutputError
from harmonise.marking.class_pages import format_class_csv, format_class_pdf, summary
from harmonise.marking.given_out import GivenOut, TaskShelf
from harmonise.marking.mark import mark
from harmonise.marking.marked import Marking, MarkingManner, SlipLine, format_marks
from harmonise.marking.overrides import Override, overridden
from harmonise.marking.register import WorkRecord, merged
from harmonise.marking.scripts import parse_script
from harmonise.marking.slip import format_line, practise, sum_lines, where
from harmonise.marking.slips import SlipManner, content_of, record_of, slip_of
from harmonise.marking.task import read_points
from harmonise.marking.tasks import task_of_tune, task_of_whole_sheet
from harmonise.page.making import page_of, request_of, sheet_of, tune_there
from harmonise.page.requests import HandedIn, MarkRequest, PageAnswer, SlipsRequest
from harmonise.rules.table import BY_KEY
from harmonise.theory.arrangement import Style

_NEW_YEAR = (1980, 1, 1, 0, 0, 0)
"""The time of every file in an archive, so that the same slips are the same bytes."""


class ShownLine(PageAnswer, frozen=True):
    """One line of a slip: what was found, and what it costs.

    Attributes:
        number: Its number in the score; 0 for a comment.
        text: Place, fault, what is there and what is right.
        points: What it costs, as a decimal number.
        usual: What it costs by the table of points.
        reason: Why the teacher changed it; "" where nobody did.
    """

    number: Annotated[int, Meta(ge=0)]
    text: str
    points: float
    usual: float
    reason: str


class ShownWork(PageAnswer, frozen=True):
    """A marked work, or why it could not be marked.

    Attributes:
        name: Whose it is.
        failure: Why it could not be marked; "" if it could.
        marks: What was earned, of how much, in words.
        praise: What went well.
        lines: What was found, in score order.
        others: What was left blank or given back.
        sums: The sum, to be recounted.
        practise: What to practise.
        notes: What the reader should know besides.
    """

    name: str
    failure: str
    marks: str = ""
    praise: str = ""
    lines: tuple[ShownLine, ...] = ()
    others: tuple[str, ...] = ()
    sums: tuple[str, ...] = ()
    practise: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class Marked(PageAnswer, frozen=True):
    """A class, marked.

    Attributes:
        task: What was asked.
        works: The works in order.
        table: A row a pupil, a column a fault, what was earned at the end.
        summary: The commonest faults with drills.
    """

    task: str
    works: tuple[ShownWork, ...]
    table: tuple[tuple[str, ...], ...]
    summary: tuple[str, ...]


class _Judged(NamedTuple):
    """One work as it stands.

    Attributes:
        name: Whose it is.
        record: What the register keeps of it.
        plain: What the marker found; None for a list, or where it cannot be read.
        done: The same with what the teacher decided.
        text: The slip of a list of faults; "" for music.
    """

    name: str
    record: WorkRecord
    plain: Marking | None = None
    done: Marking | None = None
    text: str = ""


def told_class(asked: MarkRequest) -> Marked:
    """Return the works of a class, marked.

    Raises:
        HarmoniseError: If what was asked for cannot be made, or a change is none.
    """
    judged = list(_class(asked))
    records = merged((), (each.record for each in judged))
    works = tuple(_shown(each, asked, at) for at, each in enumerate(judged))
    tasks = dict.fromkeys(each.record.task for each in judged if each.record.task)
    return Marked("; ".join(tasks), works, _table(records), tuple(summary(records)))


def slips(asked: SlipsRequest) -> tuple[bytes, str, str]:
    """Return what is printed of a marked class: content, name and media type.

    Raises:
        HarmoniseError: If nothing could be marked.
    """
    marking, page = asked.marking, page_of(asked.page)
    judged = list(_class(marking))
    records = merged((), (each.record for each in judged))
    if all(record.problem for record in records):
        raise OutputError("No work could be marked.", None, "See what is said of each.")
    if asked.kind == "csv":
        table = format_class_csv(records, marking.out_of)
        return table.encode(), "class.csv", "text/csv; charset=utf-8"
    if asked.kind == "table":
        made = format_class_pdf(records, page, marking.out_of)
        return made, "class.pdf", "application/pdf"
    printed = [
        (f"{each.name}.pdf", _slip(script, each, marking, asked))
        for script, each in zip(marking.scripts, judged, strict=True)
        if not each.record.problem
    ]
    if len(printed) == 1:
        ((name, content),) = printed
        return content, name, "application/pdf"
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in printed:
            archive.writestr(zipfile.ZipInfo(name, _NEW_YEAR), content)
    return packed.getvalue(), "slips.zip", "application/zip"


def _slip(
    script: HandedIn, judged: _Judged, marking: MarkRequest, asked: SlipsRequest
) -> bytes:
    how = SlipManner(
        MarkingManner(read_points(), marking.style),
        page_of(asked.page),
        marking.hints,
        marking.out_of,
        tuple(_overrides(judged.plain, marking, script)),
    )
    shelf = _shelf(_task_of(marking))
    given = shelf.get(script.base64)
    return slip_of(script.base64, given, judged.name, how).pdf()


def _class(asked: MarkRequest) -> Iterator[_Judged]:
    """Yield the works of a class; one that cannot be read stops no other."""
    shelf = _shelf(_task_of(asked))
    for script in asked.scripts:
        name = name_of(script)
        try:
            given = shelf.get(script.base64)
            yield _judged(script, given, asked)
        except HarmoniseError as error:
            content = content_of(script.base64)
            yield _Judged(
                name,
                WorkRecord(name, file=script.name, problem=str(error), content=content),
            )


def _judged(script: HandedIn, given: GivenOut, asked: MarkRequest) -> _Judged:
    data, name = script.base64, name_of(script)
    manner = MarkingManner(read_points(), asked.style)
    if given.task is None:
        slip = slip_of(data, given, name, SlipManner(manner))
        return _Judged(name, slip.record._replace(file=script.name), text=slip.text)
    plain = mark(parse_script(data, given.task.model.tune), given.task, manner, name)
    done = overridden(plain, tuple(_overrides(plain, asked, script)))
    record = record_of(done, given.name, content_of(data))._replace(file=script.name)
    return _Judged(name, record, plain, done)


def _overrides(
    plain: Marking | None, asked: MarkRequest, script: HandedIn
) -> Iterator[Override]:
    """Yield what the teacher decided of one script."""
    number = asked.scripts.index(script)
    for one in asked.changes:
        if one.script != number or plain is None:
            continue
        if one.line >= len(plain.lines):
            continue  # It was of another task, such as one that was chosen before.
        line = plain.lines[one.line]
        reason = " ".join(one.reason.split()).rstrip(".")
        key = line.kind.key.upper()
        yield Override(plain.name, line.place, key, one.points, reason)


def _task_of(asked: MarkRequest) -> MarkRequest:
    """Return what is asked of pupils, without what they handed in."""
    return MarkRequest(
        asked.source,
        asked.tune,
        asked.settings,
        asked.locks,
        against=asked.against,
        sheet=asked.sheet,
    )


@lru_cache(maxsize=4)
def _shelf(asked: MarkRequest) -> TaskShelf:
    """Return what pupils were asked for, once for all of them."""
    points = read_points()
    if asked.against == "work":
        return TaskShelf(points, None, tune_there(asked.arranging))
    if asked.against == "tune":
        style = request_of(asked.settings).style
        plain = Style(style.level, style.harmonic_rhythm)
        return TaskShelf(
            points, GivenOut(task_of_tune(tune_there(asked.arranging), plain))
        )
    sheet = sheet_of(asked.arranging, asked.sheet)
    task = None if sheet.is_list else task_of_whole_sheet(sheet)
    return TaskShelf(points, GivenOut(task, sheet))


def name_of(script: HandedIn) -> str:
    """Return whose a script is: the name of its file without its ending."""
    name = script.name.replace("\\", "/").rpartition("/")[2]
    return name.rpartition(".")[0] or name or "Script"


def _shown(judged: _Judged, asked: MarkRequest, number: int) -> ShownWork:
    record, out_of = judged.record, asked.out_of
    if record.problem:
        return ShownWork(judged.name, record.problem)
    got = format_marks(record.scaled(out_of) if out_of else record.got)
    marks = f"{got} of {out_of or format_marks(record.worth)}"
    plain, done = judged.plain, judged.done
    if plain is None or done is None:
        found = tuple(line for line in judged.text.splitlines() if line)
        return ShownWork(judged.name, "", marks, others=found)
    reasons = {one.line: one.reason for one in asked.changes if one.script == number}
    rows = zip(done.lines, plain.lines, strict=True)
    return ShownWork(
        judged.name,
        "",
        marks,
        done.praise,
        tuple(
            _line(done, *pair, reasons.get(at, ""), hints=asked.hints)
            for at, pair in enumerate(rows)
        ),
        tuple(_others(done)),
        tuple(sum_lines(done, out_of)),
        tuple(practise(done)),
        done.notes,
    )


def _line(
    marking: Marking, line: SlipLine, before: SlipLine, reason: str, *, hints: bool
) -> ShownLine:
    text = format_line(line, marking, hints=hints)
    points, usual = float(line.points), float(before.points)
    return ShownLine(line.number, text, points, usual, reason)


def _others(marking: Marking) -> Iterator[str]:
    for blank in marking.blanks:
        place = where(blank.place)
        yield f"{place}: {blank.what} left blank, − {format_marks(blank.points)}."
    for item, back in marking.back:
        place = where(marking.task.items[item].place)
        text = "given back, no chord loses more than it is worth"
        yield f"{place}: {text}, + {format_marks(back)}."


def _table(records: Sequence[WorkRecord]) -> tuple[tuple[str, ...], ...]:
    """Return a row a pupil, a column a fault, what was earned at the end."""
    marked = [record for record in records if not record.problem]
    if not marked:
        return ()
    keys = [key for key in BY_KEY if any(key in dict(one.lost) for one in marked)]
    head = ("Pupil", *(BY_KEY[key].name for key in keys), "blank", "Marks", "Of")
    rows = [
        (
            one.pupil,
            *(format_marks(dict(one.lost).get(key, Fraction(0))) for key in keys),
            format_marks(one.blank),
            format_marks(one.got),
            format_marks(one.worth),
        )
        for one in marked
    ]
    return (head, *rows)
