"""A whole class: folders of works in, a slip for each and the tables of the class out.

A work that cannot be read stops none of the others and is named at the end, with a row
of its own in the tables. Time and memory grow with the number of works and not faster:
each is read, marked and written by itself.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from harmonise.arranging.book import BookPiece, Outcome, opened
from harmonise.errors import HarmoniseError, NotationError
from harmonise.marking.class_pages import format_class_csv, format_class_pdf
from harmonise.marking.given_out import TaskShelf
from harmonise.marking.handed_in import RECORD, TABLE
from harmonise.marking.register import (
    WorkRecord,
    format_register,
    merged,
    parse_register,
    with_absent,
)
from harmonise.marking.slips import SlipManner, content_of, slip_of
from harmonise.notation.files import check_target, open_folder, write_whole
from harmonise.notation.formats import decode
from harmonise.notation.signed import sign_text


class ClassOrder(NamedTuple):
    """How the works of a class are marked.

    Attributes:
        shelf: What was asked for.
        slips: How slips are made.
        folder: Where they go.
        pupils: Whose each work is, by the name of the piece.
        names: The names of the class; () where nobody gave a list.
        register: The register that is kept over a term; None for none.
        force: Whether existing files are replaced.
    """

    shelf: TaskShelf
    slips: SlipManner
    folder: Path
    pupils: dict[str, str]
    names: tuple[str, ...] = ()
    register: Path | None = None
    force: bool = False


def contents_of(pieces: Sequence[BookPiece]) -> Iterator[bytes]:
    """Yield what the works of a class hold, without those that cannot be opened."""
    for piece in pieces:
        try:
            content = opened(piece).content
        except HarmoniseError:
            continue
        if isinstance(content, bytes):
            yield content


def mark_piece(order: ClassOrder, piece: BookPiece) -> tuple[Outcome, ...]:
    """Mark one work; its slips are to be written.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    if not isinstance(piece.content, bytes):
        raise TypeError(piece.content)
    pupil = order.pupils[piece.name]
    asked = order.shelf.get(piece.content)
    slip = slip_of(piece.content, asked, pupil, order.slips)
    pages = (
        (Path(f"{piece.stem}.txt"), (sign_text(slip.text).encode(),)),
        (Path(f"{piece.stem}.pdf"), (slip.pdf(),)),
    )
    record = slip.record._replace(file=piece.name)
    return (Outcome(piece.name, pages=pages, about=record),)


def open_class(order: ClassOrder) -> tuple[WorkRecord, ...]:
    """Make the folder of the slips, and return what the register holds already.

    The folder may hold slips of other works already.

    Raises:
        HarmoniseError: If it cannot be made, has tables of a class already, or the
            register cannot be read.
    """
    open_folder(order.folder, force=True)
    for name in _TABLES:
        check_target(order.folder / name, force=order.force)
    register = order.register
    if register is None or not register.exists():
        return ()
    try:
        # It is written anew, so it is not among the files that are kept as they are.
        return parse_register(decode(register.read_bytes()))
    except OSError as error:
        what = f"The register {register} cannot be read."
        raise NotationError(what, None, "Name another.") from error


def records_of(
    order: ClassOrder, outcomes: Sequence[Outcome], pieces: Sequence[BookPiece]
) -> tuple[WorkRecord, ...]:
    """Return a record for each work, and for each pupil who handed in nothing.

    Args:
        order: How the class was marked.
        outcomes: What became of the works.
        pieces: The works.
    """
    files = {piece.name: piece for piece in pieces}
    records = [
        each.about
        if isinstance(each.about, WorkRecord)
        else _unmarked(files[each.name], each.failure, order)
        for each in outcomes
    ]
    return with_absent(merged((), records), order.names)


def _unmarked(piece: BookPiece, why: str, order: ClassOrder) -> WorkRecord:
    """Return the record of a work that could not be marked."""
    held = next(contents_of([piece]), b"")
    pupil = order.pupils[piece.name]
    return WorkRecord(pupil, file=piece.name, problem=why, content=content_of(held))


_TABLES = (f"{TABLE}.csv", f"{TABLE}.pdf", f"{RECORD}.csv")


def class_files(
    order: ClassOrder,
    earlier: Sequence[WorkRecord],
    new: Sequence[WorkRecord],
) -> tuple[Path, ...]:
    """Write the tables of a class, and the register if one is kept.

    Args:
        order: How the class was marked.
        earlier: What the register held before.
        new: What became of the works.

    Returns:
        The files.
    """
    records = with_absent(merged(earlier, new), order.names)
    out_of, page = order.slips.out_of, order.slips.page
    contents = (
        sign_text(format_class_csv(records, out_of)).encode(),
        format_class_pdf(records, page, out_of),
        sign_text(format_register(records)).encode(),
    )
    made = []
    for name, content in zip(_TABLES, contents, strict=True):
        write_whole(order.folder / name, content, force=order.force)
        made.append(order.folder / name)
    if order.register:
        # What it held is in what is written now.
        write_whole(order.register, contents[-1], force=True)
        made.append(order.register)
    return tuple(made)
