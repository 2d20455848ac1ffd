"""The command `harmonise drill`: which drills, in which keys, as which file.

What is offered is spelled out here, so that the other commands need not load it.
"""

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from harmonise.cli.choosing import told
from harmonise.cli.options import (
    LANDSCAPE,
    LARGE_PRINT,
    PAPER,
    Command,
    page_of,
    with_options,
)
from harmonise.theory.arrangement import LeftHand

if TYPE_CHECKING:
    from harmonise.lessons.drill_copies import DrillOutput
    from harmonise.lessons.drill_score import Exercise
    from harmonise.theory.arrangement import Position
    from harmonise.theory.key import Key

ORDERS = ("fifths", "fourths", "chromatic", "few-accidentals")
_STARTS = ("root", "first", "second", "all")
VERSIONS = ("exercise", "blank", "answer")
LABELS = ("words", "figures", "letters", "none")
PATTERNS = tuple(own.value for own in LeftHand if own.row.drilled)


class _Job(NamedTuple):
    """What one call asks for."""

    drills: tuple[str, ...]
    progression: str
    target: Path
    given: dict[str, object]


_MUSIC = (
    click.option(
        "--key",
        multiple=True,
        metavar='"C, F# minor"',
        help='Keys in your own order; "all" is twelve, "all minor" twelve more. '
        "Default: one key, in D2 all.",
    ),
    click.option(
        "--order",
        type=click.Choice(ORDERS),
        default="fifths",
        show_default=True,
        help='Order of "all" keys.',
    ),
    click.option("--minor", is_flag=True, help="Keys are minor if they do not say."),
    click.option("--gb", is_flag=True, help="Gb major stands for F# major."),
    click.option(
        "--start",
        type=click.Choice(_STARTS),
        help="Shape of the right hand to start from. Default: all, in D9 root.",
    ),
    click.option(
        "--progression",
        default="",
        metavar='"I vi IV V7 I"',
        help="Your own Roman numerals instead of a drill.",
    ),
    click.option(
        "--pattern",
        type=click.Choice(PATTERNS),
        help="What the left hand does. Default: held roots, in D9 every pattern.",
    ),
    click.option(
        "--beats",
        type=click.IntRange(1, 4),
        default=2,
        show_default=True,
        help="Beats that a chord lasts; the last one lasts a bar.",
    ),
    click.option(
        "--tempo",
        type=click.IntRange(20, 200),
        default=60,
        show_default=True,
        help="Crotchets (quarter notes) a minute to start from.",
    ),
)
_PAGES = (
    click.option(
        "--version",
        type=click.Choice(VERSIONS),
        default="exercise",
        show_default=True,
        help="All notes; the first chord and numerals only; or notes, numerals, "
        "positions and fingers.",
    ),
    click.option(
        "--fingering", is_flag=True, help="Fingers on copies without answers."
    ),
    click.option(
        "--labels",
        type=click.Choice(LABELS),
        default="words",
        show_default=True,
        help="Names the shape of the right hand in answers: first, 6/3 or b.",
    ),
    PAPER,
    LANDSCAPE,
    LARGE_PRINT,
)
_SOUND = (
    click.option("--count-in", is_flag=True, help="A bar of clicks before MIDI."),
    click.option(
        "--hand",
        type=click.Choice(["right", "left"]),
        help="The only hand that MIDI plays.",
    ),
)


def _with_options(command: Command) -> Command:
    return with_options(command, *_MUSIC, *_PAGES, *_SOUND)


@click.command()
@click.argument("drills", nargs=-1, metavar="[DRILL]...")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file to write: .pdf for a booklet, .musicxml, .xml or .mxl for notation "
    "editors, .mid to listen. Default: the drill's name with .musicxml.",
)
@_with_options
@click.option("--plan", is_flag=True, help="Prints the practice plan too.")
@click.option("--list", "show_list", is_flag=True, help="Lists the drills, no more.")
@click.option("--force", is_flag=True, help="Overwrites an existing file.")
def drill(drills: tuple[str, ...], output: Path | None, **given: object) -> None:
    """Write drills of the primary chords: D1 to D11, in any keys.

    DRILL is D1 to D11, one or several; without any it is D1. All exercises go into one
    file, one after the other.
    """
    if given["show_list"]:
        _show_list()
        return
    progression = str(given["progression"])
    if drills and progression:
        raise click.UsageError("Name drills or give --progression, not both.")
    names = tuple(name.upper() for name in drills) or ("D1",)
    stem = "drill-progression" if progression else f"drill-{'-'.join(names)}"
    target = output or Path(f"{stem}.musicxml")
    with told("harmonise drill"):
        _run(_Job(names, progression, target, given))


def _show_list() -> None:
    from harmonise.lessons.drills import DRILLS  # noqa: PLC0415

    for one in DRILLS:
        click.echo(f"{one.name:<4}{one.title}. {one.plays}")


def _run(job: _Job) -> None:
    from harmonise.lessons.drill_files import check_place, write_drill  # noqa: PLC0415

    force = bool(job.given["force"])
    check_place(job.target, force=force)
    done = _exercises(job)
    write_drill(done, _title(job), job.target, _output(job), force=force)
    _report(job, done)


def _exercises(job: _Job) -> tuple["Exercise", ...]:
    """Return all exercises that were asked for, drill by drill and key by key."""
    from harmonise.lessons import drills  # noqa: PLC0415
    from harmonise.lessons.drill_makers import STARTS, DrillWish  # noqa: PLC0415

    given = job.given
    start, pattern = given["start"], given["pattern"]
    starts: tuple[Position, ...] = STARTS
    if start in _STARTS[:3]:
        starts = (STARTS[_STARTS.index(str(start))],)
    wish = DrillWish(
        starts if start else (),
        LeftHand(pattern) if pattern else None,
        int(str(given["beats"])),
        Fraction(str(given["tempo"])),
    )
    if job.progression:
        return drills.progression(job.progression, _keys(given), wish)
    return tuple(
        own
        for name in job.drills
        for own in drills.exercises(name, _keys(given, name), wish)
    )


def _keys(given: dict[str, object], name: str = "") -> tuple["Key", ...]:
    """Return the keys that were asked for."""
    from harmonise.lessons.drills import keys_for  # noqa: PLC0415
    from harmonise.theory.key import KeyOrder  # noqa: PLC0415

    texts = given["key"]
    typed = [str(text) for text in texts] if isinstance(texts, tuple) else []
    order, minor, flat = KeyOrder(given["order"]), bool(given["minor"]), given["gb"]
    return keys_for(name, typed, order, minor=minor, flat=bool(flat))


def _output(job: _Job) -> "DrillOutput":
    from harmonise.lessons.drill_copies import (  # noqa: PLC0415
        DrillCopy,
        DrillOutput,
        Version,
    )
    from harmonise.notation.midi.writing import Playing  # noqa: PLC0415
    from harmonise.theory.arrangement import Hand, Labels  # noqa: PLC0415

    given = job.given
    hand = given["hand"]
    return DrillOutput(
        DrillCopy(
            Version(given["version"]), Labels(given["labels"]), bool(given["fingering"])
        ),
        int(str(given["tempo"])),
        Playing(count_in=bool(given["count_in"]), hand=Hand(hand) if hand else None),
        page_of(given) if job.target.suffix.lower() == ".pdf" else None,
    )


def _title(job: _Job) -> str:
    from harmonise.lessons.drills import title_of  # noqa: PLC0415

    return job.progression or title_of(job.drills)


def _report(job: _Job, done: tuple["Exercise", ...]) -> None:
    """Print what was written, the questions of a naming drill, and the plan."""
    from harmonise.lessons.practice import format_plan  # noqa: PLC0415

    keys = list(dict.fromkeys(own.key for own in done))
    bars = sum(len(own.score.tune.bars) for own in done)
    click.echo(_title(job))
    click.echo(
        f"{_count(len(done), 'exercise')} in {_count(len(keys), 'key')}, "
        f"{_count(bars, 'bar')}: {', '.join(map(str, keys))}"
    )
    for key in dict.fromkeys(own.key for own in done if own.hidden):
        _ask(key, answers=job.given["version"] == "answer")
    if job.given["plan"]:
        click.echo()
        click.echo(format_plan(keys, int(str(job.given["tempo"]))))
    click.echo()
    click.echo(f"Written: {job.target}")


def _count(number: int, word: str) -> str:
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


def _ask(key: "Key", *, answers: bool) -> None:
    """Print the questions of the naming drill in a key, to be asked aloud."""
    from harmonise.lessons.drill_makers import questions  # noqa: PLC0415

    click.echo()
    for number, question in enumerate(questions(key), 1):
        told = f" — {question.answer}" if answers else ""
        click.echo(f"{number}. {question.question}{told}")
