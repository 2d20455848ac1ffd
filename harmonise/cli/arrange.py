"""The commands `harmonise arrange` and `harmonise explain`."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harmonise.arranging.request import arranged, made_ready
from harmonise.cli.choosing import (
    Job,
    choosing,
    read_source,
    run,
    tell_keys,
    tell_remarks,
    tell_tune,
)
from harmonise.cli.options import (
    FORMING,
    LANDSCAPE,
    LARGE_PRINT,
    PAPER,
    Command,
    page_of,
    with_options,
)
from harmonise.errors import OutputError
from harmonise.theory.arrangement import Arrangement, Labels, Player
from harmonise.theory.tune import Tune

if TYPE_CHECKING:
    from harmonise.notation.outputs import Output

_LABELS = click.Choice([labels.value for labels in Labels])
_SHEETS = (
    "score", "lead-sheet", "chart", "guitar", "spoken", "walk",
    "letters", "numbers", "sol-fa", "abc",
)  # fmt: skip
_ORDERS = ("fifths", "fourths", "chromatic", "few-accidentals")
_OUTPUT = click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    help="The file to write: .musicxml, .xml or .mxl for notation editors; .pdf, .png "
    "or .svg to print; .mid or .wav to listen; .txt or .abc for texts. For a folder "
    "of tunes, a folder. Default: the tune's name with .musicxml, where you stand.",
)
_PAGES = (
    click.option(
        "--sheet",
        type=click.Choice(_SHEETS),
        help="What is made: the two-staff score; a lead sheet; a chord chart with "
        "words; the guitarist's sheet with capo; the score in words for screen "
        "readers; a walk from chord to chord; or the tune alone in letters, numbers, "
        "sol-fa or ABC. Default: by the file's ending, else the score.",
    ),
    click.option(
        "--capo",
        type=click.IntRange(0, 5),
        help="Fret of the guitarist's capo. Default: the one with the easiest shapes.",
    ),
    click.option(
        "--numerals/--no-numerals",
        default=True,
        show_default=True,
        help="Roman numerals under the bass staff.",
    ),
    click.option("--fingering", is_flag=True, help="Finger numbers for both hands."),
    click.option(
        "--promises",
        is_flag=True,
        help="Prints what is promised to the player, and what the page asks for.",
    ),
    click.option(
        "--labels",
        type=_LABELS,
        default="none",
        show_default=True,
        help="Names the shape of the right hand: first, 6/3 or b.",
    ),
    click.option(
        "--keyboards",
        is_flag=True,
        help="Keyboard diagrams of the chords after a printed score.",
    ),
    PAPER,
    LANDSCAPE,
    LARGE_PRINT,
)
_MANY = (
    click.option(
        "--keys",
        default="",
        metavar='"all" or "C, Bb"',
        help="Arranges in several keys: one PDF with all of them, or a file for each.",
    ),
    click.option(
        "--order",
        type=click.Choice(_ORDERS),
        default="fifths",
        show_default=True,
        help='Order of "all" keys.',
    ),
    click.option(
        "--ending",
        type=click.Choice(
            ["musicxml", "mxl", "pdf", "png", "svg", "mid", "wav", "txt"]
        ),
        help="What each file of a folder of tunes ends in. Default: the sheet's first.",
    ),
    click.option(
        "--workers",
        type=click.IntRange(1, 64),
        help="Tunes of a book that are worked on at once. Default: one a core.",
    ),
)


def _with_options(command: Command) -> Command:
    return with_options(choosing(command), *FORMING, *_MANY, *_PAGES)


@click.command()
@click.argument("tune")
@_OUTPUT
@_with_options
@click.option("--force", is_flag=True, help="Overwrites an existing score.")
def arrange(tune: str, **given: object) -> None:
    """Choose chords under TUNE and write or print a two-staff score.

    TUNE is a file of typed text, sol-fa, MusicXML, ABC or MIDI; "-" reads what you
    pipe in. A folder, or a file with many tunes, is arranged tune by tune.
    """
    run(tune, given, _arrange)


@click.command()
@click.argument("tune")
@choosing
def explain(tune: str, **given: object) -> None:
    """Tell why each chord stands under TUNE, and which others would do.

    TUNE is a file of typed text, sol-fa, MusicXML, ABC or MIDI; "-" reads what you
    pipe in. Nothing is written.
    """
    run(tune, given, _explain)


def _arrange(job: Job) -> None:
    output = output_of(job, job.target)
    if output.sheet.tune_alone:
        job = job._replace(asked=job.asked._replace(form=None))
    if _is_book(job.source):
        from harmonise.cli.book import arrange_book  # noqa: PLC0415 (few need it)

        arrange_book(job, output)
        return
    tunes = read_source(job.source, job.part)
    targets = _targets(job, tunes)
    for tune, target in zip(tunes, targets, strict=True):
        _arrange_one(job, tune, target)


def _is_book(source: str) -> bool:
    """Whether a source is a folder, or a file with several ABC tunes."""
    if source == "-" or not Path(source).exists():
        return False
    if Path(source).is_dir():
        return True
    from harmonise.notation.formats import LARGEST_BOOK, read_bytes  # noqa: PLC0415

    return len(re.findall(rb"(?m)^X:", read_bytes(Path(source), LARGEST_BOOK))) > 1


def _explain(job: Job) -> None:
    from harmonise.notation.chart.plain_charts import format_account  # noqa: PLC0415

    for number, tune in enumerate(read_source(job.source, job.part)):
        if number:
            click.echo()
        for done in arranged(job.asked, tune, explained=True):
            tell_tune(done)
            tell_keys(job.asked, made_ready(job.asked, tune))
            click.echo(format_account(done))
            tell_remarks(done)


def output_of(job: Job, target: Path | None) -> "Output":
    """Return what is made, by the options and the ending of a file.

    Of a folder the option for its files' ending says it.
    """
    from harmonise.notation.files import PRINTED  # noqa: PLC0415
    from harmonise.notation.outputs import Output, Sheet, sheet_of  # noqa: PLC0415

    named, fret, ending = (job.given[name] for name in ("sheet", "capo", "ending"))
    if ending and (target is None or not target.suffix):
        target = Path(f"tune.{ending}")
    sheet = Sheet(named) if named else sheet_of(target)
    printed = target is not None and target.suffix.lower() in PRINTED
    return Output(
        sheet,
        page_of(job.given) if printed else None,
        fret=fret if isinstance(fret, int) else None,
    )


def _targets(job: Job, tunes: Sequence[Tune]) -> list[Path]:
    """Return where each score goes, and refuse before any work is done."""
    from harmonise.notation.outputs import ENDINGS, check_output  # noqa: PLC0415

    target, sheet = job.target, output_of(job, job.target).sheet
    if target is None:
        name = Path(job.source).stem if job.source != "-" else _slug(tunes[0].title)
        kind = "" if sheet.value in ("score", "abc") else f"-{sheet.value}"
        target = Path(f"{name}{kind}{ENDINGS[sheet][0]}")
    check_output(target, sheet)
    if len(tunes) == 1:
        return [target]
    return [
        target.with_stem(f"{target.stem}-{number}")
        for number in range(1, len(tunes) + 1)
    ]


def _slug(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "tune"


def _arrange_one(job: Job, tune: Tune, target: Path) -> None:
    from harmonise.notation.files import check_target  # noqa: PLC0415
    from harmonise.notation.outputs import write_output  # noqa: PLC0415

    _guard_source(job.source, target)
    if not job.asked.keys:
        check_target(target, force=job.force)
    output, asked = output_of(job, target), job.asked
    done = arranged(asked, tune, explained=False)
    if asked.form:
        from harmonise.form.plan import order_line  # noqa: PLC0415

        output = output._replace(order=order_line(tune, asked.form))
    written = write_output(done, target, output, force=job.force)
    _report(job, tune, done, written)
    if output.order:
        click.echo(f"Order: {output.order}")


def _guard_source(source: str, target: Path) -> None:
    """Refuse to write over the tune itself, whatever was asked for."""
    if source != "-" and target.resolve() == Path(source).resolve():
        raise OutputError(
            f"{target} is the tune itself, and is never written over.",
            None,
            "Name another score with -o.",
        )


def _report(
    job: Job, tune: Tune, done: Sequence[Arrangement], written: Sequence[Path]
) -> None:
    """Print what was understood, the chords by bars, and every remark."""
    from harmonise.notation.chart.plain_charts import format_chart  # noqa: PLC0415

    first, *others = done
    tell_tune(first)
    tell_keys(job.asked, made_ready(job.asked, tune))
    click.echo(format_chart(first))
    tell_remarks(first)
    if job.given["promises"]:
        _tell_promises(first)
    click.echo()
    if others:
        click.echo(f"Keys: {', '.join(str(own.tune.key) for own in done)}")
    click.echo(f"Written: {', '.join(map(str, written))}")


def _tell_promises(done: Arrangement) -> None:
    from harmonise.rules.players import format_promises  # noqa: PLC0415

    click.echo()
    click.echo(format_promises(done, done.style.player or Player.ADVANCED), nl=False)
