"""Pupils' work marked for the page: what each lost and why, as the teacher sees it.

Nothing is kept: the scripts and the teacher's changes come with every question, and
slips and table are made anew of them, so that no two can differ.
"""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Annotated, NamedTuple

from msgspec import Meta
from msgspec.structs import replace

from harmonise.errors import HarmoniseError, NotationError, OutputError, Place, listed
from harmonise.lessons.drills import exercises, keys_for
from harmonise.marking.class_pages import format_class_csv, format_class_pdf, summary
from harmonise.marking.given_out import GivenOut, TaskShelf, identity_of_work
from harmonise.marking.lead_sheets import script_for
from harmonise.marking.mark import mark
from harmonise.marking.marked import Marking, MarkingManner, format_marks
from harmonise.marking.overrides import LEFT_BLANK, Override, overridden
from harmonise.marking.register import (
    WorkRecord,
    format_register,
    latest,
    merged,
    parse_register,
    tasks_of,
)
from harmonise.marking.slip import format_line, practise, sum_lines, where
from harmonise.marking.slips import SlipManner, content_of, record_of, slip_of
from harmonise.marking.task import Blank, read_points
from harmonise.marking.tasks import (
    task_of_exercises,
    task_of_tune,
    task_of_whole_sheet,
)
from harmonise.page.lesson_requests import HandedIn, MarkRequest, SlipsRequest
from harmonise.page.making import page_of, request_of, tune_there
from harmonise.page.requests import PageAnswer
from harmonise.page.sheets import packed, sheet_of
from harmonise.rules.table import BY_KEY
from harmonise.theory.arrangement import Style


class ShownLine(PageAnswer, frozen=True):
    """One line of a slip: what was found or left blank, and what it costs.

    Attributes:
        number: Its number in the score; 0 for a comment, and for what is blank.
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
        lines: What was found, in score order, then what was left blank.
        others: What was given back.
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
    records = _register(judged, asked)
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
    records = _register(judged, marking)
    if all(each.record.problem for each in judged):
        raise OutputError("No work could be marked.", None, "See what is said of each.")
    if asked.kind == "csv":
        table = format_class_csv(records, marking.out_of)
        return table.encode(), "class.csv", "text/csv; charset=utf-8"
    if asked.kind == "register":
        kept = format_register(records)
        return kept.encode(), "register.csv", "text/csv; charset=utf-8"
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
    return packed(dict(printed)), "slips.zip", "application/zip"


def _register(judged: Sequence[_Judged], asked: MarkRequest) -> tuple[WorkRecord, ...]:
    """Return a register that goes on with these works.

    What is handed in again after corrections is a further try.

    Raises:
        NotationError: If what it goes on from is no register.
    """
    earlier = parse_register(asked.register) if asked.register else ()
    return merged(earlier, (each.record for each in judged))


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
    given = _given(script, marking)
    return slip_of(script.base64, given, judged.name, how).pdf()


def _class(asked: MarkRequest) -> Iterator[_Judged]:
    """Yield the works of a class; one that cannot be read stops no other."""
    for script in asked.scripts:
        try:
            yield _judged(script, _given(script, asked), asked)
        except HarmoniseError as error:
            name, content = name_of(script), content_of(script.base64)
            yield _Judged(
                name,
                WorkRecord(name, file=script.name, problem=str(error), content=content),
            )


def _given(script: HandedIn, asked: MarkRequest) -> GivenOut:
    """Return what a work was given out as: what it says itself, or what is chosen."""
    found = identity_of_work(script.base64)
    if not found:
        return _chosen(_task_of(asked))
    contents = tuple(each.base64 for each in asked.scripts)
    try:
        return _said(_task_of(asked), contents).get(script.base64)
    except NotationError as error:
        there = "Open that tune on the page, then mark again."
        raise NotationError(error.what, error.place, there) from None


def _judged(script: HandedIn, given: GivenOut, asked: MarkRequest) -> _Judged:
    data, name = script.base64, name_of(script)
    manner = MarkingManner(read_points(), asked.style)
    if given.task is None:
        slip = slip_of(data, given, name, SlipManner(manner))
        return _Judged(name, slip.record._replace(file=script.name), text=slip.text)
    plain = mark(script_for(data, given.task), given.task, manner, name)
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
        deductions = [
            *((line.place, line.kind.key.upper()) for line in plain.lines),
            *((place, LEFT_BLANK) for place in _blanks(plain)),
        ]
        if one.line >= len(deductions):
            continue  # It was of another task, such as one that was chosen before.
        place, fault = deductions[one.line]
        reason = " ".join(one.reason.split()).rstrip(".")
        yield Override(plain.name, place, fault, one.points, reason)


def _blanks(marking: Marking) -> dict[Place, tuple[Blank, ...]]:
    """Return what was left blank, place by place: it costs what is decided at once."""
    return {
        place: tuple(blank for blank in marking.blanks if blank.place == place)
        for place in dict.fromkeys(blank.place for blank in marking.blanks)
    }


def _task_of(asked: MarkRequest) -> MarkRequest:
    """Return what is asked of pupils, without what they handed in."""
    return MarkRequest(
        asked.source,
        asked.tune,
        asked.settings,
        asked.locks,
        against=asked.against,
        sheet=asked.sheet,
        drill=asked.drill,
        drill_key=asked.drill_key,
    )


@lru_cache(maxsize=4)
def _said(asked: MarkRequest, works: tuple[bytes, ...]) -> TaskShelf:
    """Return the tasks that works say they are, once for all of them.

    The tune of a worksheet may be the page's; a page without one does no harm.
    """
    try:
        tune = tune_there(asked.arranging)
    except HarmoniseError:
        tune = None
    shelf = TaskShelf(read_points(), None, tune)
    shelf.add_works(works)
    return shelf


@lru_cache(maxsize=4)
def _chosen(asked: MarkRequest) -> GivenOut:
    """Return what pupils were asked for as the teacher chose it, once for all of them.

    Raises:
        HarmoniseError: If it cannot be made.
    """
    if asked.against == "drill":
        keys = keys_for(asked.drill, [asked.drill_key] if asked.drill_key else [])[:1]
        return GivenOut(task_of_exercises(exercises(asked.drill, keys)))
    if asked.against == "tune":
        style = request_of(asked.settings).style
        plain = Style(style.level, style.harmonic_rhythm)
        return GivenOut(task_of_tune(tune_there(asked.arranging), plain))
    sheet = sheet_of(asked.arranging, asked.sheet)
    return GivenOut(None if sheet.is_list else task_of_whole_sheet(sheet), sheet)


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
    lines = enumerate(_lines(done, plain, hints=asked.hints))
    return ShownWork(
        judged.name,
        "",
        marks,
        done.praise,
        tuple(replace(line, reason=reasons.get(at, "")) for at, line in lines),
        tuple(_others(done)),
        tuple(sum_lines(done, out_of)),
        tuple(practise(done)),
        done.notes,
    )


def _lines(done: Marking, plain: Marking, *, hints: bool) -> Iterator[ShownLine]:
    """Yield every deduction as it is now and as it was: faults, then blanks."""
    for line, before in zip(done.lines, plain.lines, strict=True):
        text = format_line(line, done, hints=hints)
        yield ShownLine(line.number, text, float(line.points), float(before.points), "")
    before_decided = _blanks(plain)
    for place, blanks in _blanks(done).items():
        parts = listed([blank.what for blank in blanks])
        yield ShownLine(
            0,
            f"{where(place)}: {parts} left blank.",
            float(sum(blank.points for blank in blanks)),
            float(sum(blank.points for blank in before_decided[place])),
            "",
        )


def _others(marking: Marking) -> Iterator[str]:
    for item, back in marking.back:
        place = where(marking.task.items[item].place)
        text = "given back, no chord loses more than it is worth"
        yield f"{place}: {text}, + {format_marks(back)}."


def _table(records: Sequence[WorkRecord]) -> tuple[tuple[str, ...], ...]:
    """Return a row a work, a column a fault, what was earned at the end.

    Of several tries the latest counts; where a register goes on over several tasks each
    row says which it is of.
    """
    marked = [record for record in latest(records) if not record.problem]
    if not marked:
        return ()
    keys = [key for key in BY_KEY if any(key in dict(one.lost) for one in marked)]
    tasks = len(tasks_of(marked)) > 1
    tries = any(one.attempt > 1 for one in marked)
    head = ("Pupil", *["Task"] * tasks, *["Try"] * tries)
    ends = ("blank", "Marks", "Of")
    rows = [
        (
            one.pupil,
            *[one.task] * tasks,
            *[str(one.attempt)] * tries,
            *(format_marks(dict(one.lost).get(key, Fraction(0))) for key in keys),
            format_marks(one.blank),
            format_marks(one.got),
            format_marks(one.worth),
        )
        for one in marked
    ]
    return ((*head, *(BY_KEY[key].name for key in keys), *ends), *rows)
