"""What a class has handed in: every file of its folders, and whose it is.

A file that is no work is a piece like the others: it is named at the end with its
reason, for a pupil may have handed in a photograph. Whose a work is, its name says or
the name of a folder that it lies in, by the list of the class if there is one.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

from harmonise.arranging.book import BookPiece, told_apart
from harmonise.errors import NotationError, OutputError
from harmonise.marking.scripts import ENDINGS
from harmonise.notation.files import keep_file
from harmonise.notation.formats import decode, read_bytes

TABLE = "class"
"""Name, without ending, of the table of the class."""
RECORD = "works"
"""Name, without ending, of the list of works."""


def scripts_of(
    works: Sequence[Path], without: Sequence[Path] = ()
) -> tuple[BookPiece, ...]:
    """Return the works of a class, in order: named files, and all those of folders.

    Two works of one name get their folders into the names of their slips, and their
    endings where that is not enough.

    Args:
        works: Files and folders.
        without: Files and folders that are no works: the slips, the list of the class.

    Raises:
        OutputError: If there is none.
    """
    apart = {path.absolute() for path in without}
    files = list(dict.fromkeys(file for work in works for file in _inside(work, apart)))
    if not files:
        raise OutputError(
            f"There is no work in {', '.join(map(str, works))}.",
            None,
            f"Works are files that end in {', '.join(ENDINGS)}.",
        )
    for path in files:
        keep_file(path)
    pieces = [BookPiece(_name(path, works), _slip_name(path, files), path)
              for path in files]  # fmt: skip
    return told_apart(pieces, (TABLE, RECORD))


def _inside(work: Path, apart: set[Path]) -> Iterator[Path]:
    """Yield a file, or those of a folder and of the folders in it, in order."""
    if not work.is_dir():
        yield work
        return
    for path in sorted(work.iterdir()):
        if path.name.startswith(".") or path.absolute() in apart:
            continue
        if path.is_dir():
            yield from _inside(path, apart)
        elif path.is_file():
            yield path


def _name(path: Path, works: Sequence[Path]) -> str:
    """Return what lists call a file: where it lies below the folder that was named."""
    for work in works:
        if work.is_dir() and path.is_relative_to(work):
            return path.relative_to(work).as_posix()
    return path.name


def _slip_name(path: Path, works: Sequence[Path]) -> str:
    """Return the name of a work's slips, without ending."""
    alike = [work for work in works if work.stem == path.stem]
    folders = [work.absolute().parent for work in alike]
    folder, name = path.absolute().parent, path.stem
    if len(set(folders)) > 1:
        name = f"{folder.name}-{name}"
    return f"{name}-{path.suffix[1:]}" if folders.count(folder) > 1 else name


def read_names(path: Path) -> tuple[str, ...]:
    """Return the names of a class from a list, one a line; # begins a comment.

    Of a line with commas, such as a spreadsheet writes, the first field counts.

    Raises:
        NotationError: If it cannot be read or holds no name.
    """
    lines = (line.partition(",")[0].strip(' "') for line in _lines(path))
    names = tuple(dict.fromkeys(line for line in lines if line))
    if not names:
        what = f"There is no name in the list of the class, {path}."
        raise NotationError(what, None, "Write one name a line.")
    return names


def _lines(path: Path) -> Iterator[str]:
    for line in decode(read_bytes(path)).splitlines():
        plain = line.strip()
        if plain and not plain.startswith("#"):
            yield plain


def pupil_of(name: str, names: Sequence[str] = ()) -> str:
    """Return whose work a file is.

    Args:
        name: The file below the folder of the class.
        names: The names of the class; () where nobody gave a list.

    Returns:
        The longest name of the list that stands in the file's name, or else in that of
        a folder; where none does, the file's name without its ending.

    >>> pupil_of("week 1/jo_ann.musicxml", ["Jo", "Jo Ann"])
    'Jo Ann'
    """
    path = Path(name)
    for part in (path.stem, *(folder.name for folder in path.parents)):
        bare = _bare(part)
        found = [known for known in names if _bare(known) and _bare(known) in bare]
        if found:
            return max(found, key=len)
    return path.stem


def _bare(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())
