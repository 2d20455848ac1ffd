"""Books on the command line: a folder, or a file with many tunes, tune by tune."""

import sys
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple

import click

from harmonise.arranging.book import (
    CONTENTS,
    BookPiece,
    Outcome,
    format_contents,
    format_result,
    pieces_of,
    run_book,
    tunes_in,
)
from harmonise.arranging.request import Request, arranged
from harmonise.cli.choosing import Job
from harmonise.errors import HarmoniseError, OutputError
from harmonise.notation.files import write_whole
from harmonise.notation.outputs import ENDINGS, Output, check_output, write_output
from harmonise.theory.tune import Tune, format_readback


class _Order(NamedTuple):
    """What is done with every tune of a book.

    Attributes:
        asked: What is asked of each tune.
        output: What is made of it.
        folder: Where the files go.
        ending: What their names end in.
        part: Name of the part that has the tune.
        force: Whether existing files are replaced.
    """

    asked: Request
    output: Output
    folder: Path
    ending: str
    part: str
    force: bool


def arrange_book(job: Job, output: Output) -> None:
    """Arrange every tune of a book, and tell what became of each.

    The pages of a folder go into a folder, with a list of them; those of a file stand
    side by side, numbered, unless a folder is named for them.

    Raises:
        HarmoniseError: If there is no book, or the folder cannot take it.
    """
    source, target = Path(job.source), job.target
    pieces = pieces_of(source)
    ending = f".{job.given['ending']}" if job.given["ending"] else ""
    apart = source.is_dir() or (target is not None and not target.suffix)
    if apart:
        folder = target or Path(f"{source.resolve().name}-arranged")
        _open_folder(folder, force=job.force)
    else:
        target = target or Path(source.stem)
        ending, folder = target.suffix or ending, target.parent
        pieces = _numbered(pieces, target.stem)
    ending = ending or ENDINGS[output.sheet][0]
    check_output(Path(f"tune{ending}"), output.sheet)
    order = _Order(job.asked, output, folder, ending, job.part, job.force)
    workers = job.given["workers"]
    work = partial(_work, order)
    done = list(_shown(pieces, work, workers if isinstance(workers, int) else 0))
    _tell(done, folder, apart=apart)
    if any(own.failure for own in done):
        sys.exit(1)


def _numbered(pieces: Sequence[BookPiece], stem: str) -> tuple[BookPiece, ...]:
    return tuple(
        piece._replace(stem=f"{stem}-{number}")
        for number, piece in enumerate(pieces, 1)
    )


def _tell(done: Sequence[Outcome], folder: Path, *, apart: bool) -> None:
    if not apart:
        click.echo(format_contents(done), nl=False)
        return
    write_whole(folder / CONTENTS, format_contents(done).encode(), force=True)
    click.echo(format_result(done))
    files = sum(len(own.files) for own in done)
    told = "1 file" if files == 1 else f"{files} files"
    click.echo(f"Written: {told} and {CONTENTS} in {folder}")


def _shown(
    pieces: Sequence[BookPiece], work: "partial[tuple[Outcome, ...]]", workers: int
) -> Iterator[Outcome]:
    """Yield what became of each tune, and show on the terminal how far it is."""
    with click.progressbar(
        length=len(pieces), label="Arranging", file=sys.stderr, show_pos=True
    ) as bar:
        for found in run_book(pieces, work, workers):
            bar.update(1)
            yield from found


def _open_folder(folder: Path, *, force: bool) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        empty = not any(folder.iterdir())
    except OSError as error:
        raise OutputError(
            f'The folder "{folder}" cannot be made: {error.strerror}.',
            None,
            "Name another with -o.",
        ) from error
    if not empty and not force:
        raise OutputError(
            f'The folder "{folder}" is not empty.',
            None,
            "Name another with -o, or overwrite files of the same name with --force.",
        )


def _work(order: _Order, piece: BookPiece) -> tuple[Outcome, ...]:
    """Arrange the tunes of a piece; each fails by itself."""
    tunes = tunes_in(piece, order.part)
    if len(tunes) == 1:
        return (_one(order, piece, tunes[0]),)
    return tuple(
        _one(
            order,
            piece._replace(
                name=f"{piece.name}, tune {number}", stem=f"{piece.stem}-{number}"
            ),
            tune,
        )
        for number, tune in enumerate(tunes, 1)
    )


def _one(order: _Order, piece: BookPiece, tune: Tune) -> Outcome:
    target = order.folder / f"{piece.stem}{order.ending}"
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        done = arranged(order.asked, tune, explained=False)
        written = write_output(done, target, order.output, force=order.force)
    except HarmoniseError as error:
        return Outcome(piece.name, failure=str(error))
    title = f"{tune.title}: " if tune.title else ""
    return Outcome(
        piece.name,
        f"{title}{format_readback(done[0].tune)}",
        tuple(path.relative_to(order.folder).as_posix() for path in written),
        tuple(map(str, done[0].remarks)),
    )
