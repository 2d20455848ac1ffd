"""The command `harmonise worksheet`: sheets for pupils, and their answer keys."""

from collections.abc import Iterator
from enum import Enum
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.cli.choosing import read_source
from harmonise.cli.command import Command
from harmonise.cli.long_jobs import tell_start
from harmonise.cli.options import (
    Level,
    WordChoice,
    show,
    tell_idle,
    told,
    with_options,
    words_of,
)
from harmonise.errors import OutputError
from harmonise.lessons.lesson_effects import sheet_reasons
from harmonise.lessons.sheet_files import ENDINGS, format_sheet, sheet_recordings
from harmonise.lessons.versions import VERSIONS, make_sheets
from harmonise.lessons.worksheet import Depth, SheetKind, SheetOrder, Worksheet
from harmonise.notation.files import check_target
from harmonise.notation.outputs import write_pages
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.theory.arrangement import HarmonicRhythm, Labels, Style
from harmonise.theory.key import Key, named_keys
from harmonise.theory.tune import Tune

LABEL_WORDS = words_of((Labels.WORDS, Labels.FIGURES, Labels.LETTERS))
"""How pupils name shapes: in every way but not at all."""
FAULTS = click.IntRange(1, 12)
SEED = click.IntRange(1, 9999)
BARS = click.IntRange(2, 64)

DEPTHS = WordChoice({**{depth.value: (depth,) for depth in Depth}, "all": tuple(Depth)})

_TITLES = tuple(kind.row.title.lower() for kind in SheetKind)


class PrintedCopies(Enum):
    """What is printed of a worksheet."""

    BOTH = "both"
    SHEET = "sheet"
    ANSWERS = "answers"


class WorksheetOptions(NamedTuple):
    """Options of `harmonise worksheet`.

    Attributes:
        output: A name ending in .pdf or .png to print, in .musicxml, .xml or .mxl for
            pupils to fill in; version and -answers are added to it. Default: the tune's
            name and the kind, as PDF where you stand.
        kind: What pupils do: {}.
        versions: Versions A, B, C … of equal difficulty, in other keys.
        keys: Keys of the versions, or those that a phrase is written in. Default:
            chosen by the number of their sharps or flats.
        bars: Bars of the tune at most; the sheet stops at the end of a line. Default:
            8, for a phrase to transpose 4.
        faults: Planted faults to find, besides the example.
        seed: Number of the sheet; another number plants faults in other places.
        labels: How pupils name the shape of the right hand: first, 6/3 or b.
        depth: How much the sheet gives: every second answer, the first one, or none and
            asks for more; all three share one key.
        copies: Prints the pupils' sheet, the answer key, or both.
        force: Overwrites existing sheets.
    """

    output: Path | None = None
    kind: Annotated[SheetKind, _TITLES] = SheetKind.ACCOMPANY
    versions: Annotated[int, click.IntRange(1, len(VERSIONS))] = 1
    keys: Annotated[tuple[str, ...], '"G, F, D"'] = ()
    bars: Annotated[int | None, BARS] = None
    faults: Annotated[int, FAULTS] = 4
    seed: Annotated[int, SEED] = 1
    labels: Annotated[Labels, LABEL_WORDS] = Labels.WORDS
    level: Level = 1
    harmonic_rhythm: HarmonicRhythm = HarmonicRhythm.AUTO
    part: str = ""
    depth: Annotated[tuple[Depth, ...], DEPTHS] = (Depth.CORE,)
    copies: PrintedCopies = PrintedCopies.BOTH
    paper: Paper = Paper.A4
    large_print: bool = False
    force: bool = False
    shows: Annotated[bool, "--open"] = False
    no_settings: bool = False


@click.command(
    cls=Command,
    short_help="Make worksheets and their answer keys.",
    examples=(
        "harmonise worksheet mytune.txt --kind choose --versions 2",
        "harmonise worksheet mytune.txt --kind symbols -o mytune.musicxml",
    ),
)
@click.argument("tune")
@with_options(WorksheetOptions)
def worksheet(tune: str, options: WorksheetOptions) -> None:
    """Make worksheets of TUNE, and their answer keys.

    TUNE is a file of {formats}; "-" reads what you pipe in. Each
    version is a file of its own, and so is its answer key. What pupils fill in as
    MusicXML tells `harmonise mark` by itself which task it is.
    """
    stem = "tune" if tune == "-" else Path(tune).stem
    target = options.output or Path(f"{stem}-{options.kind.value}.pdf")
    with told(tune):
        _make(tune, target, options)


def _make(source: str, target: Path, options: WorksheetOptions) -> None:
    if target.suffix.lower() not in ENDINGS:
        raise OutputError(
            f'"{target.name}" does not end in {", ".join(ENDINGS[:-1])} or .mxl.',
            None,
            f"Call it {target.stem}.pdf or {target.stem}.musicxml.",
        )
    tune = read_source(source, options.part)[0]
    order, count = _order(tune, options), options.versions
    sheets = [
        sheet
        for depth in options.depth
        for sheet in make_sheets(tune, order._replace(depth=depth), count)
    ]
    files = [
        (path, sheet, answers)
        for sheet in sheets
        for path, answers in _files(target, sheet, options)
    ]
    recordings = dict(
        recording
        for sheet in sheets
        for recording in sheet_recordings(
            sheet, target.with_name(f"{target.stem}-{sheet.version}")
        )
    )
    for path in [*(path for path, _, _ in files), *recordings]:
        check_target(path, force=options.force)
    page = Page(options.paper, large_print=options.large_print)
    tell_start(target)
    made = [
        (path, format_sheet(sheet, target.suffix.lower(), page, answers=answers))
        for path, sheet, answers in files
    ]
    made += [(path, (content,)) for path, content in recordings.items()]
    written = write_pages(made, force=options.force)
    for sheet in sheets:
        click.echo(f"{sheet.footer}: {sheet.key}, {sheet.marks} marks")
    tell_idle(sheet_reasons(options.kind))
    click.echo(f"Written: {', '.join(map(str, written))}")
    if recordings:
        click.echo("Keep headphones low, and rest the ears between lines.")
    if options.shows:
        show(written[0])


def _order(tune: Tune, options: WorksheetOptions) -> SheetOrder:
    return SheetOrder(
        options.kind,
        Style(options.level, options.harmonic_rhythm),
        options.labels,
        options.bars or options.kind.row.bars,
        options.faults,
        options.seed,
        _keys(options.keys, tune.key),
    )


def _keys(texts: tuple[str, ...], home: Key) -> tuple[Key, ...]:
    """Return the keys that were typed, in the tune's own mode."""
    keys = named_keys(texts, mode=home.mode)
    for key in keys:
        if key.mode is not home.mode:
            raise OutputError(
                f"The tune is in {home} and cannot be moved to {key}.",
                None,
                f"Name {home.mode.value} keys.",
            )
    return keys


def _files(
    target: Path, sheet: Worksheet, options: WorksheetOptions
) -> Iterator[tuple[Path, bool]]:
    """Yield the files of a sheet, and whether each is the answer key.

    Three depths share the key of the last, which has the most answers.
    """
    stem = f"{target.stem}-{sheet.version}"
    depth, several = sheet.order.depth, len(options.depth) > 1
    if options.copies is not PrintedCopies.ANSWERS:
        deep = f"-{depth.value}" if several or depth is not Depth.CORE else ""
        yield target.with_stem(f"{stem}{deep}"), False
    if options.copies is not PrintedCopies.SHEET and depth is options.depth[-1]:
        yield target.with_stem(f"{stem}-answers"), True
