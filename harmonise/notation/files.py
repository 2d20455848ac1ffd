"""Scores on disk: written beside and renamed, so that no half file is ever seen.

No command writes over what it has been given to read. The writer itself sees to that:
while a call lasts, every file that it names or opens is known here by what the disk
calls it, so that a link, another spelling or other capitals are no way round.
"""

import os
import stat
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from functools import cache, partial
from hashlib import blake2b, file_digest
from importlib import import_module
from io import BytesIO
from itertools import count
from pathlib import Path
from time import time
from typing import NamedTuple

from harmonise.errors import OutputError
from harmonise.notation.signed import is_picture_page, is_signed

MUSICXML = (".musicxml", ".xml", ".mxl")
PRINTED = (".pdf", ".svg", ".png")
MIDI = (".mid", ".midi")
SOUND = (*MIDI, ".wav")

_FIRST_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest date that a zip can hold; a fixed one keeps its bytes the same."""

HIDDEN = ".harmonise"
"""What the names of files begin with that are no pages."""
_BESIDE = f"{HIDDEN}-"
"""What the name of a file begins with until it is whole."""
_LONG_AGO = 60
"""Seconds after which such a file is what a run that was killed has left."""

_CONTAINER = """\
<?xml version="1.0" encoding="UTF-8"?>
<container>
  <rootfiles>
    <rootfile full-path="score.musicxml" \
media-type="application/vnd.recordare.musicxml+xml"/>
  </rootfiles>
</container>
"""


_DiskName = tuple[int, int]
"""The device of a file and its number there: one for all its links and spellings."""


class _Known(NamedTuple):
    """What the call under way knows of files.

    Attributes:
        kept: The files that it must keep, and what each is.
        records: Each returns the hash of what was once written to a file, or "".
    """

    kept: dict[_DiskName, str]
    records: list[Callable[[Path], str]]


_KNOWN: ContextVar[_Known | None] = ContextVar("known", default=None)
"""None outside a call."""

THE_TUNE = "the tune itself"
READ = "one of the files to read"
_WRITTEN = "a page that was just written"


@contextmanager
def inputs_kept() -> Iterator[None]:
    """Keep every file that is read inside from being written over."""
    before = _KNOWN.set(_Known({}, []))
    try:
        yield
    finally:
        _KNOWN.reset(before)


def keep_file(path: Path, what: str = READ) -> None:
    """Keep a file from being written over by the call under way, if there is one.

    Args:
        path: The file; a folder, a pipe and what does not exist need no keeping.
        what: What it is to the user, as the refusal names it.
    """
    known, name = _KNOWN.get(), _disk_name(path)
    if known is not None and name:
        known.kept.setdefault(name, what)


def know_own(record: Callable[[Path], str]) -> None:
    """Tell the call under way which files were written here, if they are the same.

    Args:
        record: Returns what `hash_file` made of a file when it was written, or "".
    """
    known = _KNOWN.get()
    if known is not None:
        known.records.append(record)


def _recorded(path: Path) -> str:
    """Return the hash of what was written to a file by an earlier call, or ""."""
    known = _KNOWN.get()
    records = known.records if known else ()
    return next(filter(None, (record(path) for record in records)), "")


def hash_file(path: Path) -> str:
    """Return a short name of what a file holds, which no other content has.

    Raises:
        OSError: If it cannot be read.
    """
    with path.open("rb") as file:
        return file_digest(file, partial(blake2b, digest_size=16)).hexdigest()


def _disk_name(path: Path) -> _DiskName | None:
    try:
        about = path.stat()
    except (OSError, ValueError):
        # ValueError: a text that cannot be the name of a file, with a zero byte in it.
        return None
    return (about.st_dev, about.st_ino) if stat.S_ISREG(about.st_mode) else None


def format_mxl(musicxml: bytes) -> bytes:
    """Return a MusicXML file compressed as MusicXML 4.0 asks for.

    The type of the archive comes first and uncompressed, then the container that names
    the score. Dates are fixed: the same score gives the same bytes.
    """
    # Slow to load, and only .mxl needs it.
    zipfile, packed = import_module("zipfile"), BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, content, method in (
            ("mimetype", b"application/vnd.recordare.musicxml", zipfile.ZIP_STORED),
            ("META-INF/container.xml", _CONTAINER.encode(), zipfile.ZIP_DEFLATED),
            ("score.musicxml", musicxml, zipfile.ZIP_DEFLATED),
        ):
            entry = zipfile.ZipInfo(name, _FIRST_DATE)
            entry.compress_type = method
            # The same on every system: made on Unix, a plain file, readable by all.
            entry.create_system = 3
            entry.external_attr = 0o100644 << 16
            archive.writestr(entry, content)
    return packed.getvalue()


def is_own(path: Path) -> bool:
    """Whether a file has been written here, and by no other program since.

    Almost all say so inside; of the pages of a book a hash is kept too.

    Raises:
        OSError: If it cannot be read.
    """
    content_hash = _recorded(path)
    if content_hash and content_hash == hash_file(path):
        return True
    return is_signed(path)


def remove_pages(path: Path, after: int) -> None:
    """Remove the further pages of an older picture that a new one has no more."""
    for number in count(after + 1):
        page = path.with_stem(f"{path.stem}-{number}")
        if not _disk_name(page) or not is_picture_page(page, number):
            return
        page.unlink()


def check_target(path: Path, *, force: bool) -> None:
    """Refuse a place that cannot take the file, before any work is done.

    Raises:
        OutputError: If it has been read, exists (without force), or cannot be written.
    """
    known, name = _KNOWN.get(), _disk_name(path)
    if known and name in known.kept:
        raise OutputError(
            f"{path} is {known.kept[name]}, and is never written over.",
            remedy="Name another file with -o.",
        )
    try:
        faults = [(what, advice) for broken, what, advice in _tests(path) if broken]
        if path.exists() and not force and not (path.is_file() and is_own(path)):
            advice = "Choose another name, or overwrite it with --force."
            faults.append((f'"{path}" exists already.', advice))
    except OSError as error:
        raise _refused(path, error) from error
    if faults:
        raise OutputError(faults[0][0], remedy=faults[0][1])


def _tests(path: Path) -> list[tuple[bool, str, str]]:
    """Return whether each thing is wrong with a place, in words, and what to do."""
    there = path.exists()
    shut = there and not os.access(path, os.W_OK)
    folder = path.parent
    return [
        (not folder.is_dir(), f'There is no folder "{folder}".', "Make it first."),
        (path.is_dir(), f'"{path}" is a folder.', "Add a file name to it."),
        (
            there and not path.is_file(),
            f'"{path}" is not a plain file.',
            "Choose another name.",
        ),
        (shut, f'"{path}" is protected against writing.', "Choose another name."),
    ]


def _refused(path: Path, error: OSError) -> OutputError:
    reason = (error.strerror or str(error)).lower()
    what = f'"{path}" cannot be written: {reason}.'
    return OutputError(what, remedy="Choose another folder or make room.")


def open_folder(folder: Path, *, force: bool) -> None:
    """Make a folder that files are to be written into.

    Raises:
        OutputError: If it cannot be made, or holds what has not been written here
            (without force).
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        tidy_folder(folder)
        files = (
            path
            for path in folder.rglob("*")
            if not path.is_dir() and not path.name.startswith(HIDDEN)
        )
        # A page of the book that another program has changed is refused by itself.
        strange = any(
            not (path.is_file() and (_recorded(path) or is_own(path))) for path in files
        )
    except OSError as error:
        raise OutputError(
            f'The folder "{folder}" cannot be made: {error.strerror}.',
            None,
            "Name another with -o.",
        ) from error
    if strange and not force:
        raise OutputError(
            f'The folder "{folder}" is not empty.',
            None,
            "Name another with -o, or overwrite files of the same name with --force.",
        )


def write_whole(path: Path, content: bytes, *, force: bool) -> None:
    """Write a file in one step: all of it or nothing.

    Args:
        path: Where to; a link is followed.
        content: What to write.
        force: Whether an existing file is replaced.

    Raises:
        OutputError: If it exists (without force) or cannot be written.
    """
    check_target(path, force=force)
    target = Path(os.path.realpath(path))
    beside = target.with_name(f"{_BESIDE}{os.getpid()}-{threading.get_ident()}")
    try:
        tidy_folder(target.parent)
        _write_beside(beside, target, content)
    except OSError as error:
        raise _refused(path, error) from error
    keep_file(target, _WRITTEN)


@cache
def tidy_folder(folder: Path) -> None:
    """Remove what killed runs have left in a folder; each is looked through once."""
    for path in folder.glob(f"{_BESIDE}*"):
        # Another process may tidy here as well.
        with suppress(FileNotFoundError):
            if time() - path.stat().st_mtime > _LONG_AGO:
                path.unlink()


def _write_beside(beside: Path, target: Path, content: bytes) -> None:
    # "x" opens with the usual rights of a new file and never over another's.
    with beside.open("xb") as file:
        try:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
            if target.exists():
                beside.chmod(stat.S_IMODE(target.stat().st_mode))
            beside.replace(target)
        except BaseException:
            beside.unlink(missing_ok=True)
            raise
