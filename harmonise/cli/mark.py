"""The command `harmonise mark`: pupils' work marked, one script or a class."""

import re
import sys
from collections.abc import Generator, Sequence
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import Annotated, NamedTuple, TypeVar

import click

from harmonise.arranging.book import BookPiece, Outcome, written
from harmonise.arranging.workers import run_book, team_here
from harmonise.cli.drill import START_WORDS
from harmonise.cli.options import (
    ANYWHERE,
    Level,
    WordChoice,
    gathered,
    stoppable,
    tell_idle,
    told,
    with_options,
)
from harmonise.cli.worksheet import BARS, FAULTS, LABEL_WORDS, SEED
from harmonise.errors import HarmoniseError, OutputError
from harmonise.lessons.drill_makers import DrillWish, Exercise
from harmonise.lessons.drills import all_keys, exercises, find_drill, parse_keys
from harmonise.lessons.lesson_effects import task_reasons
from harmonise.lessons.versions import VERSIONS, make_sheets
from harmonise.lessons.worksheet import SheetKind, SheetOrder, Worksheet
from harmonise.marking.mark import format_found, mark_file, mark_list, parse_list
from harmonise.marking.marked import MarkingManner
from harmonise.marking.slip import format_pdf, format_slip
from harmonise.marking.task import Ask, MarkingStyle, Task, own_points, read_points
from harmonise.marking.tasks import task_of_exercise, task_of_tune, tasks_of_sheet
from harmonise.marking.whole_class import (
    ClassOrder,
    PupilRow,
    class_files,
    mark_piece,
    open_class,
    scripts_of,
    summary,
)
from harmonise.notation.files import check_target, write_whole
from harmonise.notation.formats import assert_notation, decode, read_bytes, read_tune
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.notation.signed import sign_text
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Position, Style
from harmonise.theory.key import Mode, named_keys
from harmonise.theory.tune import Tune

_Thing = TypeVar("_Thing")
_VERSIONS = WordChoice({letter: number for number, letter in enumerate(VERSIONS, 1)})
_ASKED = WordChoice({"symbols": (Ask.SYMBOL,), "numerals": (Ask.NUMERAL,), "none": ()})
_DRILL = re.compile(r"D\d{1,2}$", re.IGNORECASE)


class TaskOptions(NamedTuple):
    """Options that say what pupils were asked for.

    Attributes:
        against: What was asked: a tune's file, or a drill such as D1.
        sheet: Kind of the worksheet that was made of the tune; give the options that it
            was made with.
        sheet_version: Version of the worksheet, as its foot says.
        labels: How shapes are named on the worksheet.
        key: Key of the drill, or of the version or phrase of the worksheet.
        start: Shape that the drill starts from.
        exercise: Number of the exercise, where a drill has several from one shape.
        bars: Bars of the worksheet.
        seed: Number of the worksheet.
        faults: Planted faults of the worksheet.
        ask: What pupils write beside the notes of a tune.
    """

    against: Annotated[str | None, "TUNE|DRILL"] = None
    sheet: SheetKind | None = None
    sheet_version: Annotated[int, _VERSIONS] = 1
    labels: Annotated[Labels, LABEL_WORDS] = Labels.WORDS
    key: Annotated[str, '"G"'] = ""
    start: Annotated[tuple[Position, ...], WordChoice(START_WORDS)] = (Position.ROOT,)
    exercise: Annotated[int, click.IntRange(1, 99)] = 1
    bars: Annotated[int | None, BARS] = None
    seed: Annotated[int, SEED] = 1
    faults: Annotated[int, FAULTS] = 4
    ask: Annotated[
        tuple[Ask, ...],
        _ASKED,
    ] = (Ask.SYMBOL,)


class MarkOptions(NamedTuple):
    """Options of `harmonise mark`.

    Attributes:
        output: Slip of one work: a name ending in .pdf or .txt. Of several, a folder:
            each gets a slip as text and as PDF, and the class a table as CSV and as
            PDF.
        style: Strict deducts for parallels and doubled leading notes; keyboard style
            comments on them.
        points: A table of points of your own.
        out_of: Scales the whole to so many marks.
        hints: Prints questions in place of corrections; answers follow at the end.
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
    level: Level = 1
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    part: str = ""
    paper: Paper = Paper.A4
    large_print: bool = False
    workers: Annotated[int | None, click.IntRange(0, 64)] = None
    write_points: Path | None = None
    force: bool = False

    @property
    def page(self) -> Page:
        """The page of the slips."""
        return Page(self.paper, large_print=self.large_print)

    @property
    def manner(self) -> MarkingManner:
        """How works are weighed."""
        return MarkingManner(read_points(self.points), self.style)


@click.command()
@click.argument("works", nargs=-1, type=ANYWHERE)
@with_options(MarkOptions)
def mark(works: tuple[Path, ...], options: MarkOptions) -> None:
    """Mark WORKS: what pupils wrote for a tune, a drill or a worksheet.

    A work is MusicXML of any notation program, MIDI, or typed text; a folder is a
    class. Every deduction has its place, its reason and what is right.
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
    if not options.task.against:
        raise OutputError(
            "It is not said what was asked.", None, "Add --against TUNE or a drill."
        )
    kind = options.task.sheet
    sheet = _sheet(options, kind) if kind else None
    several = len(works) > 1 or works[0].is_dir()
    ending = options.output.suffix.lower() if options.output else ""
    drill = _is_drill(str(options.task.against))
    tell_idle(task_reasons(kind, ending, drill=drill, several=several))
    if sheet and sheet.planted:
        _lists(works, sheet)
    elif not several:
        _one(works[0], sheet, options)
    else:
        _class(works, sheet, options)


def _task(options: MarkOptions, sheet: Worksheet | None, manner: MarkingManner) -> Task:
    """Return what pupils were asked for.

    Raises:
        HarmoniseError: If there is no such tune, drill or exercise.
    """
    asked, points = options.task, manner.points
    if sheet:
        tasks = tasks_of_sheet(sheet)
        what = f"The worksheet has {len(tasks)} pieces."
        return _numbered(tasks, asked.exercise, what)
    against = str(asked.against)
    if _is_drill(against):
        return task_of_exercise(_exercise(against, asked), points)
    style = Style(options.level, options.harmonic_rhythm)
    return task_of_tune(_tune(options), style, asked.ask, points)


def _is_drill(against: str) -> bool:
    return bool(_DRILL.match(against)) and not Path(against).exists()


def _exercise(name: str, asked: TaskOptions) -> Exercise:
    minor = find_drill(name).modes == (Mode.MINOR,)
    keys = parse_keys([asked.key], minor=minor) if asked.key else ()
    keys = keys or all_keys(minor=minor)[:1]
    made = exercises(name, keys, DrillWish(asked.start))
    what = f"Drill {name} has {len(made)} exercises there."
    return _numbered(made, asked.exercise, what)


def _numbered(things: Sequence[_Thing], number: int, what: str) -> _Thing:
    """Return the thing of a number, from 1.

    Raises:
        OutputError: If there are fewer; `what` says how many there are.
    """
    if number > len(things):
        raise OutputError(what, None, "Name another with --exercise.")
    return things[number - 1]


def _tune(options: MarkOptions) -> Tune:
    return read_tune(Path(str(options.task.against)), part=options.part)


def _sheet(options: MarkOptions, kind: SheetKind) -> Worksheet:
    """Return the worksheet that pupils were given, made again.

    Raises:
        HarmoniseError: If it cannot be made of this tune.
    """
    tune, asked = _tune(options), options.task
    typed = [asked.key] if asked.key else []
    order = SheetOrder(
        kind,
        Style(options.level, options.harmonic_rhythm),
        asked.labels,
        asked.bars or kind.row.bars,
        asked.faults,
        asked.seed,
        named_keys(typed, mode=tune.key.mode),
    )
    return make_sheets(tune, order, asked.sheet_version)[-1]


def _lists(works: tuple[Path, ...], sheet: Worksheet) -> None:
    """Mark lists of faults; one that cannot be read is named at the end."""
    failed = []
    for piece in scripts_of(works):
        work = Path(str(piece.content))
        try:
            data = read_bytes(work)
            assert_notation(data)
            named = parse_list(decode(data))
        except HarmoniseError as error:
            failed.append(f"{piece.name}: {error}")
            continue
        click.echo(f"{work.stem}: {sheet.footer}")
        click.echo(format_found(mark_list(named, sheet), sheet))
    for line in failed:
        click.echo(line, err=True)
    if failed:
        sys.exit(1)


def _one(work: Path, sheet: Worksheet | None, options: MarkOptions) -> None:
    target = options.output
    if target:
        if target.suffix.lower() not in (".pdf", ".txt"):
            raise OutputError(
                f'"{target.name}" does not end in .pdf or .txt.',
                None,
                f"Call it {target.stem}.pdf.",
            )
        check_target(target, force=options.force)
    manner = options.manner
    marking = mark_file(work, _task(options, sheet, manner), manner)
    hints, out_of = options.hints, options.out_of or 0
    text = format_slip(marking, hints=hints, out_of=out_of)
    # The file comes first: what is printed may end early, such as in a pipe.
    if target:
        content = sign_text(text).encode()
        if target.suffix.lower() == ".pdf":
            content = format_pdf(marking, options.page, hints=hints, out_of=out_of)
        write_whole(target, content, force=options.force)
    click.echo(text, nl=False)
    if target:
        click.echo(f"\nWritten: {target}")


def _class(
    works: tuple[Path, ...], sheet: Worksheet | None, options: MarkOptions
) -> None:
    manner = options.manner
    order = ClassOrder(
        _task(options, sheet, manner),
        manner,
        options.output or Path("marked"),
        options.page,
        options.hints,
        options.out_of or 0,
        options.force,
    )
    pieces = scripts_of(works)
    open_class(order.folder, force=order.force)
    with stoppable():
        steps = _marked(pieces, order, options.workers or 0)
        made, status = gathered("Marking", len(pieces), steps)
        outcomes = [outcome for step in made for outcome in step]
        rows = [each.about for each in outcomes if isinstance(each.about, PupilRow)]
        failed = [f"{each.name}: {each.failure}" for each in outcomes if each.failure]
        for name in class_files(order, rows, failed):
            click.echo(f"Written: {order.folder / name}")
    _tell(rows, failed, len(pieces))
    if status or failed:
        sys.exit(status or 1)


def _marked(
    pieces: Sequence[BookPiece], order: ClassOrder, workers: int
) -> Generator[tuple[Outcome, ...], None, None]:
    """Yield what became of each work, its slips written."""
    work, team = partial(mark_piece, order), team_here(workers)
    with closing(run_book(pieces, work, team)) as steps:
        for outcomes in steps:
            yield tuple(
                written(each, order.folder, force=order.force) for each in outcomes
            )


def _tell(rows: Sequence[PupilRow], failed: Sequence[str], count: int) -> None:
    for line in summary(rows):
        click.echo(line)
    works = "work" if count == 1 else "works"
    click.echo(f"{len(rows)} of {count} {works} marked.")
    if failed:
        click.echo("Not marked:")
    for line in failed:
        click.echo(f"  {line}")
