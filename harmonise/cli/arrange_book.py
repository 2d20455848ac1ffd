"""`harmonise arrange` for a book: a folder of tunes, or a file with many.

Either each tune gets its own page, or all stand in one booklet. Files are read and
written here alone, in the book's order; the work between is done by as many workers as
there are.
"""

import sys
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import closing, contextmanager
from functools import partial
from itertools import chain
from pathlib import Path
from typing import NamedTuple, NoReturn

import click

from harmonise.arranging.book import (
    CONTENTS,
    BookList,
    BookOrder,
    BookPiece,
    Outcome,
    arrange_piece,
    format_contents,
    pieces_of,
    told_apart,
    written,
)
from harmonise.arranging.booklet import BookletTune, assert_fits, format_booklet
from harmonise.arranging.effects import Making, without_effect
from harmonise.arranging.record import BookRecord, whole_book
from harmonise.arranging.workers import Team, Yielded, run_book, team_here
from harmonise.cli.choosing import BookOptions, tell_remarks
from harmonise.cli.long_jobs import Stopped, gathered, stoppable
from harmonise.cli.options import asked_options, option_called
from harmonise.errors import LibraryError, OutputError
from harmonise.notation.files import check_target, open_folder, write_whole
from harmonise.notation.outputs import Sheet, check_output


class _Destination(NamedTuple):
    """Where the pages of a book go.

    Attributes:
        folder: Their folder.
        stem: What their names begin with where they stand among other files; "" for a
            folder of their own, which has a list of them.
        ending: What their names end in.
    """

    folder: Path
    stem: str
    ending: str


def arrange_book(
    source: Path, target: Path | None, order: BookOrder, options: BookOptions
) -> None:
    """Arrange every tune of a book, and tell what became of each.

    The pages of a folder go into a folder, with a list of them; those of a file stand
    side by side, numbered, unless a folder is named for them.

    Args:
        source: A folder, or a file with many tunes.
        target: What was named with -o.
        order: What is asked of every tune; its ending is what was named, or "".
        options: How the book is gone about.

    Raises:
        HarmoniseError: If there is no book, or the folder cannot take it.
    """
    place = _place_of(source, target, order)
    check_output(Path(f"tune{place.ending}"), order.output.sheet)
    order = order._replace(ending=place.ending)
    record = BookRecord(place.folder, place.stem, order, again=options.again)
    pieces = _pieces(source, place, record)
    with stoppable() as stops, _team(options) as team:
        if not place.stem:
            open_folder(place.folder, force=options.force)
        written_here = partial(written, folder=place.folder, force=options.force)
        book = run_book(pieces, partial(arrange_piece, order), team, record.before)
        told, number = BookList(), 0
        steps = _kept(pieces, stops.between(book), written_here, record, told)
        made, status = gathered("Arranging", len(pieces), steps)
        if status:
            there = told.add(record.left(pieces[len(made) :]))
            number = max(len(pieces), there)
        record.tidy()
        # The list lies beside the pages, or is told on the screen.
        if place.stem:
            contents = told.contents(number).decode(errors="surrogateescape")
            click.echo(contents, nl=False)
        else:
            click.echo(told.keep(place.folder, number))
    _end(status or told.has_failures, _making(order, options))


def _making(order: BookOrder, options: BookOptions) -> Making:
    """Return what is made of a book, for what is told of options."""
    cluster, booklet = bool(options.cluster), order.in_booklet
    return Making(
        order.output.sheet,
        order.ending,
        order.request,
        booklet=booklet,
        cluster=cluster,
    )


def _end(status: int, made: Making) -> None:
    """Print which options changed nothing, and end with the status of a book."""
    tell_remarks(without_effect(asked_options(), made, option_called))
    if status:
        sys.exit(int(status))


def arrange_booklet(
    source: Path,
    target: Path,
    order: BookOrder,
    options: BookOptions,
) -> None:
    """Arrange every tune of a book into one booklet, and tell what became of each.

    Args:
        source: A folder, or a file with many tunes.
        target: The PDF.
        order: What is asked of every tune.
        options: How the book is gone about.

    Raises:
        HarmoniseError: If there is no book, or the file cannot be written.
    """
    check_output(target, order.output.sheet)
    order = order._replace(ending=".pdf", in_booklet=True)
    title = options.title or _as_title(source)
    asked = (order, options.tunes_by, title)
    record = BookRecord(target.parent, target.name, asked, again=options.again)
    check_target(target, force=options.force)
    pieces = pieces_of(source)
    assert_fits(len(pieces))
    book = whole_book(pieces, target.name)
    outcomes: Sequence[Outcome] | None = record.before(book)
    last = f"{target} was there already: nothing has changed."
    if not outcomes:
        with stoppable() as stops, _team(options) as team:
            steps = run_book(pieces, partial(arrange_piece, order), team)
            made, status = gathered("Engraving", len(pieces), stops.between(steps))
            if status:
                _end_unwritten(target, status)
            outcomes = list(chain.from_iterable(made))
            tunes = _tunes_in(outcomes)
            if tunes:
                try:
                    with stops.waiting():
                        content = format_booklet(
                            tunes, title, order.output, options.tunes_by
                        )
                except Stopped as stopped:
                    _end_unwritten(target, stopped.status)
                write_whole(target, content, force=options.force)
            last = f"Written: {target}" if tunes else ""
            record.keep(book, [_bound(each, target.name) for each in outcomes])
            record.tidy()
    # The file is one for all, and is named at the end.
    told = [outcome._replace(files=()) for outcome in outcomes]
    click.echo(format_contents(told), nl=False)
    if last:
        click.echo(last)
    failed = any(outcome.failure for outcome in outcomes)
    _end(failed, _making(order, options))


def _end_unwritten(target: Path, status: int) -> NoReturn:
    """End a booklet that was stopped."""
    click.echo(f"Stopped: {target} is not written.")
    sys.exit(status)


def _tunes_in(outcomes: Sequence[Outcome]) -> list[BookletTune]:
    """Return the tunes that were made ready for a booklet, in order."""
    parts = (each.about for each in outcomes if isinstance(each.about, tuple))
    return list(chain.from_iterable(parts))


def _bound(outcome: Outcome, name: str) -> Outcome:
    """Return what became of a tune, with the file that it stands in."""
    return outcome if outcome.failure else outcome._replace(files=(name,))


def _as_title(source: Path) -> str:
    """Return the name of a folder or file as a title."""
    path = source.resolve()
    name = (path.name if path.is_dir() else path.stem).replace("_", " ")
    return name[:1].upper() + name[1:]


def _kept(
    pieces: Sequence[BookPiece],
    book: Yielded,
    written_here: Callable[[Outcome], Outcome],
    record: BookRecord,
    told: BookList,
) -> Generator[int, None, None]:
    """Write the pages of each piece, keep the record and the list; yield the count."""
    with closing(book):
        for piece, outcomes in zip(pieces, book, strict=True):
            done = tuple(map(written_here, outcomes))
            record.keep(piece, done)
            yield told.add(done)


@contextmanager
def _team(options: BookOptions) -> Iterator[Team]:
    """Give those who work on a book.

    Raises:
        HarmoniseError: If they are a cluster that cannot do it.
    """
    if not options.cluster:
        yield team_here(options.workers or 0)
        return
    try:
        from harmonise.arranging.cluster import cluster_at  # noqa: PLC0415 (optional)
    except ImportError as error:
        raise LibraryError("A cluster needs", "distributed") from error
    with cluster_at(options.cluster) as team:
        yield team


def _place_of(source: Path, target: Path | None, order: BookOrder) -> _Destination:
    """Return where the pages of a book go.

    Raises:
        OutputError: If one file was named for the pages of a folder.
    """
    ending = order.ending
    if source.is_dir() or (target is not None and not target.suffix):
        folder = target or Path(f"{source.resolve().name}-arranged")
        _refuse_one_file(folder)
        return _Destination(folder, "", ending or order.output.sheet.row.endings[0])
    target = target or Path(source.stem)
    ending = target.suffix or ending or order.output.sheet.row.endings[0]
    return _Destination(target.parent, target.stem, ending)


def _refuse_one_file(folder: Path) -> None:
    endings = {ending for sheet in Sheet for ending in sheet.row.endings}
    if folder.suffix.lower() in endings and not folder.is_dir():
        raise OutputError(
            f'"{folder}" is the name of one file, and each tune gets a page.',
            remedy=f"Name a folder, -o {folder.stem} --file-ending "
            f"{folder.suffix[1:]}, or a booklet, {folder.stem}.pdf.",
        )


def _pieces(
    source: Path, place: _Destination, record: BookRecord
) -> tuple[BookPiece, ...]:
    """Return the tunes of a book, each with a name of its own for its page."""
    pieces = pieces_of(source, partial(_is_page, source, place, record))
    if place.stem:
        pieces = tuple(
            piece._replace(stem=f"{place.stem}-{number}")
            for number, piece in enumerate(pieces, 1)
        )
    is_listed = not place.stem and place.ending == ".txt"
    reserved = [Path(CONTENTS).stem] if is_listed else ()
    return told_apart(pieces, reserved, paged=place.ending == ".png")


def _is_page(source: Path, place: _Destination, record: BookRecord, path: Path) -> bool:
    """Whether a file in the folder of tunes is one of the pages made of them."""
    inside, pages = source.resolve(), place.folder.resolve()
    if inside in pages.parents:
        return pages in path.resolve().parents
    return inside == pages and record.wrote(path)
