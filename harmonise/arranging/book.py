"""Books: every tune of a folder or of a file with many tunes, one after the other.

A tune that cannot be read or arranged stops none of the others and is named at the
end. What works on a tune, `arrange_piece`, gets its content and gives back what is to
be written: it opens no file, so that it may be done by another process or machine, and
each tune by itself.
"""

import re
from collections import Counter
from collections.abc import Callable, Container, Iterable, Iterator, Sequence
from functools import partial
from itertools import count
from pathlib import Path
from tempfile import TemporaryFile
from typing import NamedTuple
from weakref import finalize

from harmonise.arranging.booklet import BookletTune, booklet_tune
from harmonise.arranging.request import Request, arranged
from harmonise.errors import HarmoniseError, NotationError, OutputError
from harmonise.form.plan import order_line
from harmonise.notation.abc.abc_text import AbcText
from harmonise.notation.abc.abc_tune import parse_abc_tune, split_abc
from harmonise.notation.files import keep_file, write_whole
from harmonise.notation.formats import (
    ENDINGS,
    FORMATS,
    LARGEST_BOOK,
    decode,
    is_abc,
    parse_tunes,
    read_bytes,
)
from harmonise.notation.outputs import FilePages, Output, format_pages, write_pages
from harmonise.notation.paper.blocks import A4_PAGE
from harmonise.theory.tune import Tune, format_readback

CONTENTS = "contents.txt"
"""Name of the list that tells what became of each tune."""


class BookPiece(NamedTuple):
    """What one worker reads and arranges.

    Attributes:
        name: What the list calls it, such as "airs.abc, tune 17".
        stem: Name of its output without ending, below the folder of the output.
        content: A file, or what it holds; or one tune of a file of many.
        taken: Names of the other outputs that begin with this stem and a hyphen.
    """

    name: str
    stem: str
    content: Path | bytes | AbcText
    taken: tuple[str, ...] = ()


class Outcome(NamedTuple):
    """What became of a tune.

    Attributes:
        name: As the piece is called.
        summary: Its title and what was read, or "".
        files: Names of the files written, below the folder of the output.
        remarks: What there is to remark.
        failure: Why there is no page, in a sentence; "" if there is one.
        pages: What is to be written; nothing once it is.
        about: What else the work on a piece has to tell, such as a pupil's marks.
        was_there: Whether its files are those of an earlier run.
    """

    name: str
    summary: str = ""
    files: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    failure: str = ""
    pages: tuple[FilePages, ...] = ()
    about: object = None
    was_there: bool = False


class BookOrder(NamedTuple):
    """What is done with every tune of a book.

    Attributes:
        request: What is asked of each tune.
        output: What is made of it.
        ending: What the names of its files end in.
        part: Name of the part that has the tune.
        in_booklet: Whether the tunes are to stand in one booklet, and not each in its
            own file.
    """

    request: Request
    output: Output
    ending: str
    part: str = ""
    in_booklet: bool = False


Work = Callable[[BookPiece], tuple[Outcome, ...]]


def pieces_of(
    source: Path, is_page: Callable[[Path], bool] | None = None
) -> tuple[BookPiece, ...]:
    """Return the tunes of a folder, with its folders, or of a file, in order.

    Args:
        source: The folder or file.
        is_page: Tells a page of the book, which may lie beside its tunes.

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
        and not (is_page and is_page(source / path))
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
        piece = BookPiece(path.as_posix(), stem.as_posix(), source / path)
        try:
            pieces += _pieces(source / path, piece.name, piece.stem)
        except NotationError:
            # It is told when its turn comes, and stops none of the others.
            pieces.append(piece)
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


def opened(piece: BookPiece) -> BookPiece:
    """Return a piece with what its file holds in place of the file.

    Raises:
        NotationError: If it cannot be opened.
    """
    if not isinstance(piece.content, Path):
        return piece
    return piece._replace(content=read_bytes(piece.content))


def tunes_in(piece: BookPiece, part: str = "") -> tuple[Tune, ...]:
    """Return the tunes of a piece.

    Raises:
        HarmoniseError: If it cannot be read.
    """
    content = opened(piece).content
    if isinstance(content, AbcText):
        return (parse_abc_tune(content, part),)
    return parse_tunes(bytes(content), part=part)


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
    form = order.request.form
    pages: tuple[FilePages, ...] = ()
    parts: tuple[BookletTune, ...] = ()
    try:
        versions = arranged(order.request, tune, explained=False)
        output = order.output._replace(order=order_line(tune, form) if form else "")
        if order.in_booklet:
            name = Path(piece.stem).name.replace("_", " ")
            page = output.page or A4_PAGE
            parts = tuple(booklet_tune(each, name, page, output) for each in versions)
        else:
            target = Path(f"{piece.stem}{order.ending}")
            pages = format_pages(versions, target, output)
    except HarmoniseError as error:
        return Outcome(piece.name, failure=str(error))
    title = f"{tune.title}: " if tune.title else ""
    summary = f"{title}{format_readback(versions[0].tune)}"
    remarks = tuple(map(str, versions[0].remarks))
    return Outcome(piece.name, summary, remarks=remarks, pages=pages, about=parts)


def written(outcome: Outcome, folder: Path, *, force: bool) -> Outcome:
    """Write the pages of a tune, if there are any, and return what became of it.

    Args:
        outcome: With its pages.
        folder: The folder of the whole book.
        force: Whether files that were not written here are replaced.
    """
    if not outcome.pages:
        return outcome
    pages = [(folder / name, content) for name, content in outcome.pages]
    try:
        for path, _ in pages:
            path.parent.mkdir(parents=True, exist_ok=True)
        names = write_pages(pages, force=force)
    except (HarmoniseError, OSError) as error:
        return Outcome(outcome.name, failure=str(error))
    files = tuple(name.relative_to(folder).as_posix() for name in names)
    return outcome._replace(files=files, pages=())


class BookList:
    """What became of the tunes of a book: each with its files; failures last.

    What is told of tunes stays on disk until the end: that of a thick book is long.
    """

    def __init__(self) -> None:
        """Begin with no tune."""
        self._told = TemporaryFile()  # noqa: SIM115 (open as long as the list)
        finalize(self, self._told.close)
        self._failed: list[str] = []
        self._arranged = self._new = self._there = 0

    @property
    def has_failures(self) -> bool:
        """Whether a tune has no page."""
        return bool(self._failed)

    def add(self, outcomes: Iterable[Outcome]) -> int:
        """Take what became of further tunes, and return how many there are now."""
        for outcome in outcomes:
            if outcome.failure:
                self._failed.append(f"  {outcome.name}: {outcome.failure}")
                continue
            self._arranged += 1
            self._there += outcome.was_there * len(outcome.files)
            self._new += (not outcome.was_there) * len(outcome.files)
            lines = (f"    {line}" for line in (*outcome.files, *outcome.remarks))
            told = "\n".join([f"{outcome.name}: {outcome.summary}", *lines])
            # A byte of a file's name that is no text goes out as it came in.
            self._told.write(f"{told}\n".encode(errors="surrogateescape"))
        return self._arranged + len(self._failed)

    def result(self, number: int = 0) -> str:
        """Return how many were arranged, and each that was not, with its reason.

        Args:
            number: How many tunes there are, if the book was stopped before its end.
        """
        all_tunes = number or self._arranged + len(self._failed)
        plural = "" if all_tunes == 1 else "s"
        head = f"{self._arranged} of {all_tunes} tune{plural} arranged."
        if number:
            head += " Stopped: the same command goes on."
        if not self._failed:
            return head
        return "\n".join([f"{head} Not arranged:", *self._failed])

    def contents(self, number: int = 0) -> bytes:
        """Return the list; the arguments are those of `result`."""
        self._told.seek(0)
        space = "\n" if self._arranged else ""
        last = f"{space}{self.result(number)}\n".encode(errors="surrogateescape")
        return self._told.read() + last

    def keep(self, folder: Path, number: int = 0) -> str:
        """Write the list into the folder of the pages, and return what to tell."""
        write_whole(folder / CONTENTS, self.contents(number), force=True)
        count = "1 file" if self._new == 1 else f"{self._new} files"
        told = f"{self.result(number)}\nWritten: {count} and {CONTENTS} in {folder}"
        if not self._there:
            return told
        were = "was" if self._there == 1 else "were"
        return f"{told}; {self._there} {were} there already"


def format_contents(outcomes: Iterable[Outcome], number: int = 0) -> str:
    """Return the list of a book as text.

    Args:
        outcomes: What became of the tunes.
        number: How many tunes there are, if the book was stopped before its end.
    """
    told = BookList()
    told.add(outcomes)
    return told.contents(number).decode(errors="surrogateescape")
