"""The commands `harmonise arrange` and `harmonise explain`."""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, NamedTuple

import click

from harmonise.arranging.request import Request, TuneOrder, arranged, made_ready
from harmonise.cli.choosing import (
    RENAMED,
    BookOptions,
    Choosing,
    CountedBy,
    Forming,
    broken_promises,
    click_of,
    idle_options,
    read_source,
    request_of,
    tell_keys,
    tell_remarks,
    tell_tune,
)
from harmonise.cli.command import Command, usual_ending
from harmonise.cli.long_jobs import tell_start
from harmonise.cli.options import ANYWHERE, show, told, with_options
from harmonise.errors import Remark
from harmonise.form.plan import order_line
from harmonise.notation.chart.plain_charts import format_account, format_chart
from harmonise.notation.files import PRINTED, check_target
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

_ONCE = {
    **RENAMED,
    "--ending": "--file-ending",
    **{f"--order {order.value}": "--tunes-by" for order in TuneOrder},
}


class ArrangeOptions(NamedTuple):
    """Options of `harmonise arrange`.

    Attributes:
        output: The file to write: .musicxml, .xml or .mxl for notation editors; .pdf,
            .png or .svg to print; .mid or .wav to listen; .txt or .abc for texts. For a
            folder of tunes, a folder, or a .pdf for one booklet. Default: the tune's
            name with .musicxml, where you stand.
        keys: Arranges in several keys: one PDF with all of them, or a file for each.
        order: Order of "all" keys.
        sheet: What is made: the two-staff score; a vocal score; a lead sheet; tune and
            words for a congregation; a chord chart with words; the guitarist's sheet
            with capo; the score in words for screen readers; a walk from chord to
            chord; or the tune alone in letters, numbers, sol-fa or ABC. Default: by the
            file's ending, else the score.
        capo: Fret of the guitarist's capo. Default: the one with the easiest shapes.
        numerals: Roman numerals under the bass staff.
        fingering: Finger numbers for both hands.
        promises: Prints what is promised to the player, and what the page asks for.
        labels: Names the shape of the right hand: first, 6/3 or b.
        keyboards: Keyboard diagrams of the chords after a printed score.
    """

    output: Annotated[Path | None, ANYWHERE] = None
    forming: Forming = Forming()
    keys: Annotated[str, '"all" or "C, Bb"'] = ""
    order: KeyOrder = KeyOrder.FIFTHS
    sheet: Sheet | None = None
    capo: Annotated[int | None, click.IntRange(0, 5)] = None
    numerals: bool = True
    fingering: bool = False
    promises: bool = False
    labels: Labels = Labels.NONE
    keyboards: bool = False
    shows: Annotated[bool, "--open"] = False
    paper: Paper = Paper.A4
    landscape: bool = False
    large_print: bool = False
    hearing: CountedBy = CountedBy()
    choosing: Choosing = Choosing()
    book: BookOptions = BookOptions()


@click.command(
    cls=Command,
    short_help="Choose chords and write or print a score.",
    examples=(
        "harmonise arrange mytune.txt -o mytune.pdf",
        "harmonise arrange mytune.txt --level 3 --left-hand waltz --open",
        'harmonise arrange songs -o songs.pdf --title "Our songs"',
    ),
    once=_ONCE,
)
@click.argument("tune")
@with_options(ArrangeOptions)
def arrange(tune: str, options: ArrangeOptions) -> None:
    """Choose chords under TUNE and write or print a two-staff score.

    TUNE is a file of {formats}; "-" reads what you pipe in. A
    folder, or a file with many tunes, is arranged tune by tune, or as a booklet.

    A recording (WAV; FLAC, OGG and MP3 with soundfile) holds one sung, whistled or
    played line, best to the click of harmonise click. Write it as text first, -o
    tune.txt: what is doubtful is marked there; mend it, then arrange the text.
    """
    with told(tune):
        _arrange(tune, options)


@click.command(
    cls=Command,
    short_help="Tell why each chord stands where it does.",
    examples=("harmonise explain mytune.txt --level 3",),
    once=RENAMED,
)
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
            idle = idle_options(request, (None, ""), tune, [arrangement.tune.key])
            tell_remarks((*arrangement.remarks, *idle))


def _arrange(source: str, options: ArrangeOptions) -> None:
    output = _output(options)
    request = _request(options, output.sheet)
    if _is_book(source):
        _arrange_book(Path(source), request, output, options)
        return
    heard = click_of(options.hearing)
    tunes = read_source(source, options.choosing.part, heard)
    one_file = options.output and options.output.suffix.lower() == ".pdf"
    if one_file and len(tunes) > 1 and Path(source).is_file():
        _arrange_book(Path(source), request, output, options)
        return
    targets = _targets(source, tunes, options.output, output.sheet)
    for tune, target in zip(tunes, targets, strict=True):
        if not request.keys:
            check_target(target, force=options.book.force)
        pages = arranged(request, tune, explained=False)
        order = order_line(tune, request.form) if request.form else ""
        output = output._replace(order=order)
        tell_start(target)
        written = write_output(pages, target, output, force=options.book.force)
        tell_tune(pages[0])
        tell_keys(request, made_ready(request, tune))
        keys = [page.tune.key for page in pages]
        page = output.sheet, target.suffix.lower()
        idle = idle_options(request, page, tune, keys)
        _tell_page(pages, written, idle, promises=options.promises)
        if order:
            click.echo(f"Order: {order}")
        if options.shows:
            show(written[0])


def _arrange_book(
    source: Path, request: Request, output: Output, options: ArrangeOptions
) -> None:
    # Few have a book, and its readers are slow to load.
    from harmonise.arranging.book import BookOrder  # noqa: PLC0415
    from harmonise.cli.arrange_book import arrange_book, arrange_booklet  # noqa: PLC0415

    target, part = options.output, options.choosing.part
    ending = f".{options.book.file_ending}" if options.book.file_ending else ""
    usual = usual_ending()
    if not ending and usual in output.sheet.row.endings:
        ending = usual
    book = BookOrder(request, output, ending, part)
    if target and target.suffix.lower() == ".pdf" and not target.is_dir():
        arrange_booklet(source, target, book, options.book)
    else:
        arrange_book(source, target, book, options.book)


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
    if options.book.file_ending and (target is None or not target.suffix):
        target = Path(f"tune.{options.book.file_ending}")
    sheet = options.sheet or sheet_of(target)
    if target is None and usual_ending() in sheet.row.endings:
        target = Path(f"tune{usual_ending()}")
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
        ending = usual_ending()
        if ending not in sheet.row.endings:
            ending = sheet.row.endings[0]
        target = Path(f"{name}{kind}{ending}")
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
    pages: Sequence[Arrangement],
    written: Sequence[Path],
    idle: Sequence[Remark],
    *,
    promises: bool,
) -> None:
    """Print the chords by bars, every remark, idle options, and what was written."""
    first, *others = pages
    click.echo(format_chart(first))
    tell_remarks((*first.remarks, *idle))
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
