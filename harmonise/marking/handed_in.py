"""What a class has handed in: every file of its folders, and whose it is.

A file that is no work is a piece like the others: it is named at the end with its
reason, for a pupil may have handed in a photograph. Whose a work is, its name says or
the name of a folder that it lies in, by the list of the class if there is one. Two
classes may have pupils of one name: they are two, and never share a row.
"""

import re
from collections import Counter, defaultdict
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

    Two works of one name get their folders into their names and those of their slips,
    and their endings where that is not enough.

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
    names = Counter(_name(path, works) for path in files)
    pieces = []
    for path in files:
        name = _name(path, works)
        # Work of two classes may lie in folders of its own under the same name.
        name = _apart(path, files) if names[name] > 1 else name
        pieces.append(BookPiece(name, _slip_name(path, files), path))
    return told_apart(pieces, (TABLE, RECORD))


def _apart(path: Path, files: Sequence[Path]) -> str:
    """Return the shortest end of a path that no other file's ends in."""
    parts = path.absolute().parts
    others = [other.absolute().parts for other in files if other != path]
    for count in range(2, len(parts)):
        if all(other[-count:] != parts[-count:] for other in others):
            return "/".join(parts[-count:])
    return path.as_posix()


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


def whose(pieces: Sequence[BookPiece], names: Sequence[str] = ()) -> dict[str, str]:
    """Return whose each work is, by the name of the piece.

    Pupils of one name in two folders are two pupils if the folders are two classes; the
    name of the class follows theirs.

    Args:
        pieces: The works, not opened yet.
        names: The names of the class; () where nobody gave a list.
    """
    paths = {piece.name: Path(str(piece.content)).absolute() for piece in pieces}
    pupils = {
        name: pupil_of(name, names, path.parent.name) for name, path in paths.items()
    }
    classes: dict[Path, set[str]] = defaultdict(set)
    for name, path in paths.items():
        if pupils[name] not in names:
            classes[path.parent].add(pupils[name].casefold())
    return {
        name: f"{pupil} ({paths[name].parent.name})"
        if pupil not in names and _has_namesake(pupil, paths[name].parent, classes)
        else pupil
        for name, pupil in pupils.items()
    }


def _has_namesake(pupil: str, folder: Path, classes: dict[Path, set[str]]) -> bool:
    """Whether another class than that of a folder has a pupil of the same name."""
    return any(
        other != folder
        and pupil.casefold() in there
        and _are_two_classes((folder.name, classes[folder]), (other.name, there))
        for other, there in classes.items()
    )


def _are_two_classes(one: tuple[str, set[str]], other: tuple[str, set[str]]) -> bool:
    """Whether two folders are those of two classes, and not two weeks of one.

    Their names say so, such as 7a and 7b, or hardly anybody is in both.
    """
    if all(_CLASS.fullmatch(name.casefold()) for name, _ in (one, other)):
        return one[0].casefold() != other[0].casefold()
    return 2 * len(one[1] & other[1]) < min(len(one[1]), len(other[1]))


_CLASS = re.compile(r"((class|year|form|set|group)[ _-]*\w{1,3}|\d{1,2}[ _-]?[a-z])")
"""What folders of classes are called: "7a", "Class 7a", "year 8"."""


def pupil_of(name: str, names: Sequence[str] = (), folder: str = "") -> str:
    """Return whose work a file is.

    Args:
        name: The file below the folder of the class.
        names: The names of the class; () where nobody gave a list.
        folder: The name of the folder that the file lies in.

    Returns:
        The longest name of the list that stands in the file's name, the end of it
        perhaps in that of a folder, or else all of it there; where none does, the
        file's name without its ending.

    >>> pupil_of("week 1/jo_ann.musicxml", ["Jo", "Jo Ann"])
    'Jo Ann'
    >>> pupil_of("ada.musicxml", ["Ada 7a", "Ada 7b"], "7b")
    'Ada 7b'
    """
    path = Path(name)
    folders = [parent.name for parent in path.parents]
    words = {word for own in (folder, *folders) for word in _WORDS.findall(own)}
    ends = {word.casefold() for word in words}
    for part in (path.stem, *folders):
        bare = _bare(part)
        found = [known for known in names if _bare(known) and _bare(known) in bare]
        if part == path.stem:
            found += [known for known in names if _ends_in(known, bare, ends)]
        if found:
            return max(found, key=len)
    return path.stem


_WORDS = re.compile(r"[^\W_]+")


def _ends_in(known: str, bare: str, ends: set[str]) -> bool:
    """Whether a name begins in a file's bare name and ends in words of its folders."""
    words = [word.casefold() for word in _WORDS.findall(known)]
    return any(
        "".join(words[:cut]) in bare and ends.issuperset(words[cut:])
        for cut in range(1, len(words))
    )


def _bare(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())
