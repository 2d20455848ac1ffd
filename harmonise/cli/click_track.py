"""The command `harmonise click`: a click track to sing or play to."""

from fractions import Fraction
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.cli.choosing import TIME
from harmonise.cli.command import Command
from harmonise.cli.options import told, with_options
from harmonise.errors import NotationError
from harmonise.notation.files import write_whole
from harmonise.notation.sound.recording import format_clicks
from harmonise.theory.metre import TimeSignature


class ClickOptions(NamedTuple):
    """Options of `harmonise click`.

    Attributes:
        output: The file to write, a .wav.
        tempo: Beats a minute; in 6/8, 9/8 and 12/8 dotted ones.
        time: Time signature; the first beat of each bar sounds high.
        bars: Bars after the one that counts in.
    """

    output: Path = Path("click.wav")
    tempo: Annotated[int, click.IntRange(20, 300)] = 90
    time: Annotated[TimeSignature, TIME] = TimeSignature(4, 4)
    bars: Annotated[int, click.IntRange(1, 500)] = 32
    force: bool = False


@click.command(
    "click",
    cls=Command,
    short_help="Write a click track to sing or play to.",
    examples=("harmonise click --tempo 90 --time 3/4 -o click.wav",),
)
@with_options(ClickOptions)
def click_track(options: ClickOptions) -> None:
    """Write a click track: a bar that counts in, then the bars of the tune.

    Hear it in headphones, sing, whistle or play the tune to it, and record yourself
    alone. Then name its tempo and time again: harmonise arrange recording.wav --tempo
    90 --time 3/4 -o tune.txt.
    """
    with told("harmonise click"):
        _write(options)


def _write(options: ClickOptions) -> None:
    target = options.output
    if target.suffix.lower() != ".wav":
        raise NotationError(
            f'"{target.name}" does not end in .wav.',
            None,
            f"Call it {target.stem}.wav.",
        )
    content = format_clicks(Fraction(options.tempo), options.time, options.bars)
    write_whole(target, content, force=options.force)
    click.echo(f"Written: {target}")
    click.echo("Keep headphones low, and rest the voice between takes.")
