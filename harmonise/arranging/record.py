"""What an earlier run has made of a book, so that the same command goes on with it.

A hidden file in the folder of the pages has a line for each piece: a hash of what it
was made of, what was told of it, and a hash of every file. A line is added as soon as
its pages are written, so that a run that is killed loses the tune under way and no
more. What is lost with the record is only made again.
"""

from collections.abc import Sequence
from contextlib import suppress
from functools import cache
from hashlib import blake2b
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import NamedTuple

import msgspec

from harmonise.arranging.book import BookPiece, Outcome, opened
from harmonise.errors import HarmoniseError, OutputError
from harmonise.notation.files import (
    HIDDEN,
    hash_file,
    know_own,
    tidy_folder,
    write_whole,
)

_PACKAGE = Path(__file__).parents[1]
_LIBRARIES = ("numpy", "typst", "verovio")
"""Libraries that have a say in what a page looks like."""


class MadeTune(NamedTuple):
    """What a run tells of one tune; as `Outcome`."""

    name: str
    summary: str
    files: tuple[str, ...]
    remarks: tuple[str, ...]
    failure: str


class MadePiece(NamedTuple):
    """A line of the record.

    Attributes:
        stem: Name of the piece's output without ending.
        made_of: Hash of its content, of what was asked, and of the program.
        tunes: What became of its tunes.
        hashes: Hash of every file that was ever made of it, by name.
    """

    stem: str
    made_of: str
    tunes: tuple[MadeTune, ...]
    hashes: dict[str, str]


class BookRecord:
    """The record of one book, read when it is opened."""

    def __init__(self, folder: Path, name: str, order: object, *, again: bool) -> None:
        """Read what is there, and let the writer know which files are ours.

        Args:
            folder: The folder of the pages.
            name: What tells books in one folder apart; "" for a folder of one book.
            order: What is asked of every piece; its `repr` says all of it.
            again: Whether everything is made anew.
        """
        self._folder = folder
        self._path = folder / f"{HIDDEN}{name and '.'}{name}.jsonl"
        self._asked = f"{edition()} {order!r}"
        self._again = again
        # Where the line of a piece begins: thick books have many remarks.
        self._places: dict[str, int] = {}
        self._hashes: dict[str, str] = {}
        self._pending: dict[str, str] = {}
        self._lines, self._torn = 0, False
        with suppress(OSError), self._path.open("rb") as record:
            place = 0
            for line in record:
                self._take(line, place)
                place += len(line)
        self._where = folder.resolve()
        know_own(self._hash_of)
        # Where nothing has changed nothing is written, and no writer tidies.
        with suppress(OSError):
            tidy_folder(folder)

    def _take(self, line: bytes, place: int) -> None:
        self._lines += 1
        # The last line of a killed run may be torn, and the file is open to all.
        self._torn = not line.endswith(b"\n")
        with suppress(msgspec.MsgspecError):
            piece = msgspec.json.decode(line, type=MadePiece)
            self._places[piece.stem] = place
            self._hashes |= piece.hashes

    def _line(self, stem: str) -> bytes:
        with self._path.open("rb") as record:
            record.seek(self._places[stem])
            return record.readline().rstrip(b"\n") + b"\n"

    def _piece(self, stem: str) -> MadePiece | None:
        """Return the line of a piece; None if there is none any more."""
        with suppress(KeyError, OSError, msgspec.MsgspecError):
            piece = msgspec.json.decode(self._line(stem), type=MadePiece)
            return piece if piece.stem == stem else None
        return None

    def _hash_of(self, path: Path) -> str:
        """Return the hash of what was written to a file of this book, or ""."""
        try:
            name = path.resolve().relative_to(self._where).as_posix()
        except ValueError:
            return ""
        return self._hashes.get(name, "")

    def wrote(self, path: Path) -> bool:
        """Whether a file is a page that was made of this book, and is as it was."""
        content_hash = self._hash_of(path)
        return bool(content_hash) and hash_file(path) == content_hash

    def before(self, piece: BookPiece) -> tuple[Outcome, ...] | None:
        """Return what became of a piece, if all of it would be the same now.

        Args:
            piece: With its content.
        """
        made_of = _hash(f"{self._asked} {piece!r}")
        self._pending[piece.stem] = made_of
        made = self._piece(piece.stem)
        if self._again or not made or made.made_of != made_of:
            return None
        files = [file for tune in made.tunes for file in tune.files]
        failed = any(tune.failure for tune in made.tunes)
        if failed or not all(map(self._is_same, files)):
            return None
        return _outcomes(made)

    def _is_same(self, file: str) -> bool:
        try:
            return hash_file(self._folder / file) == self._hashes.get(file)
        except OSError:
            return False

    def keep(self, piece: BookPiece, outcomes: Sequence[Outcome]) -> None:
        """Keep what became of a piece, once its pages are written."""
        # What could not be opened has nothing to be known again by.
        made_of = self._pending.pop(piece.stem, "")
        before = self._piece(piece.stem)
        tunes = tuple(MadeTune(*outcome[:5]) for outcome in outcomes)
        if before and (made_of, tunes) == (before.made_of, before.tunes):
            return
        hashes = dict(before.hashes) if before else {}
        for file in (file for outcome in outcomes for file in outcome.files):
            with suppress(OSError):
                hashes[file] = hash_file(self._folder / file)
        made = MadePiece(piece.stem, made_of, tunes, hashes)
        # A name with bytes that are no text is not kept, and made again each time.
        with suppress(OSError, UnicodeError), self._path.open("ab") as record:
            line = msgspec.json.encode(made) + b"\n"
            # A torn line before it must not spoil this one.
            torn = b"\n" if self._torn else b""
            place = record.tell() + len(torn)
            record.write(torn + line)
            self._take(line, place)

    def left(self, pieces: Sequence[BookPiece]) -> tuple[Outcome, ...]:
        """Return what earlier runs have made of pieces that this one did not reach."""
        made = (self._piece(piece.stem) for piece in pieces)
        return tuple(
            outcome
            for each in made
            if each
            for outcome in _outcomes(each)
            if not outcome.failure
        )

    def tidy(self) -> None:
        """Write the record anew if lines in it have been outdated."""
        if self._lines > len(self._places):
            with suppress(OSError, OutputError):
                content = b"".join(map(self._line, self._places))
                write_whole(self._path, content, force=True)


def whole_book(pieces: Sequence[BookPiece], name: str) -> BookPiece:
    """Return a piece that stands for all pieces of a book, which make one file.

    Args:
        pieces: The pieces.
        name: Of the file.
    """
    hashes = []
    for piece in pieces:
        try:
            hashes.append(_hash(repr(opened(piece))))
        except HarmoniseError as error:
            hashes.append(str(error))
    return BookPiece(name, name, "\n".join(hashes).encode())


def _hash(text: str) -> str:
    # A file's name may hold bytes that are no text.
    data = text.encode(errors="surrogatepass")
    return blake2b(data, digest_size=16).hexdigest()


def _outcomes(made: MadePiece) -> tuple[Outcome, ...]:
    return tuple(Outcome(*tune, was_there=True) for tune in made.tunes)


@cache
def edition() -> str:
    """Return what tells this program from any that may make other pages.

    The number of the version alone does not: between two releases it stays.
    """
    told = blake2b(digest_size=16)
    for name in _LIBRARIES:
        with suppress(PackageNotFoundError):
            told.update(version(name).encode())
    for path in sorted(_PACKAGE.rglob("*.*")):
        # Python may be writing there while others begin.
        if path.is_file() and path.parent.name != "__pycache__":
            told.update(path.relative_to(_PACKAGE).as_posix().encode())
            told.update(hash_file(path).encode())
    return told.hexdigest()
