"""The command `harmonise listen`: an arrangement to hear, at any speed."""

import re
from fractions import Fraction
from math import isnan
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.arranging.request import arranged
from harmonise.cli.choosing import (
    RENAMED,
    Choosing,
    Forming,
    broken_promises,
    idle_options,
    read_source,
    request_of,
    tell_remarks,
    tell_tune,
)
from harmonise.cli.command import Command
from harmonise.cli.long_jobs import tell_start
from harmonise.cli.options import show, tell_idle, told, with_options
from harmonise.errors import NotationError, shorten
from harmonise.notation.files import SOUND, check_target, write_whole
from harmonise.notation.outputs import Output, Sheet, write_output
from harmonise.notation.sound.performance import Playing
from harmonise.notation.sound.stretches import format_spoken_walk
from harmonise.theory.arrangement import Arrangement, Hand


class _Factor(click.FloatRange):
    """A factor in a range; "nan" is in none, though it is above and below nothing."""

    def convert(
        self,
        value: float,
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> float:
        """Return the number; a word that is none is wrong usage."""
        number = float(super().convert(value, param, ctx))
        if isnan(number):
            self.fail(f'"{value}" is no number.', param, ctx)
        return number


class ListenOptions(NamedTuple):
    """Options of `harmonise listen`.

    Attributes:
        output: The file to write: .wav or .mid. Default: the tune's name with .wav.
        tempo: Beats a minute; in 6/8, 9/8 and 12/8 dotted ones. Default: the tune's
            own, else 96 crotchets (quarter notes).
        speed: Factor on every tempo: 0.5 is half as fast.
        count_in: A bar of clicks goes before.
        hand: The only hand that plays.
        loop: Only these bars, such as 5-8.
        times: How often the tune or the loop is played.
        pedal: Lets what sounds under the tune ring until chord or bar change.
        walk: Says each chord and how the hands get there before it sounds, for practice
            without eyes; espeak-ng speaks, where it is installed.
    """

    output: Path | None = None
    forming: Forming = Forming()
    tempo: Annotated[int | None, click.IntRange(20, 300)] = None
    speed: Annotated[float, _Factor(0.1, 4)] = 1.0
    count_in: bool = False
    hand: Hand | None = None
    loop: Annotated[str, '"5-8"'] = ""
    times: Annotated[int, click.IntRange(1, 100)] = 1
    pedal: bool = False
    walk: bool = False
    choosing: Choosing = Choosing()
    force: bool = False
    shows: Annotated[bool, "--open"] = False


@click.command(
    cls=Command,
    short_help="Play the arrangement into a sound file.",
    examples=(
        "harmonise listen mytune.txt --speed 0.7 --loop 1-4 --times 3",
        "harmonise listen mytune.txt --walk",
    ),
    once={**RENAMED, "--bars": "--loop"},
)
@click.argument("tune")
@with_options(ListenOptions)
def listen(tune: str, options: ListenOptions) -> None:
    """Arrange TUNE and play it into a sound file, repeats and endings in full.

    TUNE is a file of {formats}; "-" reads what you pipe in. The tune
    sounds louder than the rest.
    """
    with told(tune):
        _listen(tune, options)


def _listen(source: str, options: ListenOptions) -> None:
    request = request_of(options.choosing, options.forming)
    stem = "tune" if source == "-" else Path(source).stem
    target = options.output or Path(f"{stem}.wav")
    if target.suffix.lower() not in SOUND:
        raise NotationError(
            f'"{target.name}" does not end in .wav or .mid.',
            None,
            f"Call it {target.stem}.wav.",
        )
    if options.walk and target.suffix.lower() != ".wav":
        raise NotationError(
            f'Words are spoken in a recording, and "{target.name}" is none.',
            None,
            f"Call it {target.stem}.wav.",
        )
    check_target(target, force=options.force)
    tune = read_source(source, options.choosing.part)[0]
    output = Output(playing=_playing(options, tune.bars[0].time.beat))
    arrangements = arranged(request, tune, explained=False)
    tell_start(target)
    if options.walk:
        written = _write_walk(arrangements[0], target, options)
    else:
        written = write_output(arrangements, target, output, force=options.force)
    tell_tune(arrangements[0])
    page = Sheet.SCORE, target.suffix.lower()
    idle = idle_options(request, page, tune, [arrangements[0].tune.key])
    tell_remarks((*broken_promises(arrangements[0]), *idle))
    click.echo(f"Written: {', '.join(map(str, written))}")
    if options.shows:
        show(written[0])
    click.echo("Keep headphones low, practise in short spells, and rest tired hands.")


def _write_walk(
    arrangement: Arrangement, target: Path, options: ListenOptions
) -> tuple[Path, ...]:
    """Write a walk; where nothing speaks its words they are printed."""
    playing = _playing(options, arrangement.tune.bars[0].time.beat)
    walk = format_spoken_walk(arrangement, playing)
    write_whole(target, walk.content, force=options.force)
    tell_idle(dict.fromkeys(("count_in", "pedal"), " beside {walk}"))
    if not walk.spoken:
        click.echo("\n".join(walk.words))
        click.echo(
            "The words are not spoken, for espeak-ng is not installed. On Debian type "
            "apt install espeak-ng."
        )
    return (target,)


def _playing(options: ListenOptions, beat: Fraction) -> Playing:
    """Return how a tune is played whose counted beats last some crotchets."""
    return Playing(
        options.tempo * beat if options.tempo else None,
        # A speed of 0.1 means a tenth, not the nearest binary fraction.
        Fraction(str(options.speed)),
        options.count_in,
        options.hand,
        _bars(options.loop),
        options.times,
        options.pedal,
    )


def _bars(typed: str) -> tuple[int, int] | None:
    if not typed:
        return None
    numbers = re.fullmatch(r"\s*(\d{1,9})\s*(?:[-–]\s*(\d{1,9})\s*)?", typed)
    if not numbers:
        raise NotationError(
            f'"{shorten(typed)}" are no bars.', None, "Write two numbers such as 5-8."
        )
    first = int(numbers[1])
    return first, int(numbers[2] or first)
