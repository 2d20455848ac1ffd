"""Books on the command line: a folder, or a file with many tunes, tune by tune."""

import sys
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from harmonise.arranging.book import (
    CONTENTS,
    BookOrder,
    BookPiece,
    Outcome,
    Work,
    arrange_piece,
    format_contents,
    format_result,
    pieces_of,
    run_book,
)
from harmonise.arranging.request import Request
from harmonise.notation.files import open_folder, write_whole
from harmonise.notation.outputs import Output, check_output

if TYPE_CHECKING:
    from harmonise.cli.arrange import ArrangeOptions


def arrange_book(
    source: Path, request: Request, output: Output, options: "ArrangeOptions"
) -> None:
    """Arrange every tune of a book, and tell what became of each.

    The pages of a folder go into a folder, with a list of them; those of a file stand
    side by side, numbered, unless a folder is named for them.

    Raises:
        HarmoniseError: If there is no book, or the folder cannot take it.
    """
    target = options.output
    pieces = pieces_of(source)
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
    order = BookOrder(
        request, output, folder, ending, options.choosing.part, options.force
    )
    work = partial(arrange_piece, order)
    done = list(shown("Arranging", pieces, work, options.workers or 0))
    _tell(done, folder, apart=apart)
    if any(outcome.failure for outcome in done):
        sys.exit(1)


def _tell(done: Sequence[Outcome], folder: Path, *, apart: bool) -> None:
    if not apart:
        click.echo(format_contents(done), nl=False)
        return
    write_whole(folder / CONTENTS, format_contents(done).encode(), force=True)
    click.echo(format_result(done))
    files = sum(len(outcome.files) for outcome in done)
    count = "1 file" if files == 1 else f"{files} files"
    click.echo(f"Written: {count} and {CONTENTS} in {folder}")


def shown(
    label: str, pieces: Sequence[BookPiece], work: Work, workers: int
) -> Iterator[Outcome]:
    """Yield what became of each piece, and show on the terminal how far it is."""
    with click.progressbar(
        length=len(pieces), label=label, file=sys.stderr, show_pos=True
    ) as bar:
        for outcomes in run_book(pieces, work, workers):
            bar.update(1)
            yield from outcomes
