"""What every command that chooses chords takes and prints."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import click

from harmonise.errors import HarmoniseError
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
    HarmonicRhythm,
    Labels,
    Style,
    Texture,
)
from harmonise.theory.key import Key, parse_key
from harmonise.theory.tune import KeyChange, Tune

_LEVELS = click.Choice(["auto", "1", "2", "3", "4"])
_RHYTHMS = click.Choice([rhythm.value for rhythm in HarmonicRhythm])
_TEXTURES = click.Choice([texture.value for texture in Texture])


class _KeyType(click.ParamType[Key]):
    """A key as typed: "G", "F# minor", "D dorian"."""

    name = "key"

    def convert(
        self,
        value: object,
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> Key:
        if isinstance(value, Key):
            return value
        try:
            return parse_key(str(value))
        except HarmoniseError as error:
            self.fail(str(error), param, ctx)


class Job(NamedTuple):
    """What one call of `arrange` asks for."""

    source: str
    target: Path | None
    key: Key | None
    chords: str
    part: str
    keep_chords: bool
    force: bool
    paper: str
    landscape: bool
    large_print: bool
    style: Style


_Command = Callable[..., None]
CHOOSING = (
    click.option("--key", type=_KeyType(), help='Overrides the key: "G", "E minor" …'),
    click.option(
        "--level",
        type=_LEVELS,
        default="1",
        show_default=True,
        help="Chords: 1 I IV V, 2 adds V7, 3 adds ii and vi, 4 the rest; "
        "auto: the lowest level that keeps every strong rule.",
    ),
    click.option(
        "--harmonic-rhythm",
        type=_RHYTHMS,
        default="auto",
        show_default=True,
        help="How often chords may change.",
    ),
    click.option(
        "--texture",
        type=_TEXTURES,
        default="auto",
        show_default=True,
        help="A chord under every tune note of a beat, or held under the moving tune.",
    ),
    click.option(
        "--chords",
        default="",
        metavar='"C | G7 | ? | C"',
        help="Locks chords bar by bar: one a bar, two for the halves, or one a beat; "
        "? leaves the choice, - goes on.",
    ),
    click.option(
        "--keep-chords",
        is_flag=True,
        help="Locks the chord symbols that the file carries.",
    ),
    click.option("--part", default="", help="Name of the part that has the tune."),
    click.option("--strict", is_flag=True, help="Refuses a tune that no chord fits."),
)
"""Options of every command that chooses chords."""


def choosing(command: _Command) -> _Command:
    """Give a command the options of every command that chooses chords."""
    for option in reversed(CHOOSING):
        command = option(command)
    return command


def run_job(job: Job, work: Callable[[Job], None]) -> None:
    """Do a job; a failure is told in a sentence and ends with status 1."""
    try:
        work(job)
    except HarmoniseError as error:
        click.echo(f"{shown(job.source)}: {error}", err=True)
        sys.exit(1)


def job_of(source: str, given: dict[str, object]) -> Job:
    """Return what one call asks for; options that the command lacks are off."""
    level = str(given["level"])
    style = Style(
        level=AUTO_LEVEL if level == "auto" else int(level),
        harmonic_rhythm=HarmonicRhythm(given["harmonic_rhythm"]),
        texture=Texture(given["texture"]),
        numerals=bool(given.get("numerals")),
        fingering=bool(given.get("fingering")),
        strict=bool(given["strict"]),
        labels=Labels(given.get("labels", "none")),
        keyboards=bool(given.get("keyboards")),
    )
    target, key = given.get("output"), given["key"]
    return Job(
        source,
        target if isinstance(target, Path) else None,
        key if isinstance(key, Key) else None,
        str(given["chords"]),
        str(given["part"]),
        bool(given["keep_chords"]),
        bool(given.get("force")),
        str(given.get("paper", "a4")),
        bool(given.get("landscape")),
        bool(given.get("large_print")),
        style,
    )


def shown(source: str) -> str:
    """Return what messages call the source."""
    return "standard input" if source == "-" else source


def tunes_of(job: Job) -> tuple[Tune, ...]:
    """Return the tunes of a file, or of what is piped in.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    from harmonise.notation.reading.reader import parse_tunes, read_tunes  # noqa: PLC0415

    if job.source == "-":
        return parse_tunes(sys.stdin.buffer.read(), part=job.part)
    return read_tunes(Path(job.source), part=job.part)


def chosen(job: Job, tune: Tune, *, explained: bool) -> Arrangement:
    """Arrange a tune with the key and the locks that were asked for."""
    from harmonise.arranging import arrange as arrange_tune  # noqa: PLC0415

    if job.key:
        tune = tune._replace(keys=(KeyChange(tune.keys[0].onset, job.key),))
    locks = tune.symbols if job.keep_chords else ()
    if job.chords:
        from harmonise.notation.reading.chords import parse_chords  # noqa: PLC0415

        locks = (*locks, *parse_chords(job.chords, tune))
    style = job.style._replace(locks=locks)
    return arrange_tune(tune, style, explained=explained)


def tell_tune(done: Arrangement) -> None:
    """Print the title, what was read, and how chords were chosen."""
    from harmonise.theory.readback import format_readback  # noqa: PLC0415

    if done.tune.title:
        click.echo(done.tune.title)
    click.echo(format_readback(done.tune))
    click.echo(f"Level {done.style.level}, {OFTEN[done.style.harmonic_rhythm]}")
    click.echo()


OFTEN = {
    HarmonicRhythm.AUTO: "chords where they suit",
    HarmonicRhythm.BAR: "a chord a bar at most",
    HarmonicRhythm.HALF_BAR: "a chord a half-bar at most",
    HarmonicRhythm.BEAT: "a chord a beat at most",
}


def tell_remarks(done: Arrangement) -> None:
    """Print the remarks, after an empty line if there are any."""
    if done.remarks:
        click.echo()
    for remark in done.remarks:
        click.echo(str(remark))
