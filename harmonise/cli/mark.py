"""The command `harmonise mark`: pupils' work marked, one script or a class."""

import sys
from collections.abc import Generator, Sequence
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.arranging.book import BookPiece, Outcome, written
from harmonise.arranging.workers import run_book, team_here
from harmonise.cli.asked import TaskOptions, given_out
from harmonise.cli.command import Command
from harmonise.cli.long_jobs import Stops, gathered, stoppable
from harmonise.cli.options import ANYWHERE, show, tell_idle, told, with_options
from harmonise.errors import HarmoniseError, OutputError
from harmonise.lessons.lesson_effects import task_reasons
from harmonise.lessons.worksheet import SheetKind
from harmonise.marking.class_pages import summary
from harmonise.marking.given_out import TaskShelf
from harmonise.marking.handed_in import read_names, scripts_of, whose
from harmonise.marking.marked import MarkingManner
from harmonise.marking.overrides import parse_overrides
from harmonise.marking.register import NOTHING, WorkRecord, merged, tasks_of
from harmonise.marking.slips import SlipManner, slip_of
from harmonise.marking.task import MarkingStyle, own_points, read_points
from harmonise.marking.whole_class import (
    ClassOrder,
    class_files,
    contents_of,
    mark_piece,
    open_class,
    records_of,
)
from harmonise.notation.files import check_target, write_whole
from harmonise.notation.formats import decode, read_bytes
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.notation.signed import sign_text


class MarkOptions(NamedTuple):
    """Options of `harmonise mark`.

    Attributes:
        output: Slip of one work: a name ending in .pdf or .txt. Of several, a folder:
            each gets a slip as text and as PDF, and the class its tables as CSV and
            PDF.
        style: Strict deducts for parallels and doubled leading notes; keyboard style
            comments on them.
        points: A table of points of your own.
        out_of: Scales the whole to so many marks.
        hints: Prints questions in place of corrections; answers follow at the end.
        names: A list of the class, one name a line: who handed in nothing gets a row
            too. A name may end in a folder's, which tells namesakes apart: Ada 7b.
        register: A register that is kept over a term: works are added to it, and the
            tables tell of all its tasks.
        overrides: Your own decisions, a line each: whose | bar and beat | fault | what
            it costs | why.
        workers: Works marked at a time. Default: one a core.
        write_points: Writes the table of points that comes along, for you to edit.
        force: Overwrites existing files.
    """

    output: Annotated[Path | None, ANYWHERE] = None
    task: TaskOptions = TaskOptions()
    style: MarkingStyle = MarkingStyle.KEYBOARD
    points: Path | None = None
    out_of: Annotated[int | None, click.IntRange(1, 1000)] = None
    hints: bool = False
    names: Path | None = None
    register: Annotated[Path | None, ANYWHERE] = None
    overrides: Path | None = None
    paper: Paper = Paper.A4
    large_print: bool = False
    workers: Annotated[int | None, click.IntRange(0, 64)] = None
    write_points: Path | None = None
    force: bool = False
    shows: Annotated[bool, "--open"] = False
    no_settings: bool = False

    @property
    def slips(self) -> SlipManner:
        """How works are weighed and slips made.

        Raises:
            HarmoniseError: If a file that says so cannot be read.
        """
        text = decode(read_bytes(self.overrides)) if self.overrides else ""
        return SlipManner(
            MarkingManner(read_points(self.points), self.style),
            Page(self.paper, large_print=self.large_print),
            self.hints,
            self.out_of or 0,
            parse_overrides(text),
        )


@click.command(
    cls=Command,
    short_help="Mark what pupils wrote.",
    examples=(
        "harmonise mark ada.musicxml --against mytune.txt -o ada.pdf",
        "harmonise mark class --against mytune.txt --names class.txt -o marked",
    ),
    once={"--sheet": "--kind"},
)
@click.argument("works", nargs=-1, type=ANYWHERE)
@with_options(MarkOptions)
def mark(works: tuple[Path, ...], options: MarkOptions) -> None:
    """Mark WORKS: what pupils wrote for a tune, a drill or a worksheet.

    A work is MusicXML of any notation program, MIDI, or typed text; a folder is a
    class. Every deduction has its place, its reason and what is right. A task file that
    was filled in says itself what was asked.
    """
    with told(str(works[0]) if works else "harmonise mark"):
        _mark(works, options)


def _mark(works: tuple[Path, ...], options: MarkOptions) -> None:
    if options.write_points:
        table = sign_text(own_points(), "# ").encode()
        write_whole(options.write_points, table, force=options.force)
        click.echo(f"Written: {options.write_points}")
        return
    if not works:
        raise OutputError("No work is named.", None, "Name a file or a folder.")
    asked = options.task
    several = len(works) > 1 or works[0].is_dir()
    ending = options.output.suffix.lower() if options.output else ""
    kind = SheetKind.AURAL if asked.is_heard else asked.kind
    tell_idle(task_reasons(kind, ending, drill=asked.is_drill, several=several))
    shelf = _shelf(asked, options.slips.manner)
    if not several and not options.output:
        tell_idle({"shows": " without {output}"})
    if asked.kind is SheetKind.FAULTS:
        _lists(works, shelf, options.slips)
    elif not several:
        _one(works[0], shelf, options)
    else:
        _class(works, shelf, options)


def _shelf(asked: TaskOptions, manner: MarkingManner) -> TaskShelf:
    """Return the tasks of all works, as far as the teacher says."""
    if not asked.against:
        return TaskShelf(manner.points)
    tune = None if asked.kind or asked.is_drill else asked.tune()
    return TaskShelf(manner.points, given_out(asked, manner.points), tune)


def _lists(works: tuple[Path, ...], shelf: TaskShelf, how: SlipManner) -> None:
    """Mark lists of faults; one that cannot be read is named at the end."""
    failed, asked = [], shelf.get(b"")
    for piece in scripts_of(works):
        work = Path(str(piece.content))
        try:
            slip = slip_of(read_bytes(work), asked, work.stem, how)
        except HarmoniseError as error:
            failed.append(f"{piece.name}: {error}")
            continue
        click.echo(slip.text)
    for line in failed:
        click.echo(line, err=True)
    if failed:
        sys.exit(1)


def _one(work: Path, shelf: TaskShelf, options: MarkOptions) -> None:
    target = options.output
    if target:
        if target.suffix.lower() not in (".pdf", ".txt"):
            raise OutputError(
                f'"{target.name}" does not end in .pdf or .txt.',
                None,
                f"Call it {target.stem}.pdf.",
            )
        check_target(target, force=options.force)
    data = read_bytes(work)
    shelf.add_works([data])
    slip = slip_of(data, shelf.get(data), work.stem, options.slips)
    # The file comes first: what is printed may end early, such as in a pipe.
    if target:
        content = sign_text(slip.text).encode()
        if target.suffix.lower() == ".pdf":
            content = slip.pdf()
        write_whole(target, content, force=options.force)
    click.echo(slip.text, nl=False)
    if target:
        click.echo(f"\nWritten: {target}")
        if options.shows:
            show(target)


def _class(works: tuple[Path, ...], shelf: TaskShelf, options: MarkOptions) -> None:
    folder = options.output or Path("marked")
    names = read_names(options.names) if options.names else ()
    order = ClassOrder(
        shelf, options.slips, folder, {}, names, options.register, options.force
    )
    pieces = scripts_of(works, _no_works(order, options))
    order = order._replace(pupils=whose(pieces, names))
    earlier = open_class(order)
    shelf.add_works(contents_of(pieces))
    with stoppable() as stops:
        steps = _marked(pieces, order, stops, options.workers or 0)
        made, status = gathered("Marking", len(pieces), steps)
        outcomes = [outcome for step in made for outcome in step]
        records = records_of(order, outcomes, pieces)
        for path in class_files(order, earlier, records):
            click.echo(f"Written: {path}")
    if options.shows:
        show(folder)
    failed = _tell(records, len(pieces), earlier)
    if status or failed:
        sys.exit(status or 1)


def _no_works(order: ClassOrder, options: MarkOptions) -> list[Path]:
    """Return what may lie in the folder of a class and is no work."""
    files = [order.folder, order.register, options.names, options.overrides]
    files += [options.points, Path(options.task.against or ".")]
    return [path for path in files if path]


def _marked(
    pieces: Sequence[BookPiece], order: ClassOrder, stops: Stops, workers: int
) -> Generator[tuple[Outcome, ...], None, None]:
    """Yield what became of each work, its slips written."""
    work, team = partial(mark_piece, order), team_here(workers)
    with closing(stops.between(run_book(pieces, work, team))) as steps:
        for outcomes in steps:
            yield tuple(
                written(each, order.folder, force=order.force) for each in outcomes
            )


def _tell(
    records: Sequence[WorkRecord], count: int, earlier: Sequence[WorkRecord]
) -> bool:
    """Print what became of the works, and return whether one could not be marked."""
    for line in summary(records):
        click.echo(line)
    works = "work" if count == 1 else "works"
    marked = [record for record in records if not record.problem]
    click.echo(f"{len(marked)} of {count} {works} marked.")
    tasks = tasks_of(records)
    # Who handed in a task before need not do so again.
    absent = [
        each.pupil
        for each in merged(earlier, records)
        if each.problem == NOTHING and each.task in tasks
    ]
    if absent:
        click.echo(f"Nothing handed in: {', '.join(absent)}.")
    failed = [each for each in records if each.problem and each.file]
    if failed:
        click.echo("Not marked:")
    for each in failed:
        click.echo(f"  {each.file}: {each.problem}")
    return bool(failed)
