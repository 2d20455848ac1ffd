"""What pupils were asked for, as options of `harmonise mark` tell it."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, NamedTuple, TypeVar

import click

from harmonise.cli.drill import START_WORDS
from harmonise.cli.options import Level, WordChoice
from harmonise.cli.worksheet import BARS, FAULTS, LABEL_WORDS, QUESTIONS, SEED, STEP
from harmonise.errors import OutputError
from harmonise.lessons.aural import AuralKind
from harmonise.lessons.aural_sheets import EAR_DRILL, ear_drill
from harmonise.lessons.drill_makers import DrillWish, Exercise
from harmonise.lessons.drills import all_keys, exercises, find_drill, parse_keys
from harmonise.lessons.versions import VERSIONS, make_sheets
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.marking.given_out import GivenOut
from harmonise.marking.task import Ask, Points, Task
from harmonise.marking.tasks import task_of_exercise, task_of_tune, tasks_of_sheet
from harmonise.notation.formats import read_tune
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
        against: What was asked: a tune's file, or a drill such as D1. Task files that
            pupils filled in say it themselves.
        kind: Kind of the worksheet that was made of the tune; give the options that it
            was made with.
        sheet_version: Version of the worksheet, as its foot says.
        labels: How shapes are named on the worksheet.
        key: Key of the drill, or of the version or phrase of the worksheet.
        start: Shape that the drill starts from.
        exercise: Number of the exercise, where a drill has several from one shape.
        bars: Bars of the worksheet.
        seed: Number of the worksheet.
        faults: Planted faults of the worksheet.
        step: Step of questions by ear.
        about: The only kind of those questions.
        questions: How many of them.
        depth: Depth of the worksheet, as its foot says.
        ask: What pupils write beside the notes of a tune.
    """

    against: Annotated[str | None, "TUNE|DRILL"] = None
    kind: SheetKind | None = None
    sheet_version: Annotated[int, _VERSIONS] = 1
    labels: Annotated[Labels, LABEL_WORDS] = Labels.WORDS
    key: Annotated[str, '"G"'] = ""
    start: Annotated[tuple[Position, ...], WordChoice(START_WORDS)] = (Position.ROOT,)
    exercise: Annotated[int, click.IntRange(1, 99)] = 1
    bars: Annotated[int | None, BARS] = None
    seed: Annotated[int, SEED] = 1
    faults: Annotated[int, FAULTS] = 4
    step: Annotated[int, STEP] = 1
    about: AuralKind | None = None
    questions: Annotated[int, QUESTIONS] = 8
    depth: Depth = Depth.CORE
    ask: Annotated[
        tuple[Ask, ...],
        _ASKED,
    ] = (Ask.SYMBOL,)
    level: Level = 1
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    part: str = ""

    @property
    def is_drill(self) -> bool:
        """Whether a drill was asked for."""
        named = self.against or ""
        return bool(_DRILL.match(named)) and not Path(named).exists()

    @property
    def is_heard(self) -> bool:
        """Whether it was the drill that is heard and not played."""
        return self.is_drill and (self.against or "").upper() == EAR_DRILL

    @property
    def style(self) -> Style:
        """Level and rhythm of the model."""
        return Style(self.level, self.harmonic_rhythm)

    def tune(self) -> Tune:
        """Return the tune that was asked for.

        Raises:
            HarmoniseError: If it cannot be read.
        """
        return read_tune(Path(self.against or ""), part=self.part)


def given_out(asked: TaskOptions, points: Points) -> GivenOut:
    """Return what pupils were asked for.

    Raises:
        HarmoniseError: If there is no such tune, drill or exercise.
    """
    if asked.kind:
        sheet = _sheet(asked, asked.kind)
        return GivenOut(None if sheet.is_list else _task_of(sheet, asked), sheet)
    if asked.is_heard:
        keys = parse_keys([asked.key]) if asked.key else all_keys()[:1]
        order = SheetOrder(SheetKind.AURAL, seed=asked.seed, keys=keys)
        return GivenOut(None, ear_drill(_by_ear(order, asked)))
    if asked.is_drill:
        return GivenOut(task_of_exercise(_exercise(asked), points))
    return GivenOut(task_of_tune(asked.tune(), asked.style, asked.ask, points))


def _task_of(sheet: Worksheet, asked: TaskOptions) -> Task:
    tasks = tasks_of_sheet(sheet)
    what = f"The worksheet has {len(tasks)} pieces."
    return _numbered(tasks, asked.exercise, what)


def _exercise(asked: TaskOptions) -> Exercise:
    name = asked.against or ""
    minor = find_drill(name).modes == (Mode.MINOR,)
    keys = parse_keys([asked.key], minor=minor) if asked.key else ()
    keys = keys or all_keys(minor=minor)[:1]
    made = exercises(name, keys, DrillWish(asked.start))
    number = "1 exercise" if len(made) == 1 else f"{len(made)} exercises"
    what = f"Drill {name} has {number} there."
    return _numbered(made, asked.exercise, what)


def _numbered(things: Sequence[_Thing], number: int, what: str) -> _Thing:
    """Return the thing of a number, from 1.

    Raises:
        OutputError: If there are fewer; `what` says how many there are.
    """
    if number > len(things):
        raise OutputError(what, None, "Name another with --exercise.")
    return things[number - 1]


def _sheet(asked: TaskOptions, kind: SheetKind) -> Worksheet:
    """Return the worksheet that pupils were given, made again.

    Raises:
        HarmoniseError: If it cannot be made of this tune.
    """
    tune = asked.tune()
    typed = [asked.key] if asked.key else []
    order = SheetOrder(
        kind,
        asked.style,
        asked.labels,
        asked.bars or kind.row.bars,
        asked.faults,
        asked.seed,
        named_keys(typed, mode=tune.key.mode),
        depth=asked.depth,
    )
    return make_sheets(tune, _by_ear(order, asked), asked.sheet_version)[-1]


def _by_ear(order: SheetOrder, asked: TaskOptions) -> SheetOrder:
    """Return an order with what was asked of questions by ear."""
    return order._replace(step=asked.step, about=asked.about, questions=asked.questions)
