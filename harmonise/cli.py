"""The command line: parses what was typed, calls the job, prints what came of it.

Exit status: 0 done, 1 the job failed, 2 wrong usage.
"""

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import click

from harmonise.errors import HarmoniseError, OutputError
from harmonise.theory.arrangement import (
    AUTO_LEVEL,
    Arrangement,
    HarmonicRhythm,
    Style,
    Texture,
)
from harmonise.theory.key import Key, parse_key
from harmonise.theory.tune import KeyChange, Tune

_LEVELS = click.Choice(["auto", "1", "2", "3", "4"])
_RHYTHMS = click.Choice([rhythm.value for rhythm in HarmonicRhythm])
_TEXTURES = click.Choice([texture.value for texture in Texture])
_SCORES = (".musicxml", ".xml", ".mxl")


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


class _Job(NamedTuple):
    """What one call of `arrange` asks for."""

    source: str
    target: Path | None
    key: Key | None
    chords: str
    part: str
    keep_chords: bool
    force: bool
    style: Style


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="harmonise", message="%(prog)s %(version)s")
def main() -> None:
    """Arrange a tune for two hands at the piano and keep the tune on top."""


_Command = Callable[..., None]
_CHOOSING = (
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


def _choosing(command: _Command) -> _Command:
    for option in reversed(_CHOOSING):
        command = option(command)
    return command


@main.command()
@click.argument("tune")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The score to write: .musicxml, .xml or .mxl. "
    "Default: the tune's name with .musicxml, where you stand.",
)
@_choosing
@click.option(
    "--numerals/--no-numerals",
    default=True,
    show_default=True,
    help="Roman numerals under the bass staff.",
)
@click.option("--fingering", is_flag=True, help="Finger numbers for both hands.")
@click.option("--force", is_flag=True, help="Overwrites an existing score.")
def arrange(tune: str, **given: object) -> None:
    """Choose chords under TUNE and write a two-staff score.

    TUNE is a file of typed text, MusicXML or ABC; "-" reads what you pipe in.
    """
    _run(_job(tune, given), _arrange)


@main.command()
@click.argument("tune")
@_choosing
def explain(tune: str, **given: object) -> None:
    """Tell why each chord stands under TUNE, and which others would do.

    TUNE is a file of typed text, MusicXML or ABC; "-" reads what you pipe in. Nothing
    is written.
    """
    _run(_job(tune, given), _explain)


def _run(job: _Job, work: Callable[[_Job], None]) -> None:
    """Do a job; a failure is told in a sentence and ends with status 1."""
    try:
        work(job)
    except HarmoniseError as error:
        click.echo(f"{_shown(job.source)}: {error}", err=True)
        sys.exit(1)


def _job(source: str, given: dict[str, object]) -> _Job:
    level = str(given["level"])
    style = Style(
        level=AUTO_LEVEL if level == "auto" else int(level),
        harmonic_rhythm=HarmonicRhythm(given["harmonic_rhythm"]),
        texture=Texture(given["texture"]),
        numerals=bool(given.get("numerals")),
        fingering=bool(given.get("fingering")),
        strict=bool(given["strict"]),
    )
    target, key = given.get("output"), given["key"]
    return _Job(
        source,
        target if isinstance(target, Path) else None,
        key if isinstance(key, Key) else None,
        str(given["chords"]),
        str(given["part"]),
        bool(given["keep_chords"]),
        bool(given.get("force")),
        style,
    )


def _shown(source: str) -> str:
    return "standard input" if source == "-" else source


def _tunes(job: _Job) -> tuple[Tune, ...]:
    from harmonise.notation.reading.reader import parse_tunes, read_tunes  # noqa: PLC0415

    if job.source == "-":
        return parse_tunes(sys.stdin.buffer.read(), part=job.part)
    return read_tunes(Path(job.source), part=job.part)


def _arrange(job: _Job) -> None:
    tunes = _tunes(job)
    for tune, target in zip(tunes, _targets(job, tunes), strict=True):
        _arrange_one(job, tune, target)


def _explain(job: _Job) -> None:
    from harmonise.notation.writing.account import format_account  # noqa: PLC0415

    for number, tune in enumerate(_tunes(job)):
        done = _chosen(job, tune)
        if number:
            click.echo()
        _tell_tune(done)
        click.echo(format_account(done))
        _tell_remarks(done)


def _targets(job: _Job, tunes: tuple[Tune, ...]) -> list[Path]:
    """Return where each score goes, and refuse before any work is done."""
    target = job.target
    if target is None:
        name = Path(job.source).stem if job.source != "-" else _slug(tunes[0].title)
        target = Path(f"{name}.musicxml")
    if target.suffix.lower() not in _SCORES:
        raise OutputError(
            f'"{target.name}" does not end in .musicxml, .xml or .mxl.',
            None,
            f"Call it {target.stem}.musicxml.",
        )
    if len(tunes) == 1:
        return [target]
    return [
        target.with_stem(f"{target.stem}-{number}")
        for number in range(1, len(tunes) + 1)
    ]


def _slug(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "tune"


def _arrange_one(job: _Job, tune: Tune, target: Path) -> None:
    from harmonise.notation.writing.files import check_target, write_score  # noqa: PLC0415

    _guard_source(job.source, target)
    check_target(target, force=job.force)
    done = _chosen(job, tune)
    write_score(done, target, force=job.force)
    _report(done, target)


def _chosen(job: _Job, tune: Tune) -> Arrangement:
    """Arrange a tune with the key and the locks that were asked for."""
    from harmonise.arranging import arrange as arrange_tune  # noqa: PLC0415

    if job.key:
        tune = tune._replace(keys=(KeyChange(tune.keys[0].onset, job.key),))
    locks = tune.symbols if job.keep_chords else ()
    if job.chords:
        from harmonise.notation.reading.chords import parse_chords  # noqa: PLC0415

        locks = (*locks, *parse_chords(job.chords, tune))
    return arrange_tune(tune, job.style._replace(locks=locks))


def _guard_source(source: str, target: Path) -> None:
    """Refuse to write over the tune itself, whatever was asked for."""
    if source != "-" and target.resolve() == Path(source).resolve():
        raise OutputError(
            f"{target} is the tune itself, and is never written over.",
            None,
            "Name another score with -o.",
        )


def _report(done: Arrangement, target: Path) -> None:
    """Print what was understood, the chords by bars, and every remark."""
    from harmonise.notation.writing.chart import format_chart  # noqa: PLC0415

    _tell_tune(done)
    click.echo(format_chart(done))
    _tell_remarks(done)
    click.echo()
    click.echo(f"Written: {target}")


def _tell_tune(done: Arrangement) -> None:
    """Print the title, what was read, and how chords were chosen."""
    from harmonise.theory.readback import format_readback  # noqa: PLC0415

    if done.tune.title:
        click.echo(done.tune.title)
    click.echo(format_readback(done.tune))
    click.echo(f"Level {done.style.level}, {_OFTEN[done.style.harmonic_rhythm]}")
    click.echo()


_OFTEN = {
    HarmonicRhythm.AUTO: "chords where they suit",
    HarmonicRhythm.BAR: "a chord a bar at most",
    HarmonicRhythm.HALF_BAR: "a chord a half-bar at most",
    HarmonicRhythm.BEAT: "a chord a beat at most",
}


def _tell_remarks(done: Arrangement) -> None:
    if done.remarks:
        click.echo()
    for remark in done.remarks:
        click.echo(str(remark))
