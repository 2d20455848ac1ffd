"""Books: every tune of a folder or of a file with many tunes, one after the other.

A tune that cannot be read or arranged stops none of the others and is named at the
end. Tunes are worked on by several processes at once; the result is the same whatever
their number, for each tune is worked out by itself and told in the book's order.
"""

import os
import re
from collections import Counter
from collections.abc import Callable, Container, Iterator, Sequence
from functools import partial
from itertools import count
from pathlib import Path
from typing import NamedTuple

from harmonise.arranging.request import Request, arranged
from harmonise.errors import HarmoniseError, OutputError
from harmonise.notation.abc.abc_text import AbcText
from harmonise.notation.abc.abc_tune import parse_abc_tune, split_abc
from harmonise.notation.files import inputs_kept, keep_file, kept_files, write_whole
from harmonise.notation.formats import (
    ENDINGS,
    FORMATS,
    LARGEST_BOOK,
    decode,
    is_abc,
    parse_tunes,
    read_bytes,
)
from harmonise.notation.outputs import Output, write_output
from harmonise.theory.tune import Tune, format_readback

CONTENTS = "contents.txt"
"""Name of the list that tells what became of each tune."""
_IN_PROCESS = 4
"""So few tunes are done sooner than another process starts."""


class BookPiece(NamedTuple):
    """What one worker reads and arranges.

    Attributes:
        name: What the list calls it, such as "airs.abc, tune 17".
        stem: Name of its output without ending, below the folder of the output.
        content: A file; or one tune of a file of many.
        taken: Names of the other outputs that begin with this stem and a hyphen.
    """

    name: str
    stem: str
    content: Path | AbcText
    taken: tuple[str, ...] = ()


class Outcome(NamedTuple):
    """What became of a tune.

    Attributes:
        name: As the piece is called.
        summary: Its title and what was read, or "".
        files: Names of the files written, below the folder of the output.
        remarks: What there is to remark.
        failure: Why there is no page, in a sentence; "" if there is one.
        about: What else the work on a piece has to tell, such as a pupil's marks.
    """

    name: str
    summary: str = ""
    files: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    failure: str = ""
    about: object = None


class BookOrder(NamedTuple):
    """What is done with every tune of a book.

    Attributes:
        request: What is asked of each tune.
        output: What is made of it.
        folder: Where the files go.
        ending: What their names end in.
        part: Name of the part that has the tune.
        force: Whether existing files are replaced.
    """

    request: Request
    output: Output
    folder: Path
    ending: str
    part: str
    force: bool


Work = Callable[[BookPiece], tuple[Outcome, ...]]


def pieces_of(source: Path) -> tuple[BookPiece, ...]:
    """Return the tunes of a folder, with its folders, or of a file, in order.

    Raises:
        NotationError: If there is no such file.
        OutputError: If no file of the folder may hold a tune.
    """
    if not source.is_dir():
        return tuple(_pieces(source, source.name, source.stem))
    files = (path for path in source.rglob("*") if path.is_file())
    inside = [
        path
        for path in sorted(file.relative_to(source) for file in files)
        if path.suffix.lower() in ENDINGS
        and path.name != CONTENTS
        and not any(part.startswith(".") for part in path.parts)
    ]
    if not inside:
        raise OutputError(
            f"There is no tune in the folder {source}.",
            None,
            f"Tunes are files that end in {', '.join(ENDINGS)}.",
        )
    for path in inside:
        keep_file(source / path)
    stems = Counter(path.with_suffix("") for path in inside)
    pieces: list[BookPiece] = []
    for path in inside:
        stem = path.with_suffix("")
        if stems[stem] > 1:
            stem = stem.with_name(f"{path.stem}-{path.suffix[1:]}")
        pieces += _pieces(source / path, path.as_posix(), stem.as_posix())
    return tuple(pieces)


def _pieces(path: Path, name: str, stem: str) -> Iterator[BookPiece]:
    """Yield the tunes of a file; one that cannot be split is a piece by itself."""
    ending = path.suffix.lower()
    binary = any(ending in row.endings for row in FORMATS if not row.is_text)
    text = "" if binary else decode(read_bytes(path, LARGEST_BOOK))
    parts = split_abc(text) if is_abc(text) else ()
    if len(parts) < 2:
        yield BookPiece(name, stem, path)
        return
    width = len(str(len(parts)))
    for number, part in enumerate(parts, 1):
        title = f" ({part.title})" if part.title else ""
        called = f"{name}, tune {number}{title}"
        yield BookPiece(called, f"{stem}-{number:0{width}}", part)


def told_apart(
    pieces: Sequence[BookPiece], reserved: Container[str] = (), *, paged: bool = False
) -> tuple[BookPiece, ...]:
    """Return pieces none of whose files can have the name of another's.

    The first keeps its name. Capitals tell no files apart, for many disks do not.

    Args:
        pieces: In order.
        reserved: Stems that no piece may have, in small letters.
        paged: Whether further pages go beside the first: then `airs-2` may be page 2
            of `airs`.
    """
    wanted, used = {piece.stem.casefold() for piece in pieces}, dict[str, str]()
    for piece in pieces:
        stem, number = piece.stem, 1
        page = re.fullmatch(r"(.+)-\d+", stem.casefold()) if paged else None
        taken = page is not None and page[1] in wanted
        while taken or stem.casefold() in used or stem.casefold() in reserved:
            taken, number = False, number + 1
            stem = f"{piece.stem}-no{number}"
        used[stem.casefold()] = stem
    longer: dict[str, list[str]] = {}
    for name in used:
        for hyphen in re.finditer("-", name):
            longer.setdefault(name[: hyphen.start()], []).append(name)
    return tuple(
        piece._replace(stem=stem, taken=tuple(longer.get(name, ())))
        for piece, (name, stem) in zip(pieces, used.items(), strict=True)
    )


def _numbered(piece: BookPiece) -> Iterator[int]:
    """Yield the numbers of tunes in a piece, without those that make another's name."""
    for number in count(1):
        name = f"{piece.stem}-{number}".casefold()
        if not any(
            other == name or other.startswith(f"{name}-") for other in piece.taken
        ):
            yield number


def tunes_in(piece: BookPiece, part: str = "") -> tuple[Tune, ...]:
    """Return the tunes of a piece.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    if isinstance(piece.content, Path):
        return parse_tunes(read_bytes(piece.content), part=part)
    return (parse_abc_tune(piece.content, part),)


def arrange_piece(order: BookOrder, piece: BookPiece) -> tuple[Outcome, ...]:
    """Arrange the tunes of a piece; each fails by itself.

    Raises:
        HarmoniseError: If the piece cannot be read.
    """
    tunes = tunes_in(piece, order.part)
    if len(tunes) == 1:
        return (_arranged(order, piece, tunes[0]),)
    names = [
        piece._replace(name=f"{piece.name}, tune {at}", stem=f"{piece.stem}-{number}")
        for at, number in zip(range(1, len(tunes) + 1), _numbered(piece), strict=False)
    ]
    return tuple(map(partial(_arranged, order), names, tunes))


def _arranged(order: BookOrder, piece: BookPiece, tune: Tune) -> Outcome:
    target = order.folder / f"{piece.stem}{order.ending}"
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        pages = arranged(order.request, tune, explained=False)
        written = write_output(pages, target, order.output, force=order.force)
    except HarmoniseError as error:
        return Outcome(piece.name, failure=str(error))
    title = f"{tune.title}: " if tune.title else ""
    return Outcome(
        piece.name,
        f"{title}{format_readback(pages[0].tune)}",
        tuple(path.relative_to(order.folder).as_posix() for path in written),
        tuple(map(str, pages[0].remarks)),
    )


def run_book(
    pieces: Sequence[BookPiece], work: Work, workers: int = 0
) -> Iterator[tuple[Outcome, ...]]:
    """Yield what became of each piece, in order.

    Args:
        pieces: The tunes.
        work: What is done with each; it can be pickled.
        workers: How many at a time; 0 for one a core.
    """
    workers = workers or os.cpu_count() or 1
    # A process of a worker begins elsewhere, and has read nothing yet.
    where = _Where(Path.cwd(), kept_files())
    if workers == 1 or len(pieces) <= _IN_PROCESS:
        yield from (_kept_going(where, work, piece) for piece in pieces)
        return
    from joblib import Parallel, delayed  # noqa: PLC0415 (slow to load)

    jobs = (delayed(_kept_going)(where, work, piece) for piece in pieces)
    yield from Parallel(n_jobs=workers, return_as="generator")(jobs)


class _Where(NamedTuple):
    """Where the user stands, and the files that no page may go over."""

    folder: Path
    kept: dict[tuple[int, int], str]


def _kept_going(where: _Where, work: Work, piece: BookPiece) -> tuple[Outcome, ...]:
    """Do the work where the user stands; a failure becomes an outcome."""
    os.chdir(where.folder)
    try:
        with inputs_kept(where.kept):
            return work(piece)
    except HarmoniseError as error:
        return (Outcome(piece.name, failure=str(error)),)
    except Exception as error:  # noqa: BLE001 (one tune must not stop a book)
        fault = f"This is a fault of the program ({type(error).__name__}: {error})."
        return (Outcome(piece.name, failure=f"{fault} Please tell its makers."),)


def format_contents(outcomes: Sequence[Outcome]) -> str:
    """Return the list of a book: each tune, its files and remarks; failures last."""
    lines = []
    for outcome in outcomes:
        if not outcome.failure:
            lines.append(f"{outcome.name}: {outcome.summary}")
            lines += [f"    {name}" for name in outcome.files]
            lines += [f"    {remark}" for remark in outcome.remarks]
    lines += ["", format_result(outcomes)]
    return "\n".join(lines).lstrip("\n") + "\n"


def format_result(outcomes: Sequence[Outcome]) -> str:
    """Return how many were arranged, and each that was not, with its reason."""
    failed = [outcome for outcome in outcomes if outcome.failure]
    number = len(outcomes)
    count = f"{number - len(failed)} of {number} tune{'' if number == 1 else 's'}"
    head = f"{count} arranged."
    if not failed:
        return head
    rows = [f"  {outcome.name}: {outcome.failure}" for outcome in failed]
    return "\n".join([f"{head} Not arranged:", *rows])


def keep_contents(outcomes: Sequence[Outcome], folder: Path) -> str:
    """Write the list of a book into its folder, and return what became of the tunes."""
    write_whole(folder / CONTENTS, format_contents(outcomes).encode(), force=True)
    files = sum(len(outcome.files) for outcome in outcomes)
    count = "1 file" if files == 1 else f"{files} files"
    return f"{format_result(outcomes)}\nWritten: {count} and {CONTENTS} in {folder}"
