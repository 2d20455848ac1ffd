"""What pupils were asked for, as `harmonise mark` is told it."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harmonise.cli.choosing import level_of
from harmonise.errors import OutputError
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Style

if TYPE_CHECKING:
    from harmonise.lessons.drill_score import Exercise
    from harmonise.lessons.worksheet import Worksheet
    from harmonise.marking.marked import MarkingManner
    from harmonise.marking.task import Task
    from harmonise.theory.tune import Tune

Given = dict[str, object]
"""Every option as it was given."""

_SHEETS = (
    "voices", "labels", "accompany", "choose", "faults", "keyboards", "transpose"
)  # fmt: skip
_ASKS = ("symbols", "numerals", "none")
_VERSIONS = "ABCDE"
_STARTS = ("root", "first", "second")
_DRILL = re.compile(r"D\d{1,2}$", re.IGNORECASE)

TASK = (
    click.option(
        "--against",
        metavar="TUNE|DRILL",
        help="What was asked: a tune's file, or a drill such as D1.",
    ),
    click.option(
        "--sheet",
        type=click.Choice(_SHEETS),
        help="Kind of the worksheet that was made of the tune; give the options that "
        "it was made with.",
    ),
    click.option(
        "--sheet-version",
        type=click.Choice(list(_VERSIONS)),
        default="A",
        show_default=True,
        help="Version of the worksheet, as its foot says.",
    ),
    click.option(
        "--labels",
        type=click.Choice(["words", "figures", "letters"]),
        default="words",
        show_default=True,
        help="How shapes are named on the worksheet.",
    ),
    click.option(
        "--key",
        default="",
        metavar='"G"',
        help="Key of the drill, or of the version or phrase of the worksheet.",
    ),
    click.option(
        "--start",
        type=click.Choice(_STARTS),
        default="root",
        show_default=True,
        help="Shape that the drill starts from.",
    ),
    click.option(
        "--exercise",
        type=click.IntRange(1, 99),
        default=1,
        show_default=True,
        help="Number of the exercise, where a drill has several from one shape.",
    ),
    click.option("--bars", type=click.IntRange(2, 64), help="Bars of the worksheet."),
    click.option(
        "--seed",
        type=click.IntRange(1, 9999),
        default=1,
        show_default=True,
        help="Number of the worksheet.",
    ),
    click.option(
        "--faults",
        type=click.IntRange(1, 12),
        default=4,
        show_default=True,
        help="Planted faults of the worksheet.",
    ),
    click.option(
        "--ask",
        type=click.Choice(_ASKS),
        default="symbols",
        show_default=True,
        help="What pupils write beside the notes of a tune.",
    ),
)


def task_asked(
    given: Given, sheet: "Worksheet | None", manner: "MarkingManner"
) -> "Task":
    """Return what pupils were asked for.

    Raises:
        HarmoniseError: If there is no such tune, drill or worksheet.
    """
    from harmonise.marking.task import Ask  # noqa: PLC0415
    from harmonise.marking.tasks import task_of_exercise, task_of_tune  # noqa: PLC0415

    if sheet:
        return _task_of_sheet(given, sheet)
    against = str(given["against"])
    if _DRILL.match(against) and not Path(against).exists():
        return task_of_exercise(_exercise(given, against), manner.points)
    tune = _tune(given)
    asks = {"symbols": (Ask.SYMBOL,), "numerals": (Ask.NUMERAL,), "none": ()}
    style = Style(level_of(given), HarmonicRhythm(given["harmonic_rhythm"]))
    return task_of_tune(tune, style, asks[str(given["ask"])], manner.points)


def _exercise(given: Given, name: str) -> "Exercise":
    from harmonise.lessons.drill_makers import STARTS, DrillWish  # noqa: PLC0415
    from harmonise.lessons.drills import exercises, find_drill  # noqa: PLC0415
    from harmonise.lessons.practice import all_keys, parse_keys  # noqa: PLC0415
    from harmonise.theory.key import Mode  # noqa: PLC0415

    minor = find_drill(name).modes == (Mode.MINOR,)
    typed = str(given["key"])
    keys = parse_keys([typed], minor=minor) if typed else all_keys(minor=minor)[:1]
    start = STARTS[_STARTS.index(str(given["start"]))]
    found = exercises(name, keys, DrillWish((start,)))
    number = int(str(given["exercise"]))
    if number > len(found):
        raise OutputError(
            f"Drill {name} has {len(found)} exercises there.",
            None,
            "Name another with --exercise.",
        )
    return found[number - 1]


def _tune(given: Given) -> "Tune":
    from harmonise.notation.formats import read_tune  # noqa: PLC0415

    return read_tune(Path(str(given["against"])), part=str(given["part"]))


def sheet_asked(given: Given) -> "Worksheet":
    """Return the worksheet that pupils were given, made again.

    Raises:
        HarmoniseError: If it cannot be made of this tune.
    """
    from harmonise.lessons.versions import make_sheets  # noqa: PLC0415
    from harmonise.lessons.worksheet import SheetKind, SheetOrder  # noqa: PLC0415
    from harmonise.theory.key import named_keys  # noqa: PLC0415

    tune = _tune(given)
    kind = SheetKind(given["sheet"])
    style = Style(level_of(given), HarmonicRhythm(given["harmonic_rhythm"]))
    usual = 4 if kind is SheetKind.TRANSPOSE else 8
    typed = [str(given["key"])] if given["key"] else []
    order = SheetOrder(
        kind,
        style,
        Labels(given["labels"]),
        bars=int(str(given["bars"] or usual)),
        faults=int(str(given["faults"])),
        seed=int(str(given["seed"])),
        keys=named_keys(typed, mode=tune.key.mode),
    )
    number = _VERSIONS.index(str(given["sheet_version"])) + 1
    return make_sheets(tune, order, number)[-1]


def _task_of_sheet(given: Given, sheet: "Worksheet") -> "Task":
    from harmonise.marking.tasks import tasks_of_sheet  # noqa: PLC0415

    tasks = tasks_of_sheet(sheet)
    number = int(str(given["exercise"]))
    if number > len(tasks):
        raise OutputError(
            f"The worksheet has {len(tasks)} pieces.",
            None,
            "Name another with --exercise.",
        )
    return tasks[number - 1]
