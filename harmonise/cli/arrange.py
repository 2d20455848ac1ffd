"""The commands `harmonise arrange` and `harmonise explain`."""

import re
import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.arranging.request import Request, arranged, made_ready
from harmonise.cli.choosing import (
    Choosing,
    Forming,
    broken_promises,
    read_source,
    request_of,
    tell_keys,
    tell_remarks,
    tell_tune,
)
from harmonise.cli.options import ANYWHERE, progress, told, with_options
from harmonise.form.plan import order_line
from harmonise.notation.chart.plain_charts import format_account, format_chart
from harmonise.notation.files import PRINTED, check_target, open_folder
from harmonise.notation.formats import LARGEST_BOOK, read_bytes
from harmonise.notation.outputs import (
    Output,
    Sheet,
    check_output,
    sheet_of,
    write_output,
)
from harmonise.notation.paper.blocks import Page, Paper
from harmonise.rules.players import format_promises
from harmonise.theory.arrangement import Arrangement, Labels, Player
from harmonise.theory.key import KeyOrder
from harmonise.theory.tune import Tune

_ENDINGS = click.Choice(
    sorted({ending[1:] for sheet in Sheet for ending in sheet.row.endings})
)


class ArrangeOptions(NamedTuple):
    """Options of `harmonise arrange`.

    Attributes:
        output: The file to write: .musicxml, .xml or .mxl for notation editors; .pdf,
            .png or .svg to print; .mid or .wav to listen; .txt or .abc for texts. For a
            folder of tunes, a folder. Default: the tune's name with .musicxml, where
            you stand.
        keys: Arranges in several keys: one PDF with all of them, or a file for each.
        order: Order of "all" keys.
        ending: What each file of a folder of tunes ends in. Default: the sheet's first.
        workers: Tunes of a book that are worked on at once. Default: one a core.
        sheet: What is made: the two-staff score; a lead sheet; a chord chart with
            words; the guitarist's sheet with capo; the score in words for screen
            readers; a walk from chord to chord; or the tune alone in letters, numbers,
            sol-fa or ABC. Default: by the file's ending, else the score.
        capo: Fret of the guitarist's capo. Default: the one with the easiest shapes.
        numerals: Roman numerals under the bass staff.
        fingering: Finger numbers for both hands.
        promises: Prints what is promised to the player, and what the page asks for.
        labels: Names the shape of the right hand: first, 6/3 or b.
        keyboards: Keyboard diagrams of the chords after a printed score.
        force: Overwrites an existing score.
    """

    output: Annotated[Path | None, ANYWHERE] = None
    forming: Forming = Forming()
    keys: Annotated[str, '"all" or "C, Bb"'] = ""
    order: KeyOrder = KeyOrder.FIFTHS
    ending: Annotated[str | None, _ENDINGS] = None
    workers: Annotated[int | None, click.IntRange(1, 64)] = None
    sheet: Sheet | None = None
    capo: Annotated[int | None, click.IntRange(0, 5)] = None
    numerals: bool = True
    fingering: bool = False
    promises: bool = False
    labels: Labels = Labels.NONE
    keyboards: bool = False
    paper: Paper = Paper.A4
    landscape: bool = False
    large_print: bool = False
    choosing: Choosing = Choosing()
    force: bool = False


@click.command()
@click.argument("tune")
@with_options(ArrangeOptions)
def arrange(tune: str, options: ArrangeOptions) -> None:
    """Choose chords under TUNE and write or print a two-staff score.

    TUNE is a file of {formats}; "-" reads what you pipe in. A
    folder, or a file with many tunes, is arranged tune by tune.
    """
    with told(tune):
        _arrange(tune, options)


@click.command()
@click.argument("tune")
@with_options(Choosing)
def explain(tune: str, options: Choosing) -> None:
    """Tell why each chord stands under TUNE, and which others would do.

    TUNE is a file of {formats}; "-" reads what you pipe in. Nothing is written.
    """
    with told(tune):
        _explain(tune, options)


def _explain(source: str, options: Choosing) -> None:
    request = request_of(options)
    for number, tune in enumerate(read_source(source, options.part)):
        if number:
            click.echo()
        for arrangement in arranged(request, tune, explained=True):
            tell_tune(arrangement)
            tell_keys(request, made_ready(request, tune))
            click.echo(format_account(arrangement))
            tell_remarks(arrangement.remarks)


def _arrange(source: str, options: ArrangeOptions) -> None:
    output = _output(options)
    request = _request(options, output.sheet)
    if _is_book(source):
        _arrange_book(Path(source), request, output, options)
        return
    tunes = read_source(source, options.choosing.part)
    targets = _targets(source, tunes, options.output, output.sheet)
    for tune, target in zip(tunes, targets, strict=True):
        if not request.keys:
            check_target(target, force=options.force)
        pages = arranged(request, tune, explained=False)
        order = order_line(tune, request.form) if request.form else ""
        output = output._replace(order=order)
        written = write_output(pages, target, output, force=options.force)
        tell_tune(pages[0])
        tell_keys(request, made_ready(request, tune))
        _tell_page(pages, written, promises=options.promises)
        if order:
            click.echo(f"Order: {order}")


def _arrange_book(
    source: Path, request: Request, output: Output, options: ArrangeOptions
) -> None:
    """Arrange every tune of a book, and tell what became of each.

    The pages of a folder go into a folder, with a list of them; those of a file stand
    side by side, numbered, unless a folder is named for them.

    Raises:
        HarmoniseError: If there is no book, or the folder cannot take it.
    """
    # Few have a book, and its readers are slow to load.
    from harmonise.arranging import book  # noqa: PLC0415

    target = options.output
    pieces = book.pieces_of(source)
    ending = f".{options.ending}" if options.ending else ""
    apart = source.is_dir() or (target is not None and not target.suffix)
    if apart:
        folder = target or Path(f"{source.resolve().name}-arranged")
        open_folder(folder, force=options.force)
    else:
        target = target or Path(source.stem)
        ending, folder = target.suffix or ending, target.parent
        pieces = tuple(
            piece._replace(stem=f"{target.stem}-{number}")
            for number, piece in enumerate(pieces, 1)
        )
    ending = ending or output.sheet.row.endings[0]
    check_output(Path(f"tune{ending}"), output.sheet)
    reserved = [Path(book.CONTENTS).stem] if apart and ending == ".txt" else ()
    pieces = book.told_apart(pieces, reserved, paged=ending == ".png")
    order = book.BookOrder(
        request, output, folder, ending, options.choosing.part, options.force
    )
    work = partial(book.arrange_piece, order)
    steps = book.run_book(pieces, work, options.workers or 0)
    outcomes = list(progress("Arranging", len(pieces), steps))
    if apart:
        click.echo(book.keep_contents(outcomes, folder))
    else:
        click.echo(book.format_contents(outcomes), nl=False)
    if any(outcome.failure for outcome in outcomes):
        sys.exit(1)


def _request(options: ArrangeOptions, sheet: Sheet) -> Request:
    """Return what is asked of each tune."""
    # A sheet of the tune alone has no place for what is played before and after it.
    forming = None if sheet.row.tune_alone else options.forming
    request = request_of(options.choosing, forming)
    style = request.style._replace(
        numerals=options.numerals,
        fingering=options.fingering,
        labels=options.labels,
        keyboards=options.keyboards,
    )
    return request._replace(style=style, keys=options.keys, order=options.order)


def _is_book(source: str) -> bool:
    """Whether a source is a folder, or a file with several ABC tunes."""
    if source == "-" or Path(source).is_dir():
        return source != "-"
    # A pipe can be read once only, and holds no more than fits into memory.
    if not Path(source).is_file():
        return False
    return len(re.findall(rb"(?m)^X:", read_bytes(Path(source), LARGEST_BOOK))) > 1


def _output(options: ArrangeOptions) -> Output:
    """Return what is made, by the options and the ending of a file.

    Of a folder the option for its files' ending says it.
    """
    target = options.output
    if options.ending and (target is None or not target.suffix):
        target = Path(f"tune.{options.ending}")
    sheet = options.sheet or sheet_of(target)
    if target is None or target.suffix.lower() not in PRINTED:
        return Output(sheet, fret=options.capo)
    page = Page(options.paper, options.landscape, options.large_print)
    return Output(sheet, page, fret=options.capo)


def _targets(
    source: str, tunes: Sequence[Tune], target: Path | None, sheet: Sheet
) -> list[Path]:
    """Return where each score goes, and refuse before any work is done."""
    if target is None:
        name = Path(source).stem if source != "-" else _slug(tunes[0].title)
        kind = "" if sheet in (Sheet.SCORE, Sheet.ABC) else f"-{sheet.value}"
        target = Path(f"{name}{kind}{sheet.row.endings[0]}")
    check_output(target, sheet)
    if len(tunes) == 1:
        return [target]
    return [
        target.with_stem(f"{target.stem}-{number}")
        for number in range(1, len(tunes) + 1)
    ]


def _slug(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "tune"


def _tell_page(
    pages: Sequence[Arrangement], written: Sequence[Path], *, promises: bool
) -> None:
    """Print the chords by bars, every remark, and what was written."""
    first, *others = pages
    click.echo(format_chart(first))
    tell_remarks(first.remarks)
    for page in others:
        for remark in broken_promises(page):
            if remark not in first.remarks:
                click.echo(f"{page.tune.key}: {remark}")
    if promises:
        click.echo()
        player = first.style.player or Player.ADVANCED
        click.echo(format_promises(first, player), nl=False)
    click.echo()
    if others:
        click.echo(f"Keys: {', '.join(str(page.tune.key) for page in pages)}")
    click.echo(f"Written: {', '.join(map(str, written))}")
