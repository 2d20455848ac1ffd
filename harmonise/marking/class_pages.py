"""The tables of a class: one row a pupil, the commonest faults, and how each goes on.

Every column says in words what it is. Marks stand beside per cent, for tasks are worth
different sums. Of several tries at one task the last counts, and what was mended since
the one before is told.
"""

import csv
from collections.abc import Iterator, Sequence
from fractions import Fraction
from io import StringIO

from harmonise.lessons.page_breaks import blocks_height, room_of
from harmonise.marking.marked import format_marks
from harmonise.marking.register import (
    NOTHING,
    WorkRecord,
    decimal,
    latest,
    pupils_of,
    safe,
    tasks_of,
    tries_of,
)
from harmonise.marking.slip import suggestion
from harmonise.notation.paper.blocks import Block, Lettering, Page, Table, Title, Words
from harmonise.notation.paper.typesetting import typeset
from harmonise.rules.table import BY_KEY

_COMMONEST = 3
_NARROW = "\N{NO-BREAK SPACE}"
_UPRIGHT = 6
"""So many tasks have room on an upright page."""
_INSETS = (2, 1.6, 1.3, 1)
"""Millimetres between rules and text of the table: a class is seen at a glance."""


def format_class_csv(records: Sequence[WorkRecord], out_of: int = 0) -> str:
    """Return the table of a class as CSV, one row a pupil; marks are decimals."""
    tasks = tasks_of(records)
    head = ["Pupil", "Per cent of all tasks"]
    for task in tasks:
        head += [f"{task}: {name}" for name in _columns(out_of)]
    made = StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow([*map(safe, head), "Not marked"])
    for pupil in pupils_of(records):
        cells = [
            cell for task in tasks for cell in _cells(records, pupil, task, out_of)
        ]
        mean = mean_of(records, pupil)
        row = [safe(pupil), "" if mean is None else str(mean), *cells]
        writer.writerow([*row, safe("; ".join(unmarked(records, pupil)))])
    return made.getvalue()


def _columns(out_of: int) -> list[str]:
    scaled = [f"marks of {out_of}"] if out_of else []
    return ["marks", "of", *scaled, "per cent", "tries"]


def _cells(
    records: Sequence[WorkRecord], pupil: str, task: str, out_of: int
) -> list[str]:
    tries = tries_of(records, pupil, task)
    if not tries:
        return [""] * len(_columns(out_of))
    last = tries[-1]
    scaled = [decimal(last.scaled(out_of))] if out_of else []
    numbers = [decimal(last.got), decimal(last.worth), *scaled]
    return [*numbers, str(last.per_cent), str(len(tries))]


def mean_of(records: Sequence[WorkRecord], pupil: str) -> int | None:
    """Return the mean per cent of the tasks that a pupil handed in; None for none."""
    found = [tries_of(records, pupil, task) for task in tasks_of(records)]
    rates = [100 * tries[-1].got / tries[-1].worth for tries in found
             if tries and tries[-1].worth]  # fmt: skip
    return round(sum(rates, Fraction(0)) / len(rates)) if rates else None


def unmarked(records: Sequence[WorkRecord], pupil: str) -> list[str]:
    """Return what of a pupil's was not marked, with its reason."""
    rows = [row for row in records if row.pupil == pupil and row.problem]
    several = len(tasks_of(records)) > 1
    return [
        f"{row.file or (row.task if several else '')}: {row.problem}".removeprefix(": ")
        for row in rows
    ]


def commonest(records: Sequence[WorkRecord]) -> tuple[tuple[str, int], ...]:
    """Return the three faults that most works have, with how many have them."""
    marked = [record for record in latest(records) if not record.problem]
    counts = {key: sum(key in row.found for row in marked) for key in BY_KEY}
    order = sorted((key for key in counts if counts[key]), key=lambda k: -counts[k])
    return tuple((key, counts[key]) for key in order[:_COMMONEST])


def summary(records: Sequence[WorkRecord]) -> list[str]:
    """Return the commonest faults with drills, a sentence each."""
    count = sum(not record.problem for record in latest(records))
    return [
        f"{number} of {count}: {suggestion(key)}" for key, number in commonest(records)
    ]


def trends(records: Sequence[WorkRecord], pupil: str) -> list[str]:
    """Return how a pupil's faults went from task to task, and what to practise next.

    Returns:
        A sentence for each fault that was made in more than one task or mended, in the
        order of what they cost last; then the drill of the costliest one of the last
        task. [] for a pupil with one task only.
    """
    tries = [tries_of(records, pupil, task) for task in tasks_of(records)]
    last = [each[-1] for each in tries if each]
    told = [line for each in tries for line in _mended(each)]
    if len(last) < 2:
        return told
    rows = {
        key: [dict(one.lost).get(key, Fraction(0)) for one in last] for key in BY_KEY
    }
    made = [key for key, costs in rows.items() if any(costs)]
    made.sort(key=lambda key: rows[key][-1], reverse=True)
    told += [
        f"{BY_KEY[key].name}: {' → '.join(map(format_marks, rows[key]))}, "
        f"{_way(rows[key])}"
        for key in made
    ]
    worst = [key for key in made if rows[key][-1]]
    return [*told, *(f"Next: {suggestion(key)}" for key in worst[:1])]


def _way(costs: Sequence[Fraction]) -> str:
    """Return in a word how a fault went on from task to task."""
    *earlier, last = costs
    before = max(earlier)
    if not last:
        return "mended"
    if not before:
        return "new"
    return (
        "better"
        if last < earlier[-1]
        else "worse"
        if last > earlier[-1]
        else "as before"
    )


def _mended(tries: Sequence[WorkRecord]) -> Iterator[str]:
    """Yield what the last two tries at a task differ in."""
    if len(tries) < 2:
        return
    before, after = tries[-2:]
    old, new = dict(before.lost), dict(after.lost)
    gone = [BY_KEY[key].name for key in old if key not in new]
    come = [BY_KEY[key].name for key in new if key not in old]
    parts = [f"mended: {', '.join(gone)}" if gone else ""]
    parts.append(f"new: {', '.join(come)}" if come else "")
    marks = f"{format_marks(before.got)} → {format_marks(after.got)}"
    told = "; ".join(filter(None, parts)) or "no fault mended"
    worth = format_marks(after.worth)
    yield f"Try {after.attempt} of {after.task}: {marks} of {worth}, {told}"


def format_class_pdf(
    records: Sequence[WorkRecord], page: Page, out_of: int = 0
) -> bytes:
    """Return the tables of a class as a PDF.

    Args:
        records: The register.
        page: The page; many tasks lie on its long side.
        out_of: Marks that each work is scaled to; 0 for none.

    Raises:
        LibraryError: If typst is not installed.
    """
    tasks = tasks_of(records)
    title = tasks[0] if len(tasks) == 1 else f"{len(tasks)} tasks"
    across = len(tasks) > _UPRIGHT
    page = page._replace(landscape=across, title=f"Class: {title}")
    blocks: list[Block] = [Title("Class", title)]
    blocks += _one_task(records, out_of) if len(tasks) < 2 else _tasks(records, out_of)
    most_made = summary(records)
    if most_made:
        blocks += [Words("The commonest faults", Lettering.HEADING)]
        blocks.append(Words("\n".join(most_made)))
    failed = [row for row in records if row.file and row.problem]
    if len(tasks) < 2:
        # The reason stands in a row already where nothing else does.
        failed = [row for row in failed if tries_of(records, row.pupil, row.task)]
    if failed:
        listed = "\n".join(f"{row.file}: {row.problem}" for row in failed)
        blocks += [Words("Not marked", Lettering.HEADING), Words(listed)]
    return typeset([*_on_one_page(blocks, page), *_progress(records)], page)


def _on_one_page(blocks: Sequence[Block], page: Page) -> list[Block]:
    """Return blocks whose table is set closer where that keeps them on one page."""
    for inset in _INSETS:
        closer = [
            block._replace(inset=inset) if isinstance(block, Table) else block
            for block in blocks
        ]
        if blocks_height(closer, page) <= room_of(page):
            return closer
    return list(blocks)


def _one_task(records: Sequence[WorkRecord], out_of: int) -> Iterator[Block]:
    """Yield the table of one task: marks, per cent, and what was lost in words."""
    tasks = tasks_of(records)
    head = ["Pupil", "Marks", *([f"Of {out_of}"] if out_of else []), "Per cent"]
    rows = [(*head, "What was lost")]
    for pupil in pupils_of(records):
        tries = tries_of(records, pupil, tasks[0]) if tasks else ()
        if not tries:
            blank = ("–",) * (len(head) - 1)
            rows.append((pupil, *blank, "; ".join(unmarked(records, pupil))))
            continue
        last = tries[-1]
        scaled = [_marks(last.scaled(out_of))] if out_of else []
        marks = f"{_marks(last.got)} of {_marks(last.worth)}".replace(" ", _NARROW)
        rows.append((pupil, marks, *scaled, f"{last.per_cent}", _lost(last)))
    narrow = (1.5,) * (len(head) - 3)
    yield Table(tuple(rows), (2.6, 2.5, *narrow, 2.0, 9.5))


def _marks(marks: Fraction) -> str:
    return format_marks(marks).replace(" ", _NARROW)


def _lost(record: WorkRecord) -> str:
    """Return what a work lost, the costliest first."""
    costs = sorted(record.lost, key=lambda row: -row[1])
    lost = [(BY_KEY[key].name, marks) for key, marks in costs]
    lost += [("left blank", record.blank)] if record.blank else []
    lost += [("given back", record.back)] if record.back else []
    parts = [f"{what}{_NARROW}{_marks(marks)}" for what, marks in lost]
    return ", ".join(parts) or "nothing"


def _tasks(records: Sequence[WorkRecord], out_of: int) -> Iterator[Block]:
    """Yield the table of several tasks: per cent, or marks of a sum, task by task."""
    tasks = tasks_of(records)
    what = f"marks of {out_of}" if out_of else "per cent"
    numbers = [str(number) for number in range(1, len(tasks) + 1)]
    rows = [("Pupil", *numbers, "All, per cent", "Not marked")]
    for pupil in pupils_of(records):
        cells = [_cell(tries_of(records, pupil, task), out_of) for task in tasks]
        mean = mean_of(records, pupil)
        absent = sum(r.pupil == pupil and r.problem == NOTHING for r in records)
        unread = sum(bool(r.pupil == pupil and r.problem and r.file) for r in records)
        told = [f"{absent} not handed in"] if absent else []
        told += [f"{unread} not readable"] if unread else []
        last = "–" if mean is None else str(mean)
        rows.append((pupil, *cells, last, ", ".join(told)))
    widths = (3.0, *[1.1] * len(tasks), 1.4, 3.0)
    if not any(row[-1] for row in rows[1:]):
        rows, widths = [row[:-1] for row in rows], widths[:-1]
    yield Table(tuple(rows), widths)
    listed = (f"{number}: {task}" for number, task in zip(numbers, tasks, strict=True))
    legend = f"Columns are tasks, in {what}; an arrow parts two tries.\n"
    yield Words(legend + "\n".join(listed), Lettering.SMALL)


def _cell(tries: Sequence[WorkRecord], out_of: int) -> str:
    told = [
        _marks(one.scaled(out_of)) if out_of else str(one.per_cent)
        for one in tries[-2:]
    ]
    return "→".join(told) or "–"


def _progress(records: Sequence[WorkRecord]) -> Iterator[Block]:
    """Yield how each pupil goes on, where there is more than one task or try."""
    told = [(pupil, trends(records, pupil)) for pupil in pupils_of(records)]
    rows = [(pupil, "\n".join(lines)) for pupil, lines in told if lines]
    if rows:
        yield Words("From task to task", Lettering.HEADING)
        yield Table(
            (("Pupil", "Marks lost by fault, and what to do next"), *rows), (3, 14)
        )
