"""The command `harmonise worksheet`: sheets for pupils, and their answer keys.

What is offered is spelled out here, so that the other commands need not load it.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from harmonise.cli.choosing import (
    HARMONIC_RHYTHM,
    LEVEL,
    PART,
    level_of,
    read_source,
    told,
)
from harmonise.cli.options import LARGE_PRINT, PAPER, Command, page_of, with_options
from harmonise.errors import OutputError
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Style
from harmonise.theory.key import Key

if TYPE_CHECKING:
    from harmonise.lessons.worksheet import SheetOrder, Worksheet
    from harmonise.theory.tune import Tune

_KINDS = (
    "voices", "labels", "accompany", "choose", "faults", "keyboards", "transpose"
)  # fmt: skip
_LABELS = ("words", "figures", "letters")
_COPIES = ("both", "sheet", "answers")


class _Job(NamedTuple):
    """What one call asks for."""

    source: str
    target: Path
    given: dict[str, object]


_TASK = (
    click.option(
        "--kind",
        type=click.Choice(_KINDS),
        default="accompany",
        show_default=True,
        help="What pupils do: write the chords that numerals name; name given chords; "
        "write chords under the tune; choose them too; find planted faults; shade "
        "keyboards; write a phrase in other keys.",
    ),
    click.option(
        "--versions",
        type=click.IntRange(1, 5),
        default=1,
        show_default=True,
        help="Versions A, B, C … of equal difficulty, in other keys.",
    ),
    click.option(
        "--keys",
        multiple=True,
        metavar='"G, F, D"',
        help="Keys of the versions, or those that a phrase is written in. "
        "Default: chosen by the number of their sharps or flats.",
    ),
    click.option(
        "--bars",
        type=click.IntRange(2, 64),
        help="Bars of the tune at most; the sheet stops at the end of a line. "
        "Default: 8, for a phrase to transpose 4.",
    ),
    click.option(
        "--faults",
        type=click.IntRange(1, 12),
        default=4,
        show_default=True,
        help="Planted faults to find, besides the example.",
    ),
    click.option(
        "--seed",
        type=click.IntRange(1, 9999),
        default=1,
        show_default=True,
        help="Number of the sheet; another number plants faults in other places.",
    ),
    click.option(
        "--labels",
        type=click.Choice(_LABELS),
        default="words",
        show_default=True,
        help="How pupils name the shape of the right hand: first, 6/3 or b.",
    ),
)
_COPY = click.option(
    "--copies",
    type=click.Choice(_COPIES),
    default="both",
    show_default=True,
    help="Prints the pupils' sheet, the answer key, or both.",
)


def _with_options(command: Command) -> Command:
    return with_options(
        command, *_TASK, LEVEL, HARMONIC_RHYTHM, PART, _COPY, PAPER, LARGE_PRINT
    )


@click.command()
@click.argument("tune")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A name ending in .pdf; version and -answers are added to it. "
    "Default: the tune's name and the kind, where you stand.",
)
@_with_options
@click.option("--force", is_flag=True, help="Overwrites existing sheets.")
def worksheet(tune: str, output: Path | None, **given: object) -> None:
    """Make worksheets of TUNE, and their answer keys, as PDF.

    TUNE is a file of typed text, MusicXML or ABC; "-" reads what you pipe in. Each
    version is a file of its own, and so is its answer key.
    """
    stem = "tune" if tune == "-" else Path(tune).stem
    target = output or Path(f"{stem}-{given['kind']}.pdf")
    with told(tune):
        _run(_Job(tune, target, given))


def _run(job: _Job) -> None:
    from harmonise.notation.files import check_target, write_whole  # noqa: PLC0415

    if job.target.suffix.lower() != ".pdf":
        raise OutputError(
            f'"{job.target.name}" does not end in .pdf.',
            None,
            f"Call it {job.target.stem}.pdf.",
        )
    force = bool(job.given["force"])
    sheets = _sheets(job)
    paths = [path for sheet in sheets for path, _ in _files(job, sheet)]
    for path in paths:
        check_target(path, force=force)
    for sheet in sheets:
        for path, content in _printed(job, sheet):
            write_whole(path, content, force=force)
    for sheet in sheets:
        click.echo(f"{sheet.footer}: {sheet.key}, {sheet.marks} marks")
    click.echo(f"Written: {', '.join(map(str, paths))}")


def _sheets(job: _Job) -> tuple["Worksheet", ...]:
    from harmonise.lessons.versions import make_sheets  # noqa: PLC0415

    tune = read_source(job.source, str(job.given["part"]))[0]
    versions = job.given["versions"]
    return make_sheets(
        tune, _order(job, tune), versions if isinstance(versions, int) else 1
    )


def _order(job: _Job, tune: "Tune") -> "SheetOrder":
    from harmonise.lessons.worksheet import (  # noqa: PLC0415
        SheetKind,
        SheetOrder,
        usual_bars,
    )

    given = job.given
    kind = SheetKind(given["kind"])
    style = Style(level_of(given), HarmonicRhythm(given["harmonic_rhythm"]))
    bars, faults, seed = (
        int(str(given[name] or usual_bars(kind))) for name in ("bars", "faults", "seed")
    )
    names = given["keys"]
    keys = _keys(names if isinstance(names, tuple) else (), tune.key)
    labels = Labels(given["labels"])
    return SheetOrder(kind, style, labels, bars, faults, seed, keys)


def _keys(texts: tuple[str, ...], home: Key) -> tuple[Key, ...]:
    """Return the keys that were typed, in the tune's own mode."""
    from harmonise.theory.key import named_keys  # noqa: PLC0415

    keys = named_keys(texts, mode=home.mode)
    for key in keys:
        if key.mode is not home.mode:
            raise OutputError(
                f"The tune is in {home} and cannot be moved to {key}.",
                None,
                f"Name {home.mode.value} keys.",
            )
    return keys


def _files(job: _Job, sheet: "Worksheet") -> Iterator[tuple[Path, bool]]:
    """Yield the files of a sheet, and whether each is the answer key."""
    stem = f"{job.target.stem}-{sheet.version}"
    copies = job.given["copies"]
    if copies != "answers":
        yield job.target.with_stem(stem), False
    if copies != "sheet":
        yield job.target.with_stem(f"{stem}-answers"), True


def _printed(job: _Job, sheet: "Worksheet") -> Iterator[tuple[Path, bytes]]:
    from harmonise.lessons.sheet_pages import copies_of, footed  # noqa: PLC0415
    from harmonise.notation.paper.typesetting import typeset  # noqa: PLC0415

    page = page_of(job.given)
    copies = copies_of(sheet, page)
    for path, answers in _files(job, sheet):
        blocks = copies.answers if answers else copies.sheet
        yield path, typeset(blocks, footed(page, sheet, answers=answers))
