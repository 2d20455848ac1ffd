"""The command `harmonise drill`: which drills, in which keys, as which file."""

from fractions import Fraction
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.cli.command import Command
from harmonise.cli.long_jobs import tell_start
from harmonise.cli.options import (
    WordChoice,
    asked_options,
    show,
    tell_all_idle,
    tell_idle,
    told,
    with_options,
    words_of,
)
from harmonise.cli.worksheet import (
    QUESTIONS,
    SEED,
    STEP,
    PrintedCopies,
    SheetFiles,
    check_ending,
    tell_written,
)
from harmonise.lessons import drills as making
from harmonise.lessons.aural import AuralKind
from harmonise.lessons.aural_sheets import EAR_DRILL, EAR_PLAYS, EAR_TITLE, ear_drill
from harmonise.lessons.drill_copies import DrillCopy, Version
from harmonise.lessons.drill_files import (
    PRINTED,
    DrillOutput,
    check_place,
    write_drill,
)
from harmonise.lessons.drill_makers import (
    DRILLED,
    STARTS,
    DrillWish,
    Exercise,
    questions,
)
from harmonise.lessons.drills import format_plan
from harmonise.lessons.identity import file_identity, identity_of_drill
from harmonise.lessons.lesson_effects import drill_reasons
from harmonise.lessons.sheet_files import FORM
from harmonise.lessons.worksheet import SheetKind, SheetOrder
from harmonise.notation.musicxml.writer import FileIdentity
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.notation.sound.performance import Playing
from harmonise.theory.arrangement import Hand, Labels, LeftHand, Position
from harmonise.theory.key import Key, KeyOrder

START_WORDS = {
    "root": (Position.ROOT,),
    "first": (Position.FIRST,),
    "second": (Position.SECOND,),
}
"""The shapes that an exercise may start from, as they are typed."""
_STARTS = WordChoice({**START_WORDS, "all": STARTS})
_LABELS = (Labels.WORDS, Labels.FIGURES, Labels.LETTERS, Labels.NONE)


class DrillOptions(NamedTuple):
    """Options of `harmonise drill`.

    Attributes:
        output: The file to write: .pdf or .png for a booklet, .musicxml, .xml or .mxl
            for notation editors, .mid to listen. Default: the drill's name with
            .musicxml.
        keys: Keys in your own order; "all" is twelve, "all minor" twelve more. Default:
            one key, in D2 all.
        order: Order of "all" keys.
        minor: Keys are minor if they do not say.
        start: Shape of the right hand to start from. Default: all, in D9 root.
        progression: Your own Roman numerals instead of a drill.
        left_hand: What the left hand does. Default: held roots, in D9 every pattern.
        beats: Beats that a chord lasts; the last one lasts a bar.
        tempo: Beats a minute to start from.
        copies: All notes; the first chord and numerals only; or notes, numerals,
            positions and fingers.
        fingering: Fingers on copies without answers.
        labels: Names the shape of the right hand in answers: first, 6/3 or b.
        count_in: A bar of clicks before MIDI.
        hand: The only hand that MIDI plays.
        plan: Prints the practice plan too.
        show_list: Lists the drills, no more.
        step: Step of D12: 1 compares, 2 has I and V, 3 has IV too, 4 cadences, 5 the
            note on top, 6 V7, ii and vi.
        about: The only kind of question of D12. Default: all of the step.
        questions: Questions of D12.
        seed: Number of the sheet of D12; another number asks other questions.
    """

    output: Path | None = None
    keys: Annotated[tuple[str, ...], '"C, F# minor"'] = ()
    order: KeyOrder = KeyOrder.FIFTHS
    minor: bool = False
    gb: bool = False
    start: Annotated[tuple[Position, ...] | None, _STARTS] = None
    progression: Annotated[str, '"I vi IV V7 I"'] = ""
    left_hand: Annotated[LeftHand | None, words_of(DRILLED)] = None
    beats: Annotated[int, click.IntRange(1, 4)] = 2
    tempo: Annotated[int, click.IntRange(20, 200)] = 60
    copies: Version = Version.EXERCISE
    fingering: bool = False
    labels: Annotated[Labels, words_of(_LABELS)] = Labels.WORDS
    paper: Paper = Paper.A4
    landscape: bool = False
    large_print: bool = False
    count_in: bool = False
    hand: Hand | None = None
    plan: bool = False
    show_list: Annotated[bool, "--list"] = False
    step: Annotated[int, STEP] = 1
    about: AuralKind | None = None
    questions: Annotated[int, QUESTIONS] = 8
    seed: Annotated[int, SEED] = 1
    force: bool = False
    shows: Annotated[bool, "--open"] = False
    no_settings: bool = False


@click.command(
    cls=Command,
    short_help="Write drills of chords in any keys.",
    examples=(
        'harmonise drill D1 --keys "C, Eb" -o drill.pdf',
        "harmonise drill D1 --copies blank -o for_the_class.musicxml",
        "harmonise drill D12 --step 4 --seed 3 -o cadences.pdf",
    ),
    once={"--key": "--keys", "--version": "--copies", "--pattern": "--left-hand"},
)
@click.argument("drills", nargs=-1, metavar="[DRILL]...")
@with_options(DrillOptions)
def drill(drills: tuple[str, ...], options: DrillOptions) -> None:
    """Write drills of the primary chords: D1 to D12, in any keys.

    DRILL is D1 to D11, one or several; without any it is D1. All exercises go into one
    file, one after the other. D12 is heard: it has a sheet, a key, and a recording of
    each question.
    """
    if options.show_list:
        for row in making.DRILLS:
            click.echo(f"{row.name:<4}{row.title}. {row.plays}")
        click.echo(f"{EAR_DRILL:<4}{EAR_TITLE}. {EAR_PLAYS}")
        tell_all_idle(" beside {list}", "show_list")
        return
    progression = options.progression
    if drills and progression:
        raise click.UsageError("Name drills or give --progression, not both.")
    names = tuple(name.upper() for name in drills) or ("D1",)
    if EAR_DRILL in names:
        _hear(names, options)
        return
    stem = "drill-progression" if progression else f"drill-{'-'.join(names)}"
    target = options.output or Path(f"{stem}.musicxml")
    with told("harmonise drill"):
        check_place(target, force=options.force)
        exercises = _exercises(names, options)
        title = progression or making.title_of(names)
        identity = _identity(names, exercises, options)
        output = _output(options, target)._replace(identity=identity)
        tell_start(target)
        files = write_drill(exercises, title, target, output, force=options.force)
        click.echo(title)
        _report(exercises, options)
        unchanged = _unchanged(exercises, names, options)
        ending = target.suffix.lower()
        tell_idle(drill_reasons(ending, options.copies, unchanged))
        click.echo(f"Written: {', '.join(map(str, files))}")
        if options.shows:
            show(files[0])


_OF_EAR_DRILL = (
    "output", "keys", "order", "minor", "gb", "step", "about", "questions", "seed",
    "copies", "paper", "large_print", "force", "shows", "no_settings",
)  # fmt: skip
_COPIES = {
    Version.EXERCISE: PrintedCopies.BOTH,
    Version.BLANK: PrintedCopies.SHEET,
    Version.ANSWER: PrintedCopies.ANSWERS,
}


def _hear(names: tuple[str, ...], options: DrillOptions) -> None:
    """Write the drill that is heard: sheet, key and recordings."""
    if len(names) > 1:
        raise click.UsageError(f"{EAR_DRILL} is heard and not played: name it alone.")
    target = options.output or Path(f"drill-{EAR_DRILL}-step-{options.step}.pdf")
    with told("harmonise drill"):
        check_ending(target, (*PRINTED, FORM))
        sheet = ear_drill(
            SheetOrder(
                SheetKind.AURAL,
                seed=options.seed,
                keys=_keys(options),
                step=options.step,
                about=options.about,
                questions=options.questions,
            )
        )
        page = Page(options.paper, large_print=options.large_print)
        files = SheetFiles(target, page, _COPIES[options.copies], options.force)
        written = files.write([sheet])
        keys = ", ".join(map(str, sheet.order.keys))
        click.echo(f"{sheet.footer}: {keys}, {sheet.marks} marks")
        tell_all_idle(f" on {EAR_DRILL}, which is heard", *_OF_EAR_DRILL)
        tell_written(files, [sheet], written)
        if options.shows:
            show(written[0])


def _identity(
    names: tuple[str, ...], made: tuple[Exercise, ...], options: DrillOptions
) -> FileIdentity:
    """Return what a file of these exercises says of itself if pupils fill it in."""
    if options.copies is not Version.BLANK and not any(each.hidden for each in made):
        return FileIdentity()
    progression = options.progression
    keys = tuple(dict.fromkeys(exercise.key for exercise in made))
    wish = DrillWish(options.start or (), options.left_hand, options.beats)
    names = () if progression else names
    return file_identity(identity_of_drill(names, keys, wish, progression))


def _exercises(names: tuple[str, ...], options: DrillOptions) -> tuple[Exercise, ...]:
    """Return all exercises that were asked for, drill by drill and key by key."""
    wish = DrillWish(
        options.start or (), options.left_hand, options.beats, Fraction(options.tempo)
    )
    if options.progression:
        return making.progression(options.progression, _keys(options), wish)
    return tuple(
        exercise
        for name in names
        for exercise in making.exercises(name, _keys(options, name), wish)
    )


def _unchanged(
    made: tuple[Exercise, ...], names: tuple[str, ...], options: DrillOptions
) -> set[str]:
    """Return the options without which the same exercises are made."""
    usual = DrillOptions()
    typed = {
        name: getattr(usual, name)
        for name in ("order", "minor", "gb", "start", "left_hand", "beats")
        if name in asked_options()
    }
    return {
        name
        for name, value in typed.items()
        if _exercises(names, options._replace(**{name: value})) == made
    }


def _keys(options: DrillOptions, name: str = "") -> tuple[Key, ...]:
    """Return the keys that were asked for."""
    return making.keys_for(
        name, options.keys, options.order, minor=options.minor, flat=options.gb
    )


def _output(options: DrillOptions, target: Path) -> DrillOutput:
    printed = target.suffix.lower() in PRINTED
    page = Page(options.paper, options.landscape, options.large_print)
    return DrillOutput(
        DrillCopy(options.copies, options.labels, options.fingering),
        options.tempo,
        Playing(count_in=options.count_in, hand=options.hand),
        page if printed else None,
    )


def _report(exercises: tuple[Exercise, ...], options: DrillOptions) -> None:
    """Print what was made, the questions of a naming drill, and the plan."""
    keys = list(dict.fromkeys(exercise.key for exercise in exercises))
    bars = sum(len(exercise.score.tune.bars) for exercise in exercises)
    click.echo(
        f"{_count(len(exercises), 'exercise')} in {_count(len(keys), 'key')}, "
        f"{_count(bars, 'bar')}: {', '.join(map(str, keys))}"
    )
    for key in dict.fromkeys(each.key for each in exercises if each.hidden):
        _ask(key, answers=options.copies is Version.ANSWER)
    if options.plan:
        click.echo()
        click.echo(format_plan(keys, options.tempo))
    click.echo()


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _ask(key: Key, *, answers: bool) -> None:
    """Print the questions of the naming drill in a key, to be asked aloud."""
    click.echo()
    for number, question in enumerate(questions(key), 1):
        answer = f" — {question.answer}" if answers else ""
        click.echo(f"{number}. {question.question}{answer}")
