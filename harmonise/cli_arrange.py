"""The commands `harmonise arrange` and `harmonise explain`."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harmonise.cli_choosing import (
    Job,
    choosing,
    chosen,
    job_of,
    run_job,
    tell_remarks,
    tell_tune,
    tunes_of,
)
from harmonise.errors import OutputError
from harmonise.theory.arrangement import Arrangement, Labels
from harmonise.theory.tune import Tune

if TYPE_CHECKING:
    from harmonise.notation.sheets.blocks import Page

_LABELS = click.Choice([labels.value for labels in Labels])


@click.command()
@click.argument("tune")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The score to write: .musicxml, .xml or .mxl for notation editors; .pdf, .png "
    "or .svg to print. Default: the tune's name with .musicxml, where you stand.",
)
@choosing
@click.option(
    "--numerals/--no-numerals",
    default=True,
    show_default=True,
    help="Roman numerals under the bass staff.",
)
@click.option("--fingering", is_flag=True, help="Finger numbers for both hands.")
@click.option(
    "--labels",
    type=_LABELS,
    default="none",
    show_default=True,
    help="Names the shape of the right hand: first, 6/3 or b.",
)
@click.option(
    "--keyboards",
    is_flag=True,
    help="Keyboard diagrams of the chords after a printed score.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper of a printed score.",
)
@click.option("--landscape", is_flag=True, help="Prints on the paper's long side.")
@click.option(
    "--large-print", is_flag=True, help="Prints larger staves and bold, upright text."
)
@click.option("--force", is_flag=True, help="Overwrites an existing score.")
def arrange(tune: str, **given: object) -> None:
    """Choose chords under TUNE and write or print a two-staff score.

    TUNE is a file of typed text, MusicXML or ABC; "-" reads what you pipe in.
    """
    run_job(job_of(tune, given), _arrange)


@click.command()
@click.argument("tune")
@choosing
def explain(tune: str, **given: object) -> None:
    """Tell why each chord stands under TUNE, and which others would do.

    TUNE is a file of typed text, MusicXML or ABC; "-" reads what you pipe in. Nothing
    is written.
    """
    run_job(job_of(tune, given), _explain)


def _arrange(job: Job) -> None:
    tunes = tunes_of(job)
    for tune, target in zip(tunes, _targets(job, tunes), strict=True):
        _arrange_one(job, tune, target)


def _explain(job: Job) -> None:
    from harmonise.notation.writing.account import format_account  # noqa: PLC0415

    for number, tune in enumerate(tunes_of(job)):
        done = chosen(job, tune, explained=True)
        if number:
            click.echo()
        tell_tune(done)
        click.echo(format_account(done))
        tell_remarks(done)


def _targets(job: Job, tunes: tuple[Tune, ...]) -> list[Path]:
    """Return where each score goes, and refuse before any work is done."""
    from harmonise.notation.writing.files import check_ending  # noqa: PLC0415

    target = job.target
    if target is None:
        name = Path(job.source).stem if job.source != "-" else _slug(tunes[0].title)
        target = Path(f"{name}.musicxml")
    check_ending(target)
    if len(tunes) == 1:
        return [target]
    return [
        target.with_stem(f"{target.stem}-{number}")
        for number in range(1, len(tunes) + 1)
    ]


def _slug(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "tune"


def _arrange_one(job: Job, tune: Tune, target: Path) -> None:
    from harmonise.notation.writing.files import check_target, write_score  # noqa: PLC0415

    _guard_source(job.source, target)
    check_target(target, force=job.force)
    done = chosen(job, tune, explained=False)
    written = write_score(done, target, force=job.force, page=_page(job, target))
    _report(done, written)


def _page(job: Job, target: Path) -> "Page | None":
    """Return the page of a printed score; None where nothing is printed."""
    from harmonise.notation.writing.files import PRINTED  # noqa: PLC0415

    if target.suffix.lower() not in PRINTED:
        return None
    from harmonise.notation.sheets.blocks import Page, Paper  # noqa: PLC0415

    return Page(Paper(job.paper), job.landscape, job.large_print)


def _guard_source(source: str, target: Path) -> None:
    """Refuse to write over the tune itself, whatever was asked for."""
    if source != "-" and target.resolve() == Path(source).resolve():
        raise OutputError(
            f"{target} is the tune itself, and is never written over.",
            None,
            "Name another score with -o.",
        )


def _report(done: Arrangement, written: tuple[Path, ...]) -> None:
    """Print what was understood, the chords by bars, and every remark."""
    from harmonise.notation.writing.chart import format_chart  # noqa: PLC0415

    tell_tune(done)
    click.echo(format_chart(done))
    tell_remarks(done)
    click.echo()
    click.echo(f"Written: {', '.join(map(str, written))}")
