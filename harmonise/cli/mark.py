"""The command `harmonise mark`: pupils' work marked, one script or a class.

What is offered is spelled out here, so that the other commands need not load it.
"""

import sys
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from harmonise.cli.choosing import HARMONIC_RHYTHM, LEVEL, PART, told
from harmonise.cli.mark_task import TASK, sheet_asked, task_asked
from harmonise.cli.options import LARGE_PRINT, PAPER, Command, page_of, with_options
from harmonise.errors import HarmoniseError, OutputError

if TYPE_CHECKING:
    from harmonise.arranging.book import BookPiece
    from harmonise.lessons.worksheet import Worksheet
    from harmonise.marking.marked import MarkingManner
    from harmonise.marking.whole_class import ClassOrder, Handed, PupilRow

_MANNER = (
    click.option(
        "--style",
        type=click.Choice(["keyboard", "strict"]),
        default="keyboard",
        show_default=True,
        help="Strict deducts for parallels and doubled leading notes; keyboard style "
        "comments on them.",
    ),
    click.option(
        "--points",
        type=click.Path(path_type=Path, dir_okay=False),
        help="A table of points of your own.",
    ),
    click.option(
        "--out-of",
        type=click.IntRange(1, 1000),
        help="Scales the whole to so many marks.",
    ),
    click.option(
        "--hints",
        is_flag=True,
        help="Prints questions in place of corrections; answers follow at the end.",
    ),
)


class _Job(NamedTuple):
    """What one call asks for."""

    works: tuple[Path, ...]
    given: dict[str, object]


def _with_options(command: Command) -> Command:
    return with_options(
        command, *TASK, *_MANNER, LEVEL, HARMONIC_RHYTHM, PART, PAPER, LARGE_PRINT
    )


@click.command()
@click.argument("works", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="Slip of one work: a name ending in .pdf or .txt. Of several, a folder: each "
    "gets a slip as text and as PDF, and the class a table as CSV and as PDF.",
)
@_with_options
@click.option(
    "--workers",
    type=click.IntRange(0, 64),
    default=0,
    help="Works marked at a time. Default: one a core.",
)
@click.option(
    "--write-points",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Writes the table of points that comes along, for you to edit.",
)
@click.option("--force", is_flag=True, help="Overwrites existing files.")
def mark(works: tuple[Path, ...], **given: object) -> None:
    """Mark WORKS: what pupils wrote for a tune, a drill or a worksheet.

    A work is MusicXML of any notation program, MIDI, or typed text; a folder is a
    class. Every deduction has its place, its reason and what is right.
    """
    with told(str(works[0]) if works else "harmonise mark"):
        _run(_Job(works, given))


def _run(job: _Job) -> None:
    table = job.given["write_points"]
    if isinstance(table, Path):
        _write_points(table, force=bool(job.given["force"]))
        return
    if not job.works:
        raise OutputError("No work is named.", None, "Name a file or a folder.")
    if not job.given["against"]:
        raise OutputError(
            "It is not said what was asked.", None, "Add --against TUNE or a drill."
        )
    sheet = sheet_asked(job.given) if job.given["sheet"] else None
    if sheet and job.given["sheet"] == "faults":
        _lists(job, sheet)
        return
    if len(job.works) == 1 and not job.works[0].is_dir():
        _one(job, sheet)
    else:
        _class(job, sheet)


def _write_points(target: Path, *, force: bool) -> None:
    from harmonise.marking.points import own_points  # noqa: PLC0415
    from harmonise.notation.files import write_whole  # noqa: PLC0415

    write_whole(target, own_points().encode(), force=force)
    click.echo(f"Written: {target}")


def _manner(job: _Job) -> "MarkingManner":
    from harmonise.marking.marked import MarkingManner  # noqa: PLC0415
    from harmonise.marking.points import MarkingStyle, read_points  # noqa: PLC0415

    own = job.given["points"]
    points = read_points(own if isinstance(own, Path) else None)
    return MarkingManner(points, MarkingStyle(job.given["style"]))


def _lists(job: _Job, sheet: "Worksheet") -> None:
    """Mark lists of faults; one that cannot be read is named at the end."""
    from harmonise.marking.whole_class import scripts_of  # noqa: PLC0415

    failed = []
    for piece in scripts_of(job.works):
        try:
            click.echo(_list(Path(str(piece.content)), sheet))
        except HarmoniseError as error:
            failed.append(f"{piece.name}: {error}")
    for line in failed:
        click.echo(line, err=True)
    if failed:
        sys.exit(1)


def _list(work: Path, sheet: "Worksheet") -> str:
    from harmonise.marking.fault_lists import (  # noqa: PLC0415
        format_found,
        mark_list,
        parse_list,
    )
    from harmonise.notation.formats import decode, read_bytes  # noqa: PLC0415

    named = parse_list(decode(read_bytes(work)))
    return (
        f"{work.stem}: {sheet.footer}\n{format_found(mark_list(named, sheet), sheet)}"
    )


def _one(job: _Job, sheet: "Worksheet | None") -> None:
    from harmonise.marking.mark import mark_file  # noqa: PLC0415
    from harmonise.marking.slip import format_slip  # noqa: PLC0415
    from harmonise.notation.files import check_target, write_whole  # noqa: PLC0415

    target, force = job.given["output"], bool(job.given["force"])
    if isinstance(target, Path):
        if target.suffix.lower() not in (".pdf", ".txt"):
            raise OutputError(
                f'"{target.name}" does not end in .pdf or .txt.',
                None,
                f"Call it {target.stem}.pdf.",
            )
        check_target(target, force=force)
    manner = _manner(job)
    done = mark_file(job.works[0], task_asked(job.given, sheet, manner), manner)
    out_of, hints = int(str(job.given["out_of"] or 0)), bool(job.given["hints"])
    text = format_slip(done, hints=hints, out_of=out_of)
    click.echo(text, nl=False)
    if not isinstance(target, Path):
        return
    content = text.encode()
    if target.suffix.lower() == ".pdf":
        from harmonise.marking.paper_slip import format_pdf  # noqa: PLC0415

        content = format_pdf(done, page_of(job.given), hints=hints, out_of=out_of)
    write_whole(target, content, force=force)
    click.echo(f"\nWritten: {target}")


def _class(job: _Job, sheet: "Worksheet | None") -> None:
    from harmonise.marking.whole_class import (  # noqa: PLC0415
        ClassOrder,
        class_files,
        open_folder,
        scripts_of,
    )

    manner = _manner(job)
    target = job.given["output"]
    folder = target if isinstance(target, Path) else Path("marked")
    order = ClassOrder(
        task_asked(job.given, sheet, manner),
        manner,
        folder,
        page_of(job.given),
        bool(job.given["hints"]),
        int(str(job.given["out_of"] or 0)),
        bool(job.given["force"]),
    )
    pieces = scripts_of(job.works)
    open_folder(folder, force=order.force)
    done = list(_shown(order, pieces, int(str(job.given["workers"]))))
    rows = [own.row for own in done if own.row]
    failed = [f"{own.name}: {own.failure}" for own in done if own.failure]
    for name in class_files(order, rows, failed):
        click.echo(f"Written: {folder / name}")
    _tell(rows, failed, len(done))
    if failed:
        sys.exit(1)


def _shown(
    order: "ClassOrder", pieces: "Sequence[BookPiece]", workers: int
) -> "Iterator[Handed]":
    """Yield what became of each work, and show on the terminal how far it is."""
    from harmonise.arranging.book import run_book  # noqa: PLC0415
    from harmonise.marking.whole_class import as_handed, mark_piece  # noqa: PLC0415

    with click.progressbar(
        length=len(pieces), label="Marking", file=sys.stderr, show_pos=True
    ) as bar:
        for found in run_book(pieces, partial(mark_piece, order), workers):
            bar.update(1)
            yield from map(as_handed, found)


def _tell(rows: "Sequence[PupilRow]", failed: Sequence[str], count: int) -> None:
    from harmonise.marking.whole_class import summary  # noqa: PLC0415

    for line in summary(rows):
        click.echo(line)
    works = "work" if count == 1 else "works"
    click.echo(f"{len(rows)} of {count} {works} marked.")
    if failed:
        click.echo("Not marked:")
    for line in failed:
        click.echo(f"  {line}")
