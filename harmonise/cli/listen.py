"""The command `harmonise listen`: an arrangement to hear, at any speed."""

import re
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harmonise.arranging.request import arranged
from harmonise.cli.choosing import Job, choosing, read_source, run, tell_tune
from harmonise.cli.options import FORMING, Command, with_options
from harmonise.errors import NotationError

if TYPE_CHECKING:
    from harmonise.notation.sound.performance import Playing

_PLAYING = (
    click.option(
        "--tempo",
        type=click.IntRange(20, 300),
        help="Crotchets (quarter notes) a minute. Default: the tune's own, else 96.",
    ),
    click.option(
        "--speed",
        type=click.FloatRange(0.1, 4),
        default=1.0,
        show_default=True,
        help="Factor on every tempo: 0.5 is half as fast.",
    ),
    click.option("--count-in", is_flag=True, help="A bar of clicks goes before."),
    click.option(
        "--hand", type=click.Choice(["right", "left"]), help="The only hand that plays."
    ),
    click.option(
        "--bars", default="", metavar='"5-8"', help="Only these bars, as a loop."
    ),
    click.option(
        "--times",
        type=click.IntRange(1, 100),
        default=1,
        show_default=True,
        help="How often the tune or the loop is played.",
    ),
)


def _with_options(command: Command) -> Command:
    return with_options(choosing(command), *FORMING, *_PLAYING)


@click.command()
@click.argument("tune")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file to write: .wav or .mid. Default: the tune's name with .wav.",
)
@_with_options
@click.option("--force", is_flag=True, help="Overwrites an existing file.")
def listen(tune: str, **given: object) -> None:
    """Arrange TUNE and play it into a sound file, repeats and endings in full.

    TUNE is a file of typed text, sol-fa, MusicXML, ABC or MIDI; "-" reads what you
    pipe in. The tune sounds louder than the rest.
    """
    run(tune, given, _listen)


def _listen(job: Job) -> None:
    from harmonise.notation.files import check_target  # noqa: PLC0415
    from harmonise.notation.outputs import SOUND, Output, write_output  # noqa: PLC0415

    stem = "tune" if job.source == "-" else Path(job.source).stem
    target = job.target or Path(f"{stem}.wav")
    if target.suffix.lower() not in SOUND:
        raise NotationError(
            f'"{target.name}" does not end in .wav or .mid.',
            None,
            f"Call it {target.stem}.wav.",
        )
    playing = _playing(job)
    check_target(target, force=job.force)
    tune = read_source(job.source, job.part)[0]
    done = arranged(job.asked, tune, explained=False)
    written = write_output(done, target, Output(playing=playing), force=job.force)
    tell_tune(done[0])
    click.echo(f"Written: {', '.join(map(str, written))}")
    click.echo("Practise in short spells, and rest when a hand gets tired.")


def _playing(job: Job) -> "Playing":
    from harmonise.notation.sound.performance import Playing  # noqa: PLC0415
    from harmonise.theory.arrangement import Hand  # noqa: PLC0415

    given = job.given
    tempo, hand = given["tempo"], given["hand"]
    return Playing(
        Fraction(str(tempo)) if tempo else None,
        Fraction(str(given["speed"])),
        bool(given["count_in"]),
        Hand(hand) if hand else None,
        _bars(str(given["bars"])),
        int(str(given["times"])),
    )


def _bars(typed: str) -> tuple[int, int] | None:
    if not typed:
        return None
    found = re.fullmatch(r"\s*(\d+)\s*(?:[-–]\s*(\d+)\s*)?", typed)
    if not found:
        raise NotationError(
            f'"{typed}" are no bars.', None, "Write two numbers such as 5-8."
        )
    first = int(found[1])
    return first, int(found[2] or first)
