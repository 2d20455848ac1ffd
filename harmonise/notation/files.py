"""Scores on disk: written beside and renamed, so that no half file is ever seen.

No command writes over what it has been given to read. The writer itself sees to that:
while a call lasts, every file that it names or opens is known here by what the disk
calls it, so that a link, another spelling or other capitals are no way round.
"""

import os
import stat
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from io import BytesIO
from pathlib import Path

from harmonise.errors import OutputError

MUSICXML = (".musicxml", ".xml", ".mxl")
PRINTED = (".pdf", ".svg", ".png")
MIDI = (".mid", ".midi")
SOUND = (*MIDI, ".wav")

_FIRST_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest date that a zip can hold; a fixed one keeps its bytes the same."""

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

_KEPT: ContextVar[dict[_DiskName, str] | None] = ContextVar("kept", default=None)
"""The files that the call under way must keep, and what each is; None outside one."""

THE_TUNE = "the tune itself"
READ = "one of the files to read"
_WRITTEN = "a page that was just written"


@contextmanager
def inputs_kept(known: Mapping[_DiskName, str] | None = None) -> Iterator[None]:
    """Keep every file that is read inside from being written over.

    Args:
        known: Files that are kept from the start; another process has read them.
    """
    before = _KEPT.set(dict(known or {}))
    try:
        yield
    finally:
        _KEPT.reset(before)


def kept_files() -> dict[_DiskName, str]:
    """Return the files that the call under way keeps, for its other processes."""
    return dict(_KEPT.get() or {})


def keep_file(path: Path, what: str = READ) -> None:
    """Keep a file from being written over by the call under way, if there is one.

    Args:
        path: The file; a folder, a pipe and what does not exist need no keeping.
        what: What it is to the user, as the refusal names it.
    """
    kept = _KEPT.get()
    name = _disk_name(path)
    if kept is not None and name:
        kept.setdefault(name, what)


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
    import zipfile  # noqa: PLC0415 - slow to load, and only .mxl needs it

    packed = BytesIO()
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


def check_target(path: Path, *, force: bool) -> None:
    """Refuse a place that cannot take the file, before any work is done.

    Raises:
        OutputError: If it has been read, exists (without force), or cannot be written.
    """
    kept, name = _KEPT.get() or {}, _disk_name(path)
    if name in kept:
        own = kept[name]
        thing = "score" if own == THE_TUNE else "file"
        raise OutputError(
            f"{path} is {own}, and is never written over.",
            remedy=f"Name another {thing} with -o.",
        )
    try:
        faults = [(what, advice) for broken, what, advice in _tests(path) if broken]
        if path.exists() and not force:
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
        OutputError: If it cannot be made, or holds something already (without force).
    """
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
    beside = target.with_name(f".harmonise-{os.getpid()}-{threading.get_ident()}")
    try:
        _write_beside(beside, target, content)
    except OSError as error:
        raise _refused(path, error) from error
    keep_file(target, _WRITTEN)


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
