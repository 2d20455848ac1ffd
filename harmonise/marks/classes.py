"""A class in one table: faults by pupils, whose sums are those of the slips."""

import csv
from collections.abc import Sequence
from fractions import Fraction
from io import StringIO
from typing import NamedTuple

from harmonise.marks.kinds import BY_KEY, KINDS
from harmonise.marks.marked import Marking, format_marks
from harmonise.marks.slip import suggestion
from harmonise.notation.sheets.blocks import (
    Block,
    Manner,
    Page,
    Table,
    Title,
    Words,
)
from harmonise.notation.sheets.typesetting import typeset

_COMMONEST = 3
CODES = tuple(dict.fromkeys(kind.code for kind in KINDS))


class Row(NamedTuple):
    """What one pupil lost and earned.

    Attributes:
        name: The pupil's.
        deducted: Marks by code of the fault.
        keys: Keys of the faults that were found.
        blank: Marks not earned for what was left blank.
        back: Marks given back.
        got: Marks earned.
        worth: Marks of the whole task.
    """

    name: str
    deducted: tuple[tuple[str, Fraction], ...]
    keys: tuple[str, ...]
    blank: Fraction
    back: Fraction
    got: Fraction
    worth: Fraction


def row_of(marking: Marking) -> Row:
    """Return the row of a pupil's work."""
    codes = sorted({own.kind.code for own in marking.lines if own.points})
    return Row(
        marking.name,
        tuple((code, marking.deducted(code)) for code in codes),
        tuple(sorted({own.kind.key for own in marking.lines if own.number})),
        sum((own.points for own in marking.blanks), Fraction(0)),
        sum((marks for _, marks in marking.back), Fraction(0)),
        marking.got,
        marking.worth,
    )


def commonest(rows: Sequence[Row]) -> tuple[tuple[str, int], ...]:
    """Return the three faults that most pupils made, with how many did."""
    counts = {key: sum(key in row.keys for row in rows) for key in BY_KEY}
    order = sorted((key for key in counts if counts[key]), key=lambda k: -counts[k])
    return tuple((key, counts[key]) for key in order[:_COMMONEST])


def table_of(rows: Sequence[Row]) -> tuple[tuple[str, ...], ...]:
    """Return the table: a row a pupil, a column a fault, sums at the foot."""
    codes = [code for code in CODES if any(code in dict(row.deducted) for row in rows)]
    head = ("Pupil", *codes, "Blank", "Back", "Marks", "Of")
    body = [_cells(row, codes) for row in rows]
    totals = [sum((column), Fraction(0)) for column in zip(*body, strict=True)]
    names = [row.name for row in rows]
    return (
        head,
        *((name, *map(_shown, own)) for name, own in zip(names, body, strict=True)),
        ("All", *map(_shown, totals)),
    )


def _cells(row: Row, codes: Sequence[str]) -> list[Fraction]:
    lost = dict(row.deducted)
    found = [lost.get(code, Fraction(0)) for code in codes]
    return [*found, row.blank, row.back, row.got, row.worth]


def _shown(marks: Fraction) -> str:
    return format_marks(marks)


def format_csv(rows: Sequence[Row]) -> str:
    """Return the table as CSV; marks are decimals, as spreadsheets read them."""
    made = StringIO()
    writer = csv.writer(made, lineterminator="\n")
    head, *body = table_of(rows)
    writer.writerow(head)
    codes = [name for name in head if name in CODES]
    cells = [_cells(row, codes) for row in rows]
    cells.append([sum(column, Fraction(0)) for column in zip(*cells, strict=True)])
    for own, marks in zip(body, cells, strict=True):
        writer.writerow([_safe(own[0]), *(f"{float(value):g}" for value in marks)])
    return made.getvalue()


def _safe(name: str) -> str:
    """Return a name that no spreadsheet takes for a formula."""
    return f"'{name}" if name[:1] in "=+-@" else name


def summary(rows: Sequence[Row]) -> list[str]:
    """Return the commonest faults with drills, a sentence each."""
    count = len(rows)
    return [
        f"{number} of {count}: {suggestion(key)}" for key, number in commonest(rows)
    ]


def format_class_pdf(
    rows: Sequence[Row], title: str, page: Page, failed: Sequence[str] = ()
) -> bytes:
    """Return the table of a class as a PDF.

    Args:
        rows: The pupils, in order.
        title: Of the task.
        page: The page; it is laid on its long side.
        failed: Works that could not be read, each with its reason.

    Raises:
        OutputError: If typst is not installed.
    """
    blocks: list[Block] = [Title("Class", title)]
    if rows:
        table = table_of(rows)
        widths = (3.0, *[1.0] * (len(table[0]) - 1))
        blocks.append(Table(table, widths))
        names = [f"{code} {_name(code)}" for code in table[0] if code in CODES]
        blocks.append(Words("; ".join(names), Manner.SMALL))
    told = summary(rows)
    if told:
        blocks += [Words("The commonest faults", Manner.HEADING)]
        blocks.append(Words("\n".join(told)))
    if failed:
        blocks += [Words("Not marked", Manner.HEADING), Words("\n".join(failed))]
    return typeset(blocks, page._replace(landscape=True, title=f"Class: {title}"))


def _name(code: str) -> str:
    if code == "M03":
        return "root, third or fifth missing"
    return next(kind.name for kind in KINDS if kind.code == code)
