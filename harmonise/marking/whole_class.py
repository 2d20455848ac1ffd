"""A whole class: a folder of scripts in, a slip for each and one table out.

The sums of the table are those of the slips. A script that cannot be read stops none of
the others and is named at the end.
"""

import csv
from collections.abc import Sequence
from fractions import Fraction
from io import StringIO
from pathlib import Path
from typing import NamedTuple

from harmonise.arranging.book import BookPiece, Outcome, told_apart
from harmonise.errors import OutputError
from harmonise.marking.mark import mark
from harmonise.marking.marked import Marking, MarkingManner, format_marks
from harmonise.marking.scripts import ENDINGS, parse_script
from harmonise.marking.slip import format_pdf, format_slip, suggestion
from harmonise.marking.task import Task
from harmonise.notation.files import check_target, keep_file, open_folder, write_whole
from harmonise.notation.paper.blocks import (
    A4_PAGE,
    Block,
    Lettering,
    Page,
    Table,
    Title,
    Words,
)
from harmonise.notation.paper.typesetting import typeset
from harmonise.notation.signed import sign_text
from harmonise.rules.table import BY_KEY, KINDS

_COMMONEST = 3
CODES = tuple(dict.fromkeys(kind.code for kind in KINDS))


class PupilRow(NamedTuple):
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


def row_of(marking: Marking) -> PupilRow:
    """Return what a marked work lost, code by code, and earned, for the table."""
    codes = sorted({line.kind.code for line in marking.lines if line.points})
    return PupilRow(
        marking.name,
        tuple((code, marking.deducted(code)) for code in codes),
        tuple(sorted({line.kind.key for line in marking.lines if line.number})),
        sum((blank.points for blank in marking.blanks), Fraction(0)),
        sum((marks for _, marks in marking.back), Fraction(0)),
        marking.got,
        marking.worth,
    )


def commonest(rows: Sequence[PupilRow]) -> tuple[tuple[str, int], ...]:
    """Return the three faults that most pupils made, with how many did."""
    counts = {key: sum(key in row.keys for row in rows) for key in BY_KEY}
    order = sorted((key for key in counts if counts[key]), key=lambda k: -counts[k])
    return tuple((key, counts[key]) for key in order[:_COMMONEST])


def table_of(rows: Sequence[PupilRow]) -> tuple[tuple[str, ...], ...]:
    """Return the table: a row a pupil, a column a fault, sums at the foot."""
    codes = [code for code in CODES if any(code in dict(row.deducted) for row in rows)]
    head = ("Pupil", *codes, "Blank", "Back", "Marks", "Of")
    body = [_cells(row, codes) for row in rows]
    totals = [sum((column), Fraction(0)) for column in zip(*body, strict=True)]
    names = [row.name for row in rows]
    return (
        head,
        *(
            (name, *map(format_marks, cells))
            for name, cells in zip(names, body, strict=True)
        ),
        ("All", *map(format_marks, totals)),
    )


def _cells(row: PupilRow, codes: Sequence[str]) -> list[Fraction]:
    lost = dict(row.deducted)
    found = [lost.get(code, Fraction(0)) for code in codes]
    return [*found, row.blank, row.back, row.got, row.worth]


def format_csv(rows: Sequence[PupilRow]) -> str:
    """Return the table as CSV; marks are decimals, as spreadsheets read them."""
    made = StringIO()
    writer = csv.writer(made, lineterminator="\n")
    head, *body = table_of(rows)
    writer.writerow(head)
    codes = [name for name in head if name in CODES]
    cells = [_cells(row, codes) for row in rows]
    cells.append([sum(column, Fraction(0)) for column in zip(*cells, strict=True)])
    for row, marks in zip(body, cells, strict=True):
        # A spreadsheet would take such a name for a formula.
        name = f"'{row[0]}" if row[0][:1] in "=+-@" else row[0]
        writer.writerow([name, *(f"{float(value):g}" for value in marks)])
    return made.getvalue()


def summary(rows: Sequence[PupilRow]) -> list[str]:
    """Return the commonest faults with drills, a sentence each."""
    count = len(rows)
    return [
        f"{number} of {count}: {suggestion(key)}" for key, number in commonest(rows)
    ]


def format_class_pdf(
    rows: Sequence[PupilRow], title: str, page: Page, failed: Sequence[str] = ()
) -> bytes:
    """Return the table of a class as a PDF.

    Args:
        rows: The pupils, in order.
        title: Of the task.
        page: The page; it is laid on its long side.
        failed: Works that could not be read, each with its reason.

    Raises:
        LibraryError: If typst is not installed.
    """
    blocks: list[Block] = [Title("Class", title)]
    if rows:
        table = table_of(rows)
        widths = (3.0, *[1.0] * (len(table[0]) - 1))
        blocks.append(Table(table, widths))
        # Root, third and fifth have names of their own under one code.
        names = {kind.code: kind.name for kind in reversed(KINDS)}
        names |= {"M03": "root, third or fifth missing"}
        legend = [f"{code} {names[code]}" for code in table[0] if code in CODES]
        blocks.append(Words("; ".join(legend), Lettering.SMALL))
    most_made = summary(rows)
    if most_made:
        blocks += [Words("The commonest faults", Lettering.HEADING)]
        blocks.append(Words("\n".join(most_made)))
    if failed:
        blocks += [Words("Not marked", Lettering.HEADING), Words("\n".join(failed))]
    return typeset(blocks, page._replace(landscape=True, title=f"Class: {title}"))


TABLE = "class"
"""Name, without ending, of the table of the class."""


class ClassOrder(NamedTuple):
    """How the scripts of a class are marked.

    Attributes:
        task: What was asked.
        manner: Points and style.
        folder: Where the slips go.
        page: The paper of the slips.
        hints: Whether questions stand in place of corrections.
        out_of: Marks that each work is scaled to; 0 for none.
        force: Whether existing files are replaced.
    """

    task: Task
    manner: MarkingManner
    folder: Path
    page: Page = A4_PAGE
    hints: bool = False
    out_of: int = 0
    force: bool = False


def scripts_of(works: Sequence[Path]) -> tuple[BookPiece, ...]:
    """Return the scripts of a class, in order: named files, and those of folders.

    Two scripts of one name get their folders into the names of their slips, and their
    endings where that is not enough.

    Raises:
        OutputError: If there is none.
    """
    files: list[Path] = []
    for work in works:
        inside = (
            path
            for path in (work.iterdir() if work.is_dir() else ())
            if path.suffix.lower() in ENDINGS and path.is_file()
        )
        named = sorted(path for path in inside if not path.name.startswith("."))
        files += named if work.is_dir() else [work]
    if not files:
        raise OutputError(
            f"There is no script in {', '.join(map(str, works))}.",
            None,
            f"Scripts are files that end in {', '.join(ENDINGS)}.",
        )
    for path in files:
        keep_file(path)
    alone = list(dict.fromkeys(files))
    pieces = [BookPiece(path.name, _slip_name(path, alone), path) for path in alone]
    return told_apart(pieces, (TABLE,))


def _slip_name(path: Path, works: Sequence[Path]) -> str:
    """Return the name of a work's slips, without ending."""
    alike = [work for work in works if work.stem == path.stem]
    folders = [work.absolute().parent for work in alike]
    folder, name = path.absolute().parent, path.stem
    if len(set(folders)) > 1:
        name = f"{folder.name}-{name}"
    return f"{name}-{path.suffix[1:]}" if folders.count(folder) > 1 else name


def mark_piece(order: ClassOrder, piece: BookPiece) -> tuple[Outcome, ...]:
    """Mark one script; its slips are to be written.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    if not isinstance(piece.content, bytes):
        raise TypeError(piece.content)
    script = parse_script(piece.content, order.task.model.tune)
    marking = mark(script, order.task, order.manner, piece.stem)
    text = format_slip(marking, hints=order.hints, out_of=order.out_of)
    paper = format_pdf(marking, order.page, hints=order.hints, out_of=order.out_of)
    pages = (
        (Path(f"{piece.stem}.txt"), (sign_text(text).encode(),)),
        (Path(f"{piece.stem}.pdf"), (paper,)),
    )
    return (Outcome(piece.name, pages=pages, about=row_of(marking)),)


def open_class(folder: Path, *, force: bool) -> None:
    """Make the folder of the slips, which may hold slips of other works already.

    Raises:
        OutputError: If it cannot be made, or has a table of a class already.
    """
    open_folder(folder, force=True)
    for ending in (".csv", ".pdf"):
        check_target(folder / f"{TABLE}{ending}", force=force)


def class_files(
    order: ClassOrder, rows: Sequence[PupilRow], failed: Sequence[str]
) -> tuple[str, ...]:
    """Write the table of a class and return the names of its files."""
    files = {
        f"{TABLE}.csv": sign_text(format_csv(rows)).encode(),
        f"{TABLE}.pdf": format_class_pdf(rows, order.task.title, order.page, failed),
    }
    for name, content in files.items():
        write_whole(order.folder / name, content, force=order.force)
    return tuple(files)
