"""The register of a class: a record for each work, over as many tasks as there are.

A work that cannot be read has a record that says why, and so has a pupil who handed in
nothing. A work that is handed in again after corrections is a further try; the latest
one counts. The register is kept as CSV that a spreadsheet opens, one row a work.
"""

import csv
import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from io import StringIO
from typing import NamedTuple

from harmonise.errors import NotationError
from harmonise.marking.marked import scaled_to
from harmonise.notation.signed import is_signature
from harmonise.rules.table import BY_KEY

NOTHING = "nothing handed in"
"""Why a pupil has no marks for a task that others did."""
_HEAD = ("Pupil", "Task", "Try", "File", "Marks", "Of", "Per cent")
_TAIL = ("Left blank", "Given back", "Not marked because", "Content")
_FAULT = re.compile(r"\((M\d\d(?:\.\w+)?)\)$")
_FORMULA = "=+-@"
"""A spreadsheet takes a text that begins so for a formula."""


class WorkRecord(NamedTuple):
    """What became of one work.

    Attributes:
        pupil: Whose it is.
        task: What it is of; "" where the work does not say.
        file: Its file; "" where nothing was handed in.
        got: Marks earned; 0 where it was not marked.
        worth: Marks of the whole task; 0 where that is not known.
        lost: Marks lost by key of the fault, those that cost nothing left out.
        found: Keys of all faults that were told.
        blank: Marks not earned for what was left blank.
        back: Marks given back.
        problem: Why it was not marked; "" if it was.
        content: What tells its content from others: letters and figures.
        attempt: Number of the try, from 1.
    """

    pupil: str
    task: str = ""
    file: str = ""
    got: Fraction = Fraction(0)
    worth: Fraction = Fraction(0)
    lost: tuple[tuple[str, Fraction], ...] = ()
    found: tuple[str, ...] = ()
    blank: Fraction = Fraction(0)
    back: Fraction = Fraction(0)
    problem: str = ""
    content: str = ""
    attempt: int = 1

    @property
    def per_cent(self) -> int:
        """Marks of a hundred, to the nearest; 0 where there are none to earn."""
        return round(100 * self.got / self.worth) if self.worth else 0

    def scaled(self, out_of: int) -> Fraction:
        """Return what was earned of another total, to the nearest half."""
        return scaled_to(self.got, self.worth, out_of)


def merged(
    earlier: Sequence[WorkRecord], new: Iterable[WorkRecord]
) -> tuple[WorkRecord, ...]:
    """Return a register with new works; the same content again is no further try."""
    records = list(earlier)
    for record in new:
        same = [each for each in records if _is_of(each, record)]
        again = [each for each in same if each.content == record.content]
        if again:
            at = records.index(again[0])
            records[at] = record._replace(attempt=again[0].attempt)
            continue
        tries = [each.attempt for each in same if not each.problem]
        records.append(record._replace(attempt=max(tries, default=0) + 1))
    return tuple(record for record in records if not _is_made_good(record, records))


def _is_of(one: WorkRecord, other: WorkRecord) -> bool:
    return (one.pupil, one.task) == (other.pupil, other.task)


def _is_made_good(record: WorkRecord, records: Sequence[WorkRecord]) -> bool:
    """Whether nothing was handed in at first, and something was later."""
    late = record.problem == NOTHING
    return late and any(_is_of(each, record) and each.file for each in records)


def with_absent(
    records: Sequence[WorkRecord], pupils: Sequence[str]
) -> tuple[WorkRecord, ...]:
    """Return a register in which every pupil has a record for every task.

    Args:
        records: The works.
        pupils: The names of the class; () for those who handed in something.
    """
    known = list(dict.fromkeys([*pupils, *(record.pupil for record in records)]))
    there = {(record.pupil, record.task) for record in records}
    # Who handed in what nobody can read need not have handed in nothing besides.
    unread = {record.pupil for record in records if not record.task}
    absent = [
        WorkRecord(pupil, task, problem=NOTHING)
        for task in tasks_of(records)
        for pupil in known
        if (pupil, task) not in there and pupil not in unread
    ]
    return (*records, *absent)


def tasks_of(records: Iterable[WorkRecord]) -> tuple[str, ...]:
    """Return the tasks of a register, in the order in which they came."""
    return tuple(dict.fromkeys(record.task for record in records if record.task))


def pupils_of(records: Iterable[WorkRecord]) -> tuple[str, ...]:
    """Return the pupils of a register in the order of the alphabet."""
    names = dict.fromkeys(record.pupil for record in records)
    return tuple(sorted(names, key=str.casefold))


def tries_of(
    records: Iterable[WorkRecord], pupil: str, task: str
) -> tuple[WorkRecord, ...]:
    """Return the marked works of a pupil for a task, the first try first."""
    found = [
        record
        for record in records
        if (record.pupil, record.task, record.problem) == (pupil, task, "")
    ]
    return tuple(sorted(found, key=lambda record: record.attempt))


def latest(records: Sequence[WorkRecord]) -> tuple[WorkRecord, ...]:
    """Return the records of a register, of several tries the last one only."""
    last: dict[tuple[str, str, str], WorkRecord] = {}
    for record in records:
        unmarked = record.file if record.problem else ""
        last[record.pupil, record.task, unmarked] = record
    return tuple(last.values())


def format_register(records: Sequence[WorkRecord]) -> str:
    """Return a register as CSV, one row a work; marks are decimals."""
    keys = [key for key in BY_KEY if any(key in dict(r.lost) for r in records)]
    names = [f"{BY_KEY[key].name} ({key})" for key in keys]
    made = StringIO()
    writer = csv.writer(made, lineterminator="\n")
    writer.writerow([*_HEAD, *names, *_TAIL])
    for record in records:
        lost = dict(record.lost)
        marked = not record.problem
        numbers = [record.got, record.worth, Fraction(record.per_cent)]
        faults = [lost.get(key, Fraction(0)) for key in keys]
        ends = [record.blank, record.back]
        writer.writerow(
            [
                *map(safe, (record.pupil, record.task)),
                record.attempt,
                safe(record.file),
                *(decimal(number) if marked else "" for number in numbers),
                *(decimal(number) if marked else "" for number in (*faults, *ends)),
                record.problem,
                record.content,
            ]
        )
    return made.getvalue()


def safe(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in _FORMULA and text else text


def decimal(number: Fraction) -> str:
    """Return marks as spreadsheets read them."""
    return f"{float(number):g}"


def parse_register(text: str) -> tuple[WorkRecord, ...]:
    """Return the register that a CSV holds.

    Raises:
        NotationError: If it is no register.
    """
    lines = text.splitlines(keepends=True)
    if lines and is_signature(lines[-1].strip()):
        lines.pop()
    reader = csv.DictReader(lines)
    names = reader.fieldnames or ()
    if not {*_HEAD, *_TAIL} <= set(names):
        raise NotationError(
            "This file is no register of a class.",
            None,
            "Name one that harmonise wrote, or a new one.",
        )
    keys = {name: match[1] for name in names if (match := _FAULT.search(name))}
    try:
        return tuple(_record(row, keys) for row in reader)
    except (ValueError, TypeError) as error:
        raise NotationError(
            f"Line {reader.line_num} of the register cannot be read.",
            None,
            "Undo what was changed in that line.",
        ) from error


def _record(row: dict[str, str], keys: dict[str, str]) -> WorkRecord:
    """Return the record of a row.

    Raises:
        ValueError: If a number is none.
        TypeError: If a cell is missing.
    """
    lost = [(key, Fraction(row[name] or 0)) for name, key in keys.items()]
    bare = {name: _bare(row[name]) for name in ("Pupil", "Task", "File")}
    return WorkRecord(
        bare["Pupil"],
        bare["Task"],
        bare["File"],
        Fraction(row["Marks"] or 0),
        Fraction(row["Of"] or 0),
        tuple((key, marks) for key, marks in lost if marks and key in BY_KEY),
        tuple(key for key, marks in lost if marks and key in BY_KEY),
        Fraction(row["Left blank"] or 0),
        Fraction(row["Given back"] or 0),
        row["Not marked because"],
        row["Content"],
        int(row["Try"]),
    )


def _bare(text: str) -> str:
    quoted = text[:1] == "'" and text[1:2] and text[1:2] in _FORMULA
    return text[1:] if quoted else text
